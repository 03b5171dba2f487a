"""Scenes with parts to be marked out, whose places on the page can be worked out by hand."""

from __future__ import annotations

from pathlib import Path

import fitcheck
from fitcheck.templates.drawing import Drawing
from fitcheck.templates.made import Templates, templates

# No symmetry at all: 100 x 60 x 2; on it a hole, a tapped one, a slot, a cut-out, a notch over the right
# edge, a blind hole, a post.
ODD_PLATE = """
model: odd_plate
summary: plate without any symmetry
frame: origin at its lower corner; +z out of the face that holes are drilled from
parameters:
  thickness: {type: length, default: 2 mm, meaning: of it}
solids:
  plate: {sheet: {low: [0, 0, 0], high: [100, 60, thickness]}, role: sheet}
  post: {cylinder: {from: [50, 10, thickness], to: [50, 10, thickness + 8], diameter: 6}, role: metal}
holes:
  plain: {at: [10, 20, thickness], axis: +z, diameter: 4.5, cuts: plate}
  tapped: {at: [70, 50, thickness], axis: +z, diameter: 3.3, thread: M4, cuts: plate}
  blind: {at: [30, 50, thickness], axis: +z, diameter: 3, depth: 1.2, cuts: plate}
  post_top: {at: [50, 10, thickness + 8], axis: +z, diameter: 2.5, depth: 6, thread: M3}
openings:
  long_slot: {at: [40, 30, thickness], axis: +z, up: +x, slot: [20, 5], cuts: plate}
  window: {at: [75, 25, thickness], axis: +z, up: +y, rectangle: [20, 10], cuts: plate}
  notch: {at: [100, 8, thickness], axis: +z, up: +y, rectangle: [8, 12], cuts: plate}
"""

# A folded channel, 40 wide at its base, its left flange 20 high, its right one 30; 2 thick, 80 long. A hole
# in each leg, none at its middle.
ODD_CHANNEL = """
model: odd_channel
summary: folded channel with one hole in each leg
frame: origin at the outer left corner; +x across, +y along the bends, +z up the flanges
parameters: {}
solids:
  channel: {prism: {along: y, from: 0, to: 80, outline: [[0, 0], [40, 0], [40, 30], [38, 30], [38, 2], [2, 2], [2, 20], [0, 20]]}, role: sheet}
holes:
  low: {at: [0, 10, 12], axis: -x, diameter: 4, depth: 2, cuts: channel}
  middle: {at: [25, 30, 2], axis: +z, diameter: 5, depth: 2, cuts: channel}
  high: {at: [38, 60, 21], axis: -x, diameter: 6, depth: 2, cuts: channel}
"""

# A box with one panel at its left, whose hole is drilled from inside.
ODD_CASE = """
model: odd_case
summary: a left panel and a room behind it
frame: origin at the left front bottom corner; +x right, +y rear, +z up
parameters: {}
solids:
  left_panel: {sheet: {low: [0, 0, 0], high: [2, 200, 100]}, role: sheet}
holes:
  from_inside: {at: [2, 30, 80], axis: +x, diameter: 5, cuts: left_panel}
compartments:
  room: {low: [2, 0, 0], high: [150, 200, 100], walls: {left_wall: left_panel}}
"""

# A sheet and a section that are turned in their model.
ODD_TURNED = """
model: odd_turned
summary: turned solids
frame: any
parameters: {}
solids:
  leaning: {sheet: {low: [0, 0, 0], high: [100, 60, 2]}, role: sheet, turn: {about: y, by: 25, at: [10, 0, 5]}}
  upright: {prism: {along: z, from: 0, to: 3, outline: [[0, 0], [50, 0], [0, 40]]}, role: sheet, turn: {about: x, by: 90}}
holes:
  hole: {at: [0, -1.5, 10], axis: -y, diameter: 4}
"""

MODELS = {"odd_plate": ODD_PLATE, "odd_channel": ODD_CHANNEL, "odd_case": ODD_CASE, "odd_turned": ODD_TURNED}

# A scene's parts: the plate, turned as wanted; and the rule by which the channel is folded.
PLATE = "  plate: {{model: odd_plate, place: {{at: [7, -3, 11]{turns}}}{more}}}\n"
FOLDED = "rules: {edges: {folded: [{of: bent, radius: 2 mm, k: 0.4}]}}\n"


def scene_file(folder: Path, parts: str, more: str = "") -> Path:
    """A scene file with the models above beside it."""
    (folder / "own").mkdir(exist_ok=True)
    for name, text in MODELS.items():
        (folder / "own" / f"{name}.yaml").write_text(text)
    file = folder / "scene.yaml"
    file.write_text(f"title: odd\nmodel_folders: [own]\nparts:\n{parts}{more}")
    return file


def drawn(folder: Path, parts: str, more: str = "", pattern: str | None = None) -> Templates:
    """The templates of such a scene."""
    return templates(fitcheck.load(scene_file(folder, parts, more)), pattern)


def one(folder: Path, parts: str, more: str = "") -> Drawing:
    """The only template of such a scene."""
    (drawing,) = drawn(folder, parts, more).drawings
    return drawing


def at(drawing: Drawing, hole: str) -> tuple[float, float]:
    """Where a hole lies on the page, by the end of its name."""
    (found,) = [spot.at for spot in drawing.spots if spot.hole.rpartition(".")[2] == hole]
    return found
