"""Names in rules: which solids of the world a name stands for.

A name may be a part (`gpu`), an assembly (`stack`: all its parts), one part of an assembly
(`stack.fan[2]`), a solid (`case.side_panel`), or a pattern in which `*` stands for anything
(`drive*`). A name without its last index means all of a repeat: `drive` is `drive[1]`,
`drive[2]` and so on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.world import Part, World

INDICES = re.compile(r"(\[\d+\])+$")


@dataclass(frozen=True)
class Chosen:
    """The solids that a name in a rule stands for.

    Args:
        said: the name as written.
        solids: part name -> names of its solids, in scene order.
        whole: the parts of which every solid was meant.
    """

    said: str
    solids: dict[str, tuple[str, ...]]
    whole: frozenset[str]

    def holds(self, part: str, solid: str) -> bool:
        """Is this solid among them?"""
        return solid in self.solids.get(part, ())


def choose(world: World, said: str) -> Chosen:
    """The solids that `said` names.

    Raises:
        ValueMistake: nothing in the scene has that name; says the nearest one.
    """
    wanted = _pattern(said)
    solids: dict[str, tuple[str, ...]] = {}
    whole = set()
    for part in world.parts:
        if any(wanted.fullmatch(name) for name in _part_names(part)):
            solids[part.name] = tuple(part.shape.solids)
            whole.add(part.name)
            continue
        named = tuple(s for s in part.shape.solids if _names_solid(wanted, part.name, s))
        if named:
            solids[part.name] = named
    if not solids:
        raise _no_such_name(world, said)
    return Chosen(said, solids, frozenset(whole))


def known_names(world: World) -> list[str]:
    """All names that a rule may use, parts and assemblies first, each once."""
    names: dict[str, None] = {}
    for part in world.parts:
        names[part.group] = None
        names[part.name] = None
    for part in world.parts:
        for solid in part.shape.solids:
            names[f"{part.name}.{solid}"] = None
    return list(names)


def _pattern(said: str) -> re.Pattern[str]:
    return re.compile(".*".join(re.escape(piece) for piece in said.split("*")))


def _part_names(part: Part) -> Iterable[str]:
    """All names that mean the whole part: its own, those of the assemblies it belongs to."""
    pieces = part.name.split(".")
    for n in range(1, len(pieces) + 1):
        name = ".".join(pieces[:n])
        yield name
        yield INDICES.sub("", name)


def _names_solid(wanted: re.Pattern[str], part: str, solid: str) -> bool:
    owners = (part, INDICES.sub("", part))
    ends = (solid, INDICES.sub("", solid))
    return any(wanted.fullmatch(f"{owner}.{end}") is not None for owner in owners for end in ends)


def _no_such_name(world: World, said: str) -> ValueMistake:
    near = nearest(said, known_names(world))
    parts = list(dict.fromkeys(part.group for part in world.parts))
    listed = ", ".join(parts[:12]) + (" …" if len(parts) > 12 else "")
    problem = f"no part or solid of the scene is named `{said}` (parts: {listed})"
    return ValueMistake(problem, f"write {near}" if near else "")
