"""What the pack holds: each file made in turn, and a list of them that says what they are for."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from fitcheck.finding import Verdict
from fitcheck.outputs.drawings.files import template_files
from fitcheck.outputs.drawings.names import file_names
from fitcheck.outputs.pack.assembly import assembly_sheet
from fitcheck.outputs.pack.lists import parts_list, screws_list, stock_list
from fitcheck.outputs.pack.safety import safety_sheet
from fitcheck.outputs.run_list import bend_table_file, cut_list_file
from fitcheck.outputs.text import MEANING, report_text
from fitcheck.report import Report
from fitcheck.templates.made import Templates
from fitcheck.templates.tiles import Printer
from fitcheck.world.wishes import RIGID
from fitcheck.world.world import World

File = tuple[str, bytes]
PAPER_NAMES = {"a4": "A4", "letter": "Letter"}


@dataclass
class Pack:
    """All that a pack is made of, and what was found missing on the way.

    Args:
        world: with its runs laid.
        report: of it.
        templates: of it.
        paper, printer: of all PDFs.
        missing: what the pack does not hold, and why, in plain sentences.
        tell: hears what is being made.
    """

    world: World
    report: Report
    templates: Templates
    paper: str = "a4"
    printer: Printer = field(default_factory=Printer)
    missing: list[str] = field(default_factory=list)
    tell: Callable[[str], None] = lambda said: None

    def files(self) -> Iterator[File]:
        """All files by their names, the list of them last."""
        listed = []
        for what, make in SECTIONS:
            made = list(make(self))
            if made:
                listed.append((what, [name for name, _ in made]))
            yield from made
        yield "contents.txt", _contents(self, listed)


def _pictures(pack: Pack) -> Iterator[File]:
    """Every named view, and the set that is drawn without a name."""
    from fitcheck.outputs.pictures import NoPicture, default_views, named_view
    from fitcheck.outputs.pictures.studio import SIZE, Studio
    from fitcheck.scene.mistakes import ValueMistake

    named = {name: named_view(pack.world, name) for name in pack.world.views}
    views = {view.name: view for view in default_views(pack.report)} | named
    try:
        studio = Studio(pack.world, pack.report, SIZE)
        for (name, view), file in zip(views.items(), file_names(views), strict=True):
            pack.tell(f"drawing: {name}")
            stream = io.BytesIO()
            studio.drawn(view).image.save(stream, "PNG")
            yield f"pictures/{file}.png", stream.getvalue()
    except NoPicture as why:
        pack.missing.append(f"pictures: {why}")
    except ValueMistake as why:
        pack.missing.append(f"a picture: {why.problem}")


def _page(pack: Pack) -> Iterator[File]:
    from fitcheck.outputs.page import page

    pack.tell("drawing: the page")
    yield "page.html", page(pack.world, pack.report).encode("utf-8")


def _templates(pack: Pack) -> Iterator[File]:
    pack.tell("drawing: templates")
    for name, content in template_files(pack.templates.drawings, pack.paper, pack.printer):
        yield f"templates/{name}", content
    if not pack.templates.drawings:
        pack.missing.append("templates: the scene has no sheet, panel, mount or bracket that is made")


def _tubes(pack: Pack) -> Iterator[File]:
    laid = pack.world.laid
    if any(run.corners is not None for run in laid):
        yield "cut_list.csv", cut_list_file(laid)
    if any(run.corners is not None and run.wish.kind == RIGID for run in laid):
        yield "bend_table.csv", bend_table_file(laid)
    if not laid:
        pack.missing.append("cut list: the scene has no tubes or cables")
    without = [run.name for run in laid if run.corners is None]
    if without:
        pack.missing.append(f"cut list: {', '.join(without)}: no way was found")


def _screws(pack: Pack) -> Iterator[File]:
    content = screws_list(pack.report)
    if content is not None:
        yield "screws.csv", content
    elif "fastening" in pack.world.rules:
        pack.missing.append("screws: no holes of the scene face each other so that a screw goes through")
    else:
        pack.missing.append("screws: the scene has no rule fastening")


def _stock(pack: Pack) -> Iterator[File]:
    if pack.templates.stock:
        yield "sheet_cut_list.csv", stock_list(pack.templates.stock)


def _parts(pack: Pack) -> Iterator[File]:
    yield "parts_list.csv", parts_list(pack.world, pack.templates.stock)


def _assembly(pack: Pack) -> Iterator[File]:
    content = assembly_sheet(pack.world, pack.report, pack.paper)
    if content is not None:
        yield "order_of_assembly.pdf", content
    else:
        pack.missing.append("order of assembly: the scene has no rule assembly_order, or nothing comes apart")


def _safety(pack: Pack) -> Iterator[File]:
    yield (
        "leak_test_and_safety.pdf",
        safety_sheet(pack.world, pack.report, pack.templates.stock, pack.paper),
    )


def _report(pack: Pack) -> Iterator[File]:
    yield "report.txt", report_text(pack.report, everything=True).encode("utf-8")


# What is in the pack, in the order of its list. Another kind of file is one more row here, and a function
# like those above.
SECTIONS: tuple[tuple[str, Callable[[Pack], Iterator[File]]], ...] = (
    ("what the check says, in full", _report),
    ("pictures of every named view", _pictures),
    ("the scene as a page: opens in any browser, from disk", _page),
    ("templates 1:1: PDF to print, DXF for a cutter, SVG to look at, CSV of the holes", _templates),
    ("tubes and cables to cut; how rigid tubes are bent", _tubes),
    ("screws by length", _screws),
    ("sheets, sections and blocks to cut", _stock),
    ("all parts: what is bought, what is made", _parts),
    ("what goes in when", _assembly),
    ("leak test and safety: read it before you begin", _safety),
)


def _contents(pack: Pack, listed: list[tuple[str, list[str]]]) -> bytes:
    """The list of files, with the verdict above it and what is missing below."""
    report = pack.report
    lines = [f"Workshop pack: {report.title}", f"{report.verdict}: {MEANING[report.verdict]}"]
    if report.verdict in (Verdict.FAILS, Verdict.UNKNOWN):
        lines.append("Read report.txt first: do not cut before that is mended.")
    lines += [f"parameters: {_parameters(report)}"] if report.parameters else []
    lines.append(f"paper of the PDFs: {PAPER_NAMES[pack.paper]}; lengths in mm")
    for what, names in listed:
        lines += ["", f"{what}:", *(f"  {name}" for name in names)]
    if pack.missing:
        lines += ["", "not in this pack:", *(f"  {said}" for said in pack.missing)]
    lines += [
        "",
        "The drawing was checked, not your parts: measure them, and test-fit before you cut.",
        "",
    ]
    return "\n".join(lines).encode("utf-8")


def _parameters(report: Report) -> str:
    return ", ".join(
        f"{name} = {value:g}" if isinstance(value, int | float) else f"{name} = {value}"
        for name, value in report.parameters.items()
    )
