"""The commands at the desk: a scene watched, put in order, handed on to other programs."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from fitcheck.console import (
    DebugOption,
    SceneArgument,
    SetOption,
    app,
    placed,
    reading,
    refuse,
    tell,
    write_out,
)


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
        content = placed_file(world, kind)
    except ValueError as why:
        refuse(f"{scene}: {why}: nothing is written")
    write_out(out, content)
    tell(f"wrote {out}\n")


@app.command()
def watch(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file.")],
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Check a scene again whenever it is saved, and say what changed since the last time.

    A file that cannot be read is told with its mistakes, and the last good answer stays. Ctrl-C stops it.

    Example: fitcheck watch scenes/dome_render.yaml
    """
    from fitcheck.watching import run_watch

    run_watch(scene, set_)


@app.command("format")
def format_(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Scene, model or layouts files.")],
    only_look: Annotated[
        bool, typer.Option("--check", help="Write nothing; exit code 1 if a file would change.")
    ] = False,
    debug: DebugOption = False,
) -> None:
    """Put files in order: indents, blanks, tables of values. Words, comments and order stay.

    Example: fitcheck format scenes/dome_render.yaml
    """
    from fitcheck.formatting import formatted
    from fitcheck.layouts.whole_file import whole_file

    changed = 0
    for file in files:
        old, new = reading(partial(formatted, file))
        changed += old != new
        if old == new:
            continue
        if only_look:
            tell(f"{file} would change\n")
            continue
        try:
            with whole_file(file) as written:
                written.write(new.encode())
        except OSError as why:
            refuse(f"{file}: {why.strerror or why}")
        tell(f"wrote {file}\n")
    raise typer.Exit(1 if only_look and changed else 0)


@app.command()
def book(
    into: Annotated[
        Path, typer.Option("--into", metavar="FILE", help="Markdown file; what it has besides stays.")
    ],
    scene: Annotated[
        str | None, typer.Argument(metavar="[SCENE]", help="This scene's own models; else the built-in ones.")
    ] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Text only, no pictures.")] = False,
    debug: DebugOption = False,
) -> None:
    """Write what there is to know of each model: picture, parameters, sources.

    Example: fitcheck book --into models/README.md
    """
    from fitcheck.outputs.book import write_book
    from fitcheck.outputs.catalogue import model_files
    from fitcheck.outputs.pictures.probe import NoPicture

    try:
        written = reading(lambda: write_book(into, model_files(scene), not plain))
    except NoPicture as why:
        refuse(f"no picture: {why}; --plain does without", code=3)
    except OSError as why:
        refuse(f"--into {into}: {why.strerror or why}")
    tell(f"wrote {into} and {len(written) - 1} pictures\n" if len(written) > 1 else f"wrote {into}\n")
