"""Small scenes for the tests of tolerances: blocks that are placed and sized by measurements."""

from __future__ import annotations

from pathlib import Path

import fitcheck
from fitcheck.checks.tolerance import check_tolerance
from fitcheck.finding import Answer, Finding
from fitcheck.world.world import World

BLOCK = """model: block
summary: a block
frame: origin at the middle of the underside
parameters:
  length: {type: length, default: 10 mm, meaning: along x}
  width: {type: length, default: 20 mm, meaning: along y}
  height: {type: length, default: 10 mm, meaning: along z}
solids:
  body: {box: {low: [-length / 2, -width / 2, 0], high: [length / 2, width / 2, height]}}
faces:
  base: {of: body, side: -z}
  top_face: {of: body, side: +z}
"""
ROD = """model: rod
summary: a rod
frame: origin at the middle; +z along it
parameters:
  diameter: {type: length, default: 10 mm, meaning: across}
  length: {type: length, default: 20 mm, meaning: along z}
solids:
  body: {cylinder: {from: [0, 0, -length / 2], to: [0, 0, length / 2], diameter: diameter}}
"""
# A wedge as a prism: a mesh that keeps its shape unless its own sizes are uncertain.
WEDGE = """model: wedge
summary: a wedge
frame: origin at a corner
parameters:
  length: {type: length, default: 20 mm, meaning: along x}
solids:
  body: {prism: {along: y, from: -10, to: 10, outline: [[0, 0], [length, 0], [0, 15]]}}
"""
# A sheet with a hole: its box before the hole was cut is known.
PLATE = """model: plate
summary: a plate with a hole
frame: origin at the middle of the underside
parameters:
  length: {type: length, default: 60 mm, meaning: along x}
  thick: {type: length, default: 2 mm, meaning: of the sheet}
solids:
  sheet: {sheet: {low: [-length / 2, -20, 0], high: [length / 2, 20, thick]}}
holes:
  middle: {at: [0, 0, thick], axis: +z, diameter: 8, cuts: sheet}
"""
# A floor with a room above it.
TRAY = """model: tray
summary: a floor with a room above it
frame: origin at the middle of the floor's underside
parameters:
  length: {type: length, default: 60 mm, meaning: along x}
solids:
  ground: {box: {low: [-length / 2, -20, 0], high: [length / 2, 20, 2]}}
compartments:
  room: {low: [-length / 2, -20, 2], high: [length / 2, 20, 50], walls: {floor: ground}}
"""
MODELS = {"block": BLOCK, "rod": ROD, "wedge": WEDGE, "plate": PLATE, "tray": TRAY}


def placed(folder: Path, text: str) -> World:
    """The world of a scene's text, with the models above."""
    models = folder / "own"
    models.mkdir(exist_ok=True)
    for name, model in MODELS.items():
        (models / f"{name}.yaml").write_text(model)
    scene = folder / "scene.yaml"
    scene.write_text(f"model_folders: [own]\n{text}")
    return fitcheck.load(scene)


def asked(folder: Path, text: str) -> Answer:
    return check_tolerance(placed(folder, text))


def found(answer: Answer, check: str) -> Finding:
    """The one finding about a demand of that check."""
    (one,) = (f for f in answer.findings if f.details.get("check") == check)
    return one


def summary(answer: Answer) -> Finding:
    """The finding about everything together."""
    (one,) = (f for f in answer.findings if "probability" in f.details)
    return one


def of_range(answer: Answer, name: str) -> Finding:
    """The finding about a length that is not measured yet."""
    (one,) = (f for f in answer.findings if f.rule == f"measurement:{name}")
    return one
