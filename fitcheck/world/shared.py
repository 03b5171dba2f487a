"""What the layouts of one scene share: what was worked out once, with all that it rests on.

While the value of a name is worked out, what it reads of the file is noted: parameters as written, entries
of parts. Where these are the same in a later layout, so is the value: it is a pure function of what it
reads, and with the same read it would go the same way and read nothing else. Nothing is guessed, and
nothing is told to it beforehand about what moves with what.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from typing import Any

from fitcheck.scene.read import Model
from fitcheck.world.kept import Kept
from fitcheck.world.node import Node
from fitcheck.world.world import Contact, Measurement, Trace

# What is read of a scene's file: the section and the name in it.
Leaf = tuple[str, str]
# The section of what is no entry of the file: measurements, which may be taken at other values than drawn.
MEASUREMENT = "measurement"
# Scenes with other parts in them share no values; so many such sets of names are kept.
SETS_OF_NAMES = 64


@dataclass(eq=False)
class Rests:
    """What one value rests on and what else working it out had noted.

    Args:
        reads: a token of each thing read: equal tokens, equal things.
        uncertain: measurements met.
        noted: what else was noted of what rests on them.
        contacts: those meant by the placement of each part.
        depth: how many values ask for each other in it, itself counted.
        sound: nothing below it failed; only such a value is kept.
    """

    reads: dict[Leaf, Hashable] = field(default_factory=dict)
    uncertain: dict[str, Measurement] = field(default_factory=dict)
    noted: Trace = field(default_factory=Trace)
    contacts: dict[str, list[Contact]] = field(default_factory=dict)
    depth: int = 1
    sound: bool = True

    def take(self, other: Rests) -> None:
        """Rest on all that another value rests on."""
        self.reads.update(other.reads)
        self.uncertain.update(other.uncertain)
        self.noted.take(other.noted)
        self.contacts.update(other.contacts)
        self.depth = max(self.depth, other.depth + 1)


@dataclass(frozen=True, eq=False)
class Worked:
    """A value worked out, and what it rests on."""

    value: Any
    rests: Rests


class Values:
    """Values of one scene by name, and by what they rest on."""

    def __init__(self) -> None:
        # Which sets of leaves each name was found to rest on: few, one for each way it can go.
        self._leaves: dict[tuple[str, str], list[tuple[Leaf, ...]]] = {}
        self._kept = Kept()

    def find(self, key: tuple[str, str], token: Callable[[Leaf], Hashable]) -> Worked | None:
        """The value of a name where all that it rests on is as now; None if there is none."""
        for leaves in self._leaves.get(key, ()):
            found = self._kept.get((key, leaves, tuple(map(token, leaves))))
            if found is not None:
                return found  # type: ignore[no-any-return]
        return None

    def keep(self, key: tuple[str, str], worked: Worked) -> None:
        """Keep a value under what it rests on."""
        leaves = tuple(sorted(worked.rests.reads))
        known = self._leaves.setdefault(key, [])
        if leaves not in known:
            known.append(leaves)
        self._kept.put((key, leaves, tuple(worked.rests.reads[leaf] for leaf in leaves)), worked)

    def read_for(self) -> Iterator[tuple[str, frozenset[Leaf]]]:
        """(name, all that was ever read for it) of each part worked out."""
        for (what, name), sets in self._leaves.items():
            if what != "parameter":
                yield name, frozenset(leaf for leaves in sets for leaf in leaves)


class Shared:
    """Give the same to the resolutions of all layouts of one scene.

    `nodes` by model and values, with what else was noted; `frames` by their figures; `parts` by what they
    were made of; `answers` of the engine and of checks, by the parts that they are about.
    """

    def __init__(self) -> None:
        self.nodes, self.frames, self.parts, self.answers = Kept(), Kept(), Kept(), Kept()
        self._values: dict[Hashable, Values] = {}

    def values_of(self, names: Hashable) -> Values:
        """Values of scenes with these names in them: names bear on what a name means."""
        if names not in self._values:
            if len(self._values) >= SETS_OF_NAMES:
                self._values.clear()
            self._values[names] = Values()
        return self._values[names]

    def read_for(self) -> dict[str, frozenset[Leaf]]:
        """All that was read of the scene's file for each part, by its full name, in any layout so far."""
        found: dict[str, frozenset[Leaf]] = {}
        for values in self._values.values():
            for name, leaves in values.read_for():
                found[name] = found.get(name, frozenset()) | leaves
        return found


# A node with its model, kept so that its identity stays its own, and with what was noted.
KeptNode = tuple[Model, Node, Rests]
