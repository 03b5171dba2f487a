"""The named parts of a glTF table: which there are, and one of them alone."""

from __future__ import annotations

from collections import Counter
from typing import Any

from fitcheck.scene.mistakes import ValueMistake, nearest

# Levels of copies in copies: a real assembly has a handful.
DEEPEST = 64
# Names that an error lists.
LISTED = 12
# Characters of a name that are printed.
LONGEST = 60


def part_names(table: dict[str, Any]) -> dict[str, int]:
    """The node of each named part, in the file's order; alike names are numbered: `bolt[1]`, `bolt[2]`.

    A copy is called as the assembly calls it; one whose name is taken from its shape alone, as that.

    Raises:
        ValueMistake: the table is no tree of nodes.
    """
    try:
        nodes = table.get("nodes", [])
        shapes = table.get("meshes", [])
        called = []
        for number, _ in _walk(table):
            node = nodes[number]
            name = node.get("name") or (shapes[node["mesh"]].get("name") if "mesh" in node else None)
            if name:
                called.append((str(name), number))
    except (KeyError, IndexError, TypeError, AttributeError) as error:
        raise ValueMistake(f"cannot be read as glTF: {type(error).__name__} {error}") from None
    often = Counter(name for name, _ in called)
    seen: Counter[str] = Counter()
    names = {}
    for name, number in called:
        seen[name] += 1
        names[name if often[name] == 1 else f"{name}[{seen[name]}]"] = number
    return names


def keep_only(table: dict[str, Any], part: str) -> None:
    """Take the meshes out of all nodes but those of one part and what it holds; it stays where it stands.

    Raises:
        ValueMistake: there is no such part, or several.
    """
    names = part_names(table)
    if part not in names:
        raise _unknown(part, names)
    wanted = names[part]
    kept = {number for number, above in _walk(table) if wanted in above or number == wanted}
    for number, node in enumerate(table["nodes"]):
        if number not in kept:
            node.pop("mesh", None)


def _walk(table: dict[str, Any]) -> list[tuple[int, tuple[int, ...]]]:
    """All nodes from the roots on, each with those above it, in the file's order."""
    nodes = table.get("nodes", [])
    scenes = table.get("scenes", [])
    roots = scenes[table.get("scene", 0)].get("nodes", []) if scenes else []
    found: list[tuple[int, tuple[int, ...]]] = []
    waiting: list[tuple[int, tuple[int, ...]]] = [(number, ()) for number in reversed(roots)]
    while waiting:
        number, above = waiting.pop()
        if len(above) > DEEPEST or len(found) > len(nodes):
            raise ValueMistake(f"its parts are nested deeper than {DEEPEST}, or in a circle")
        found.append((number, above))
        waiting += [(child, (*above, number)) for child in reversed(nodes[number].get("children", []))]
    return found


def _unknown(part: str, names: dict[str, int]) -> ValueMistake:
    copies = [_shown(name) for name in names if name.startswith(f"{part}[")]
    if copies:
        return ValueMistake(
            f"part: {part}: there are {len(copies)} of that name",
            f"write one of {', '.join(copies[:LISTED])}",
        )
    near = nearest(part, names)
    listed = ", ".join(map(_shown, list(names)[:LISTED])) + (" …" if len(names) > LISTED else "")
    problem = f"part: {part}: the file has no such part; it has {listed or 'none with a name'}"
    return ValueMistake(problem, f"write {_shown(near)}" if near else "")


def _shown(name: str) -> str:
    """A name out of a stranger's file as it may be printed."""
    return "".join(c if c.isprintable() else "?" for c in name[:LONGEST]) + (
        "…" if len(name) > LONGEST else ""
    )
