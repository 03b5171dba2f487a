"""The commands for the workshop: what is cut, drilled and put together; thin, one function each."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from fitcheck.console import DebugOption, SceneArgument, SetOption, app, checked, loaded, refuse, tell

if TYPE_CHECKING:
    from fitcheck.scene.mistakes import ValueMistake

# A printer that is farther off than this does something else, such as fitting to the page; mm in 100.
WORST_PRINTER = 10.0
# Exit code where something could not be done on this machine, as `unknown` of a check.
UNDECIDED = 3

OutOption = Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="New folder to write.")]
PaperOption = Annotated[
    Literal["a4", "letter"],
    typer.Option("--paper", metavar="PAPER", help="Sheets of the PDFs: a4 or letter."),
]
MeasuredOption = Annotated[
    tuple[float, float] | None,
    typer.Option(
        "--measured",
        metavar="SHORT LONG",
        help="What the 100 mm marks measure along the short and the long side of the paper.",
    ),
]


@app.command()
def templates(
    scene: SceneArgument,
    out: OutOption,
    parts: Annotated[
        str | None,
        typer.Option("--parts", metavar="PATTERN", help="Only these: case, case.midplate, bracket*."),
    ] = None,
    paper: PaperOption = "a4",
    measured: MeasuredOption = None,
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Write 1:1 templates of all sheets, panels, mounts and brackets: DXF, SVG, PDF, hole tables.

    Example: fitcheck templates scenes/dome_render.yaml --out templates --parts case.midplate
    """
    from fitcheck.outputs.drawings.files import template_files
    from fitcheck.scene.mistakes import ValueMistake
    from fitcheck.templates.made import templates as drawn
    from fitcheck.templates.tiles import Printer

    printer = Printer(*_corrected(measured))
    _check(out)
    world = loaded(scene, set_)
    try:
        found = drawn(world, parts)
    except ValueMistake as why:
        refuse(_said(f"--parts {parts}", why))
    if not found.drawings:
        refuse(
            f"--parts {parts}: nothing of that has a template (no sheet, and no holes in a section or block)"
            if parts is not None
            else "the scene has no sheet, panel, mount or bracket that is made"
        )
    _write(out, template_files(found.drawings, paper, printer))


@app.command()
def pack(
    scene: SceneArgument,
    out: OutOption,
    paper: PaperOption = "a4",
    measured: MeasuredOption = None,
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Write all that is taken to the workbench: pictures, templates, cut lists, screws, order, safety.

    Exit code 3 where pictures cannot be drawn here; all else is written.

    Example: fitcheck pack scenes/cabinet_wall.yaml --out pack
    """
    from fitcheck.finding import Verdict
    from fitcheck.outputs.pack.contents import Pack
    from fitcheck.outputs.progress import rewritten_line
    from fitcheck.templates.made import templates as drawn
    from fitcheck.templates.tiles import Printer

    printer = Printer(*_corrected(measured))
    _check(out)
    world, report = checked(scene, set_, facts=True)
    with rewritten_line(sys.stderr, silent=False) as write:
        whole = Pack(world, report, drawn(world), paper, printer, tell=write)
        files = list(whole.files())
    _write(out, files)
    if report.verdict in (Verdict.FAILS, Verdict.UNKNOWN):
        tell(f"{report.verdict}: read {out / 'report.txt'} before you cut\n")
    for said in whole.missing:
        tell(f"not in the pack: {said}\n")
    if any(said.startswith("pictures:") for said in whole.missing):
        raise typer.Exit(UNDECIDED)


def _corrected(measured: tuple[float, float] | None) -> tuple[float, float]:
    """What a printer makes of 100 mm both ways, or the end of the program."""
    if measured is None:
        return 100.0, 100.0
    for length in measured:
        if not abs(length - 100.0) <= WORST_PRINTER:
            refuse(
                f"--measured {measured[0]:g} {measured[1]:g}: a mark of 100 mm that measures {length:g} "
                "was fitted to the page; print at 100 %, then give both lengths in mm: --measured 99.4 100.1"
            )
    return measured


def _check(out: Path) -> None:
    """Look at the folder before a minute's work is done for it."""
    from fitcheck.outputs.drawings.folder import check_folder
    from fitcheck.scene.mistakes import ValueMistake

    try:
        check_folder(out)
    except ValueMistake as why:
        refuse(_said(f"--out {out}", why))


def _write(out: Path, files: Iterable[tuple[str, bytes]]) -> None:
    """Write the folder and say what is in it."""
    from fitcheck.outputs.drawings.folder import write_folder
    from fitcheck.scene.mistakes import ValueMistake

    try:
        written = write_folder(out, files)
    except ValueMistake as why:
        refuse(_said(f"--out {out}", why))
    except OSError as why:
        refuse(f"--out {out}: {why.strerror or why}")
    tell("".join(f"wrote {path}\n" for path in written))


def _said(option: str, why: ValueMistake) -> str:
    return f"{option}: {why.problem}" + (f"; {why.mend}" if why.mend else "")
