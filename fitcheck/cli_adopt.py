"""The command that turns a mesh file into a model file: thin."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fitcheck.console import DebugOption, app, reading, refuse, say, tell


@app.command()
def adopt(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Mesh file: STL, OBJ, PLY, 3MF, glTF or STEP.")
    ],
    unit: Annotated[
        str | None, typer.Option("--unit", metavar="UNIT", help="Of its numbers: mm, cm, m or in.")
    ] = None,
    part: Annotated[
        str | None, typer.Option("--part", metavar="NAME", help="One named part of an assembly.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", metavar="NAME", help="Of the model.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="Model file to write.")
    ] = None,
    debug: DebugOption = False,
) -> None:
    """Turn a mesh into a model file: its box, faces, holes, and perhaps ports, as proposals.

    Example: fitcheck adopt bracket.stl --unit mm
    """
    from fitcheck.adopt.write import Wanted
    from fitcheck.adopt.write import adopt as adopted
    from fitcheck.scene.mistakes import ValueMistake

    try:
        path, made = reading(lambda: adopted(Wanted(file, unit, part, name, out)))
    except ValueMistake as why:
        refuse(f"{file}: {why.problem}" + (f"; {why.mend}" if why.mend else ""))
    except FileExistsError as there:
        refuse(f"{there}: is there already; name another file with --out")
    except OSError as why:
        refuse(f"{out or file}: {why.strerror or why}")
    tell("".join(f"note: {said}\n" for said in made.notes) + f"wrote {path}\n")
    size = " x ".join(f"{value:.2f}" for value in made.size)
    kinds = sum(hole.through for hole in made.holes), sum(not hole.through for hole in made.holes)
    say(
        f"{path.stem}: {size} mm; {len(made.sides)} flat sides, {kinds[0]} holes through, "
        f"{kinds[1]} blind, {made.ports} perhaps a G1/4 port. All are proposals: look at them in the file.\n"
    )
