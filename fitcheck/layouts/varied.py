"""One layout of a scene: the scene's text with other parts and placements, and other values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fitcheck.scene.layout_entries import Option
from fitcheck.scene.mistakes import Mark
from fitcheck.scene.refusals import Path
from fitcheck.scene.text import Document


@dataclass(frozen=True)
class _Varied(Document):
    """A scene's document some of whose entries stand in a layouts file.

    Args:
        layouts: that file.
        origins: by the path of a changed entry where it stands there.
    """

    layouts: Document | None = None
    origins: Mapping[Path, Path] = field(default_factory=dict)

    def mark(self, path: Path, key: bool = False, offset: int = 0) -> Mark:
        """Where the value stands, in the one file or the other."""
        for end in range(len(path), 0, -1):
            origin = self.origins.get(path[:end])
            if origin is not None and self.layouts is not None:
                return self.layouts.mark((*origin, *path[end:]), key, offset)
        return super().mark(path, key, offset)


def varied(scene: Document, layouts: Document, chosen: Iterable[tuple[Path, Option]]) -> Document:
    """A scene with options chosen.

    Args:
        scene: as read.
        layouts: the file that the options stand in.
        chosen: each with its path there.
    """
    options = [(path, option) for path, option in chosen if option.parts or option.without]
    if not options:
        return scene
    parts: dict[str, Any] = dict(scene.data.get("parts") or {})
    origins: dict[Path, Path] = {}
    for path, option in options:
        for name in option.without:
            parts.pop(name, None)
        for name, entry in option.parts.items():
            here = ("parts", name)
            written = (*path, "parts", name)
            before = parts.get(name)
            if not isinstance(before, dict):
                parts[name], origins[here] = entry, written
                continue
            parts[name] = {**before, **entry}
            for key, value in entry.items():
                if key == "with" and isinstance(value, dict) and isinstance(before.get("with"), dict):
                    parts[name][key] = {**before["with"], **value}
                    origins |= {(*here, key, inner): (*written, key, inner) for inner in value}
                else:
                    origins[(*here, key)] = (*written, key)
    data = {**scene.data, "parts": parts}
    return _Varied(scene.name, data, scene.lines, scene.spots, layouts, origins)
