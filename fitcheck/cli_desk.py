"""The commands at the desk: a scene watched, put in order, handed on to other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fitcheck.console import DebugOption, SceneArgument, SetOption, app, placed, refuse, tell


@app.command()
def export(
    scene: SceneArgument,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FILE", help="File to write: .glb, .stl or .3mf.")
    ],
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Write the placed scene for other programs, its tubes and cables laid.

    glTF (.glb) is in metres with +y up, as that format demands; STL and 3MF are in millimetres with +z up.

    Example: fitcheck export scenes/dome_render.yaml --out dome_render.glb
    """
    from fitcheck.outputs.placed_files import FORMATS, placed_file

    kind = out.suffix.lower()
    if kind not in FORMATS:
        refuse(f"--out {out}: write {', '.join(f'{out.stem}{known}' for known in FORMATS)}")
    world = placed(scene, set_)
    try:
        out.write_bytes(placed_file(world, kind))
    except ValueError as why:
        refuse(f"{scene}: {why}: nothing is written")
    except OSError as why:
        refuse(f"--out {out}: {why.strerror or why}")
    tell(f"wrote {out}\n")
