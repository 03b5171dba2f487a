"""Names in rules: which solids of the world a name stands for.

A name may be a part (`gpu`), an assembly (`stack`: all its parts), one part of an assembly
(`stack.fan[2]`), a solid (`case.side_panel`), or a pattern in which `*` stands for anything
(`drive*`). A name without its last index means all of a repeat: `drive` is `drive[1]`,
`drive[2]` and so on.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.world import World

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
    means = _meaning(said)
    solids: dict[str, tuple[str, ...]] = {}
    whole = set()
    for part in world.parts:
        if any(map(means, _part_names(part.name))):
            solids[part.name] = tuple(part.shape.solids)
            whole.add(part.name)
            continue
        named = tuple(s for s in part.shape.solids if any(map(means, _solid_names(part.name, s))))
        if named:
            solids[part.name] = named
    if not solids:
        raise _no_such_name(world, said)
    return Chosen(said, solids, frozenset(whole))


def choose_holes(world: World, said: str) -> dict[str, tuple[str, ...] | None]:
    """The holes that `said` names: part name -> names of its holes, None for all of them.

    A part, an assembly or a pattern of parts means all their holes; `case.rear_fan_screws` those of one
    family.

    Raises:
        ValueMistake: nothing in the scene has that name; says the nearest one.
    """
    means = _meaning(said)
    found: dict[str, tuple[str, ...] | None] = {}
    for part in world.parts:
        if any(map(means, _part_names(part.name))):
            found[part.name] = None
            continue
        holes = (*part.shape.holes, *part.shape.openings)
        named = tuple(hole for hole in holes if any(map(means, _hole_names(part.name, hole))))
        if named:
            found[part.name] = named
    if not found:
        raise _no_such_name(world, said)
    return found


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


def _meaning(said: str) -> Callable[[str], object]:
    """Says of a name whether it is meant."""
    if "*" not in said:
        return said.__eq__
    return re.compile(".*".join(re.escape(piece) for piece in said.split("*"))).fullmatch


@lru_cache(maxsize=10_000)
def _part_names(part: str) -> tuple[str, ...]:
    """All names that mean the whole part: its own, those of the assemblies it belongs to."""
    pieces = part.split(".")
    names = [".".join(pieces[:n]) for n in range(1, len(pieces) + 1)]
    return (*names, *(INDICES.sub("", name) for name in names))


@lru_cache(maxsize=100_000)
def _solid_names(part: str, solid: str) -> tuple[str, ...]:
    """All names that mean one solid of a part."""
    return tuple(
        {
            f"{owner}.{end}"
            for owner in (part, INDICES.sub("", part))
            for end in (solid, INDICES.sub("", solid))
        }
    )


def _hole_names(part: str, hole: str) -> tuple[str, ...]:
    """All names that mean a hole of a part: its own, and that of all its like."""
    owners, ends = (part, INDICES.sub("", part)), (hole, hole.partition("[")[0])
    return tuple(f"{owner}.{end}" for owner in owners for end in ends)


def _no_such_name(world: World, said: str) -> ValueMistake:
    near = nearest(said, known_names(world))
    parts = list(dict.fromkeys(part.group for part in world.parts))
    listed = ", ".join(parts[:12]) + (" …" if len(parts) > 12 else "")
    problem = f"no part or solid of the scene is named `{said}` (parts: {listed})"
    return ValueMistake(problem, f"write {near}" if near else "")
