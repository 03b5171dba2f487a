"""The commands that show a scene in a browser: as one file, and live."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fitcheck.console import (
    DebugOption,
    SceneArgument,
    SetOption,
    announce_compilation,
    app,
    checked,
    given_values,
    reading,
    refuse,
    say,
    tell,
    write_out,
)


@app.command()
def page(
    scene: SceneArgument,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="HTML file to write.")],
    set_: SetOption = None,
    layouts: Annotated[
        Path | None,
        typer.Option("--layouts", metavar="FILE", help="Results of a batch to list, .csv or .jsonl."),
    ] = None,
    plot: Annotated[
        list[Path] | None,
        typer.Option("--plot", metavar="FILE", help="PNG to show beside them, as --plot drew it."),
    ] = None,
    debug: DebugOption = False,
) -> None:
    """Write a scene as a page: findings, drawing, lists, in one file that opens from disk.

    Example: fitcheck page scenes/dome_render.yaml --out dome.html
    """
    from fitcheck.outputs.page import page as page_of
    from fitcheck.outputs.page.results import NoResults, more_of

    if out.suffix.lower() not in (".html", ".htm"):
        refuse(f"--out {out}: write {out.stem}.html")
    try:
        more = more_of(layouts, plot or [])
    except NoResults as why:
        refuse(str(why))
    world, report = checked(scene, set_, facts=True)
    content = page_of(world, report, more).encode("utf-8")
    write_out(out, content)
    tell(f"wrote {out} ({len(content) / 1e6:.1f} MB)\n")


@app.command()
def live(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file; it is watched.")],
    set_: SetOption = None,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0: a free one.")] = 0,
    open_: Annotated[bool, typer.Option("--open", help="Open it in your browser.")] = False,
    debug: DebugOption = False,
) -> None:
    """Show a scene live, on this computer: move its values, edit its file, and see at once what fits.

    Example: fitcheck live scenes/dome_render.yaml
    """
    from fitcheck.live.server import LiveServer
    from fitcheck.live.viewing import Viewing
    from fitcheck.scene.files import read_file
    from fitcheck.scene.mistakes import ValueMistake

    values = given_values(set_)
    announce_compilation()
    reading(lambda: read_file(scene))
    try:
        viewing = reading(lambda: Viewing(scene, values))
    except ValueMistake as why:
        refuse(f"{scene}: {why.problem}" + (f"; {why.mend}" if why.mend else ""))
    try:
        server = LiveServer(viewing, port)
    except OSError as why:
        viewing.end()
        refuse(f"--port {port}: {why.strerror or why}")
    say(f"{server.address}\n")
    tell("open this address in a browser on this computer; it is for you alone; Ctrl-C ends it\n")
    if open_:
        import webbrowser

        webbrowser.open(server.address)
    try:
        server.serve_forever()
    finally:
        viewing.end()
