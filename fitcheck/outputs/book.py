"""A book of models, in Markdown: of each its picture, what can be given to it, where its sizes come from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from fitcheck.checks import RULE_TYPES
from fitcheck.finding import Verdict
from fitcheck.layouts.whole_file import whole_file
from fitcheck.outputs.catalogue import PLACES, parameter_row
from fitcheck.outputs.pictures import View, draw_view
from fitcheck.report import Report
from fitcheck.scene.files import read_file
from fitcheck.scene.mistakes import Mistakes
from fitcheck.scene.read import Model, library, read_model, scene_of
from fitcheck.scene.text import read_document
from fitcheck.world.forest import prepare
from fitcheck.world.resolve import resolve
from fitcheck.world.world import World

# What lies between these is written anew; all else of the file stays.
BEGINS, ENDS = "<!-- models begin: written by fitcheck book -->", "<!-- models end -->"
# Beside the file, one picture a model.
PICTURES = "pictures"
# Drawn so large, pixels; the words above and below the machine are cut off: the text says them.
DRAWN, ABOVE, BELOW = (640, 480), 48, 62
LOOK = View("from front right top", colour="role", names=False)


def with_book(text: str, models: Mapping[str, Path]) -> str:
    """A file's text with the book of models between its marks, at its end if it has none."""
    book = "\n".join([BEGINS, *_lines(models), ENDS])
    head, begins, rest = text.partition(BEGINS)
    if not begins:
        return f"{text.rstrip()}\n\n{book}\n" if text.strip() else f"{book}\n"
    return f"{head}{book}{rest.partition(ENDS)[2]}"


def _lines(models: Mapping[str, Path]) -> Iterator[str]:
    for name, path in sorted(models.items()):
        model = read_model(path)
        data: Mapping[str, Any] = model.document.data
        yield f"\n### {name}"
        summary = str(data.get("summary", "")).strip()
        yield f"![{name}]({PICTURES}/{name}.png)\n"
        yield f"{summary[:1].upper()}{summary[1:]}. {_size(model)}".rstrip()
        if data.get("frame"):
            yield f"Frame: {data['frame']}."
        parameters = data.get("parameters") or {}
        if parameters:
            yield "\n| parameter | default | allowed | meaning | source |\n| --- | --- | --- | --- | --- |"
            yield from (_row(parameter, entry) for parameter, entry in parameters.items())
        places = {kind.replace("_", " "): data[kind] for kind in PLACES if data.get(kind)}
        if places:
            named = (f"{kind}: {', '.join(f'`{name}`' for name in names)}" for kind, names in places.items())
            yield f"\n{'; '.join(named)}."


def _row(name: str, entry: Mapping[str, Any]) -> str:
    _, _, taken, allowed, _ = parameter_row(name, entry)
    cells = (f"`{name}`", taken, allowed, str(entry.get("meaning", "")), str(entry.get("source", "")))
    return f"| {' | '.join(cell.replace(' | ', ', ').replace('|', '/') for cell in cells)} |"


def _alone(model: Model) -> World | None:
    """The model by itself with its defaults; None where something must be given."""
    own = "" if _built_in(model) else f"model_folders: [{model.folder.name}]\n"
    text = f"{own}parts: {{{model.name}_here: {{model: {model.name}}}}}\n"
    try:
        scene = scene_of(read_document(text, model.name), model.folder.parent, {}, RULE_TYPES)
        world = resolve(scene)
    except Mistakes:
        return None
    prepare(world)
    return world


def _built_in(model: Model) -> bool:
    own = library().get(model.name)
    return own is not None and own.parent == model.folder


def _size(model: Model) -> str:
    world = _alone(model)
    if world is None or not world.parts:
        return ""
    low = np.min([part.bounds[0] for part in world.parts], axis=0)
    high = np.max([part.bounds[1] for part in world.parts], axis=0)
    return f"As drawn {' x '.join(f'{size:g}' for size in np.round(high - low, 1))} mm."


def pictures(models: Mapping[str, Path]) -> Iterator[tuple[str, Any]]:
    """Of each model its name and picture (PIL), where it can be drawn without anything given.

    Raises:
        NoPicture: this machine cannot draw; says what to install.
    """
    for name, path in sorted(models.items()):
        world = _alone(read_model(path))
        if world is not None:
            drawn = draw_view(world, Report(name, Verdict.FITS), LOOK, DRAWN).image
            yield name, drawn.crop((0, ABOVE, DRAWN[0], DRAWN[1] - BELOW))


def write_book(file: Path, models: Mapping[str, Path], drawn: bool = True) -> list[Path]:
    """Write the book into a file, and the pictures into the folder beside it; the files written.

    Raises:
        Mistakes: a model, or the file, cannot be read.
        NoPicture, OSError: nothing can be drawn, or written.
    """
    text = with_book(read_file(file) if file.exists() else "", models)
    written = []
    if drawn:
        folder = file.parent / PICTURES
        folder.mkdir(exist_ok=True)
        for name, picture in pictures(models):
            place = folder / f"{name}.png"
            # So few colours are there that a palette holds them; it halves the file.
            picture.convert("RGB").quantize(64).save(place, "PNG", optimize=True)
            written.append(place)
    with whole_file(file) as written_file:
        written_file.write(text.encode("utf-8"))
    return [file, *written]
