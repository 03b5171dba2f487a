"""Two crates in a tray, and layouts of them: a scene that is checked in milliseconds."""

from __future__ import annotations

from pathlib import Path

CRATE = """\
model: crate
summary: a box
parameters:
  width: {type: length, default: 20, range: [1 mm, 200 mm], meaning: x, source: invented}
  tall: {type: length, default: 10, range: [1 mm, 90 mm], meaning: z, source: invented}
solids:
  body: {box: {low: [0, 0, 0], high: [width, 20, tall]}}
"""
SCENE = """\
title: two crates
model_folders: [models]
parameters:
  wide: 20 mm
  gap: {value: 5 mm, range: [0 mm, 60 mm]}
  high: {value: low, choices: [low, tall]}
parts:
  first: {model: crate, with: {width: wide}, place: {at: [0, 0, 0]}}
  second: {model: crate, with: {width: 30}, place: {at: [20 + gap, 0, 0]}}
  roof: {model: crate, with: {width: 100}, place: {at: [0, 0, 30]}}
rules:
  clearance: {default: 2 mm, margin: 1 mm}
"""
LAYOUTS = """\
title: crates
scene: scene.yaml
vary:
  wide: [10 mm, 20 mm, 26 mm]
  gap: {from: 0 mm, to: 12 mm, step: 1.5 mm}
alternatives:
  upper:
    as_drawn: {}
    lowered: {parts: {roof: {place: {at: [0, 0, 12.5]}}}}
    wider: {parts: {roof: {with: {width: 150}}}}
    none: {without: [roof]}
exclude:
  - {wide: 26, gap: [0 mm, 1.5 mm]}
figures:
  least: {least_distance: yes}
  price: {cost: {wide: {10: 3, 20 mm: 5, 26 mm: 9}}}
demand: [{figure: least, at_least: 1 mm}]
rank: [most least, least price]
"""


def written(folder: Path, layouts: str = LAYOUTS, scene: str = SCENE) -> Path:
    """The three files in a folder; the path of the layouts."""
    (folder / "models").mkdir(parents=True, exist_ok=True)
    (folder / "models" / "crate.yaml").write_text(CRATE)
    (folder / "scene.yaml").write_text(scene)
    (folder / "layouts.yaml").write_text(layouts)
    return folder / "layouts.yaml"
