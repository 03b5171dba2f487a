"""What of a layouts file with mistakes of shape is sound, for a second look that finds those of value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import ValidationError

from fitcheck.scene.layout_entries import LayoutsFile
from fitcheck.scene.text import Document

# Sections whose entries have names, and those whose entries follow each other.
NAMED = ("vary", "alternatives", "figures")
LISTED = ("tables", "exclude", "demand", "rank")
# Stands for every name, where it cannot be told which ones are meant.
ANY = "*"


@dataclass
class Broken:
    """What is not judged, since a mistake about it is told already.

    Args:
        varying: names of what varies.
        figures: names of figures.
        scene: whether the scene's file is not known.
    """

    varying: set[str] = field(default_factory=set)
    figures: set[str] = field(default_factory=set)
    scene: bool = False

    def varies(self, name: str) -> bool:
        """Whether a name may be that of something that varies."""
        return name in self.varying or ANY in self.varying

    def is_figure(self, name: str) -> bool:
        """Whether a name may be that of a figure."""
        return name in self.figures or ANY in self.figures


def sound_part(document: Document) -> tuple[LayoutsFile, Document, Broken] | None:
    """A layouts file without its entries of wrong shape, each of the others where it stands in the text.

    Returns:
        The file, its document, and what was left out; None if the text is no layouts file at all.
    """
    if not isinstance(document.data, dict):
        return None
    broken = Broken(scene=not isinstance(document.data.get("scene"), str))
    data: dict[str, Any] = {"scene": "" if broken.scene else document.data["scene"]}
    # Runs that cannot be read may be meant to be laid.
    runs = document.data.get("runs", False)
    data["runs"] = runs if _is_sound("runs", runs) else True
    kept: dict[str, list[int]] = {}
    for section in NAMED:
        entries = document.data.get(section, {})
        data[section] = dict(_sound_names(section, entries, broken)) if isinstance(entries, dict) else {}
        if not isinstance(entries, dict):
            _names_of(section, broken).add(ANY)
    for section in LISTED:
        entries = document.data.get(section, [])
        kept[section] = list(_sound_places(section, entries)) if isinstance(entries, list) else []
        data[section] = [entries[at] for at in kept[section]]
        if section == "tables" and len(kept[section]) < (len(entries) if isinstance(entries, list) else 1):
            broken.varying |= set(_columns(entries))
    try:
        file = LayoutsFile.model_validate(data)
    except ValidationError:
        return None
    return file, replace(document, data=data, spots=_moved(document, kept)), broken


def _sound_names(section: str, entries: dict[str, Any], broken: Broken) -> Iterator[tuple[str, Any]]:
    for name, entry in entries.items():
        if _is_sound(section, {name: entry}):
            yield name, entry
        else:
            _names_of(section, broken).add(str(name))


def _names_of(section: str, broken: Broken) -> set[str]:
    return broken.figures if section == "figures" else broken.varying


def _sound_places(section: str, entries: list[Any]) -> Iterator[int]:
    return (at for at, entry in enumerate(entries) if _is_sound(section, [entry]))


def _is_sound(section: str, value: Any) -> bool:
    """Whether a section of this value alone has the right shape."""
    try:
        LayoutsFile.model_validate({"scene": "any", section: value})
    except ValidationError:
        return False
    return True


def _columns(tables: Any) -> Iterator[str]:
    """The names in all tables, as far as they can be read."""
    for table in tables if isinstance(tables, list) else [None]:
        columns = table.get("columns") if isinstance(table, dict) else None
        yield from map(str, columns) if isinstance(columns, list) else [ANY]


def _moved(document: Document, kept: dict[str, list[int]]) -> dict[Any, Any]:
    """Where each entry stands that is kept, by its new place in its list."""
    places = {(section, old): new for section, olds in kept.items() for new, old in enumerate(olds)}
    moved = {}
    for route, spot in document.spots.items():
        if route[:1] and route[0] in kept and len(route) > 1:
            new = places.get((str(route[0]), int(route[1])) if isinstance(route[1], int) else ("", -1))
            if new is not None:
                moved[(route[0], new, *route[2:])] = spot
        else:
            moved[route] = spot
    return moved
