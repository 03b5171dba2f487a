"""What there is to write with: the models, one model in full, the schemas."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from fitcheck.checks import RULE_TYPES
from fitcheck.outputs.json import result_schema
from fitcheck.scene.files import read_file
from fitcheck.scene.mistakes import Mark, Mistake, Mistakes, nearest
from fitcheck.scene.read import Model, library, read_model
from fitcheck.scene.schema import layouts_schema, model_schema, scene_schema
from fitcheck.scene.text import read_document

SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "scene": lambda: scene_schema(RULE_TYPES),
    "model": model_schema,
    "layouts": layouts_schema,
    "result": result_schema,
}
# Named places of a model, in the order they are described.
PLACES = ("faces", "ports", "holes", "openings", "keep_clear", "compartments", "wet", "use")


def model_list(scene: str | None = None) -> str:
    """One line a model: its name and what it is; with a scene, also the scene's own models.

    Raises:
        Mistakes: the scene or one of its models cannot be read.
    """
    paths = library() if scene is None else library() | model_files(scene)
    rows = [(name, summary(path)) for name, path in sorted(paths.items())]
    width = max(len(name) for name, _ in rows)
    return "".join(f"{name:<{width}}  {summary}\n" for name, summary in rows)


def model_files(scene: str | None) -> dict[str, Path]:
    """Files of a scene's own models by name, of the built-in ones without a scene.

    Raises:
        Mistakes: the scene cannot be read.
    """
    if scene is None:
        return library()
    document = read_document(read_file(Path(scene)), scene)
    found: dict[str, Path] = {}
    for folder in document.data.get("model_folders") or []:
        found |= {path.stem: path for path in sorted((Path(scene).parent / folder).glob("*.yaml"))}
    return found


def summary(path: Path) -> str:
    """The model's `summary`, taken from its first lines: reading every model in full takes seconds."""
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("summary:"):
            return line.removeprefix("summary:").strip().strip("\"'")
    return ""


def model_text(name: str) -> str:
    """All that can be given to a model and named on it.

    Raises:
        Mistakes: there is no such model, or its file is wrong.
    """
    paths = library()
    path = Path(name) if name.endswith(".yaml") else paths.get(name)
    if path is None:
        near = nearest(name, paths)
        problem = f"there is no model `{name}`; `fitcheck models` lists them"
        raise Mistakes([Mistake(Mark(f"model {name}", 0, 0), "", problem, f"write {near}" if near else "")])
    return "\n".join(described(read_model(path))) + "\n"


def described(model: Model) -> Iterator[str]:
    data: Mapping[str, Any] = model.document.data
    yield f"{model.name}: {data.get('summary', '')}"
    if data.get("frame"):
        yield f"frame: {data['frame']}"
    parameters = data.get("parameters") or {}
    if parameters:
        yield "parameters:"
        yield from _table([parameter_row(name, entry) for name, entry in parameters.items()])
    for kind in PLACES:
        entries = data.get(kind) or {}
        if entries:
            yield f"{kind.replace('_', ' ')}:"
            yield from _table(
                [(f"{name}{_several(entry)}", _place(kind, entry)) for name, entry in entries.items()]
            )


def parameter_row(name: str, entry: Mapping[str, Any]) -> tuple[str, ...]:
    default = entry.get("default")
    taken = "must be given" if default is None else _word(default)
    allowed = ""
    if entry.get("choices"):
        allowed = " | ".join(_word(c) for c in entry["choices"])
    elif entry.get("range"):
        low, high = entry["range"]
        allowed = f"{_word(low)} to {_word(high)}"
    meaning = str(entry.get("meaning", ""))
    source = f" [{entry['source']}]" if entry.get("source") else ""
    return name, str(entry.get("type", "length")), taken, allowed, meaning + source


def _several(entry: Mapping[str, Any]) -> str:
    return "".join(f"[1..{count}]" for count in (entry.get("repeat") or {}).values())


def _place(kind: str, entry: Mapping[str, Any]) -> str:
    if kind == "ports":
        link = next(
            (f"{k} {entry[k]}" for k in ("thread", "plug", "slot", "tube", "cable") if k in entry), ""
        )
        return f"{link} {entry.get('gender', '')}".strip()
    if kind == "holes":
        return f"diameter {_word(entry.get('diameter', ''))}"
    if kind == "openings":
        return next((f"{k} {_word(entry[k])}" for k in ("round", "slot", "rectangle") if k in entry), "")
    if kind == "faces":
        return f"side {entry['side']} of {_word(entry['of'])}" if "side" in entry else "given by its middle"
    if kind == "keep_clear":
        return str(entry.get("why", ""))
    if kind == "wet":
        return _wet(entry)
    return str(entry.get("model", "")) if kind == "use" else ""


def _wet(entry: Mapping[str, Any]) -> str:
    """A space inside: a bore, or what opens into it; and what else is said of it."""
    channel = entry.get("channel")
    if channel:
        said = f"bore from {channel['from']} to {channel.get('to', 'a mouth')}"
    else:
        said = f"open to {_word([*entry.get('ports', []), *entry.get('meets', [])])}"
    notes = [key for key in ("pump", "air", "unsure") if entry.get(key)]
    return ", ".join([said, *notes])


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_word(v) for v in value)
    return str(value)


def _table(rows: list[tuple[str, ...]]) -> Iterator[str]:
    """Rows in columns; the last column is as long as it is."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]) - 1)]
    for row in rows:
        cells = [f"{cell:<{width}}" for cell, width in zip(row[:-1], widths, strict=True)]
        yield f"  {'  '.join([*cells, row[-1]])}".rstrip()
