"""A commented start for a new scene, with the schema beside it for the editor."""

from __future__ import annotations

import json
from pathlib import Path

from fitcheck.outputs.catalogue import SCHEMAS

SCHEMA_NAME = "fitcheck.schema.json"

START = """\
# yaml-language-server: $schema={schema}
# A scene for fitcheck. Check it:  fitcheck check {name}
# Lengths are mm unless said (5 1/4 in, 3/8", 54 ± 0.5 mm). +x right, +y rear, +z up.
title: My machine

parameters:               # what you want to vary: fitcheck check {name} --set fan_row=3
  fan_row: 2
  core: 30 mm             # measure yours, and say how well: 30 ± 0.5 mm

parts:
  case:
    model: floor_tower    # fitcheck models lists all, fitcheck model floor_tower tells its sizes
  radiator:
    model: radiator
    with: {{fans: fan_row, thickness: core}}
    # My back on the floor, the row running to the rear, my front edge 20 mm behind the floor's.
    place: {{rest: back, on: case.plinth.floor, turn: 90, front: 20, centre: across}}
    inside: case.plinth   # the compartment it must stay in

rules:                    # what you demand
  clearance: {{default: 2 mm, margin: 1 mm}}
  room:
    - {{for: radiator, side: rear, of: radiator, at_least: 60 mm}}   # room behind it for fittings

views:                    # fitcheck render {name} --out plinth.png --view plinth
  plinth: {{look: from left, cut: {{x: (case.plinth.left + case.plinth.right) / 2}}, colour: clearance}}
"""


def write_start(file: Path) -> list[Path]:
    """Write the scene and, if it is not there yet, the schema that its first line names.

    Raises:
        OSError: the folder cannot be written.
    """
    schema = file.parent / SCHEMA_NAME
    with file.open("x", encoding="utf-8") as out:
        out.write(START.format(schema=SCHEMA_NAME, name=file.name))
    if schema.exists():
        return [file]
    schema.write_text(json.dumps(SCHEMAS["scene"](), ensure_ascii=False, indent=2) + "\n", encoding="utf-8")
    return [file, schema]
