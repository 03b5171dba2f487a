"""Patterns of holes: which belong together on one part, and which of two parts face each other.

Two patterns face each other where their holes run the same way and end at the same place between the parts.
Which hole belongs to which is found by shifting one pattern onto the other: the least shift that brings most
of them together. So a part that was put 8 mm too far is seen as one whose holes are 8 mm off, not as one
without partners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.fasteners.bores import Bore, family
from fitcheck.fasteners.rigid import Move, best_move

# Holes whose directions differ by more than this (cosine of 2 degrees) do not face each other.
PARALLEL = float(np.cos(np.radians(2.0)))
# Mouths so far apart along the holes still belong to one joint, mm: a washer's play, a drive in its bay.
APART = 1.0
# Material of the two parts that overlaps along the holes by more than this: they lie beside each other, mm.
OVERLAP = 0.1
# A pattern is looked for so far from where it lies, mm: farther off it is another pattern.
LOOKED_FOR = 30.0
# Holes that a shift brings so near belong together: 2 mm for a part that stands crooked; and where all of the
# smaller pattern find one, 16 mm, for a part with the wrong pitch (105 on 124.5 is 13.8 off at each corner).
NEAR, FAR = 2.0, 16.0
# So many holes of the smaller pattern are tried as the one that finds its partner: more than can well be
# missing.
ANCHORS = 6
# Ends and diameters that differ by less are equal, mm.
SAME = 0.02


@dataclass(frozen=True, eq=False)
class Pattern:
    """Like holes of one part that run the same way and end in the same planes.

    Args:
        part: full name.
        bores: at least one.
        way: (3,) unit, the same for all, of either sense.
        span: from where to where they go along `way`, mm.
    """

    part: str
    bores: tuple[Bore, ...]
    way: np.ndarray
    span: tuple[float, float]

    @property
    def name(self) -> str:
        """Part and what the names of its holes have in common."""
        return f"{self.part}.{'/'.join(dict.fromkeys(family(bore.names[0]) for bore in self.bores))}"

    def name_at(self, along: float) -> str:
        """The same, by the names of the mouths nearer to a height along its way."""
        place = self.way * along
        names = [
            bore.names[-1 if abs((bore.end - place) @ self.way) < abs((bore.at - place) @ self.way) else 0]
            for bore in self.bores
        ]
        return f"{self.part}.{'/'.join(dict.fromkeys(map(family, names)))}"


@dataclass(frozen=True, eq=False)
class Facing:
    """Two patterns that face each other.

    Args:
        mine: of one part.
        theirs: of the other.
        pairs: (mine, theirs) indices of holes that belong together, in order of mine.
        offsets: (k, 3) from mine to theirs across the holes, for each pair, mm; along a slot only beyond its
            ends.
        height: where the joint is, along mine's way, mm.
        apart: between the mouths, mm; 0 where they touch.
        move: of mine in the plane across the holes, that lies best on theirs.
        axes: (2, 3) of that plane.
    """

    mine: Pattern
    theirs: Pattern
    pairs: tuple[tuple[int, int], ...]
    offsets: np.ndarray
    height: float
    apart: float
    move: Move
    axes: np.ndarray

    @property
    def size(self) -> float:
        """Length of that move, mm."""
        return float(np.linalg.norm(self.move.shift))

    @property
    def names(self) -> tuple[str, str]:
        """Names of the two patterns, by the mouths that face each other."""
        return self.mine.name_at(self.height), self.theirs.name_at(
            self.height * float(self.mine.way @ self.theirs.way)
        )


def patterns(bores: Sequence[Bore]) -> list[Pattern]:
    """The holes of one part grouped: same way, ends, diameter and thread; in the order of the model."""
    found: dict[tuple[object, ...], tuple[np.ndarray, tuple[float, float], list[Bore]]] = {}
    for bore in bores:
        way = bore.axis if bore.axis[int(np.abs(bore.axis).argmax())] > 0 else -bore.axis
        low, high = sorted((float(bore.at @ way), float(bore.end @ way)))
        open_to = "" if bore.through else str(bool(bore.axis @ way > 0))
        figures = (
            *way.round(4).tolist(),
            round(bore.diameter, 2),
            bore.thread,
            open_to,
            bool(bore.long.any()),
        )
        for key, (_, span, group) in found.items():
            if key[:-1] == figures and abs(span[0] - low) < SAME and abs(span[1] - high) < SAME:
                group.append(bore)
                break
        else:
            found[(*figures, len(found))] = way, (low, high), [bore]
    return [Pattern(group[0].part, tuple(group), way, span) for way, span, group in found.values()]


def facing(
    mine: Pattern, theirs: Pattern, asked: bool = False, apart: float = APART, pressed: float = 0.0
) -> Facing | None:  # fmt: skip
    """How two patterns of different parts face each other, or None where they do not.

    Args:
        asked: the scene names them: whatever belongs together best counts.
        apart: mouths farther from each other do not belong together, mm.
        pressed: how far one may be pressed into the other, mm.
    """
    met = meeting(mine, theirs, apart, pressed)
    if met is None:
        return None
    height, gap = met
    axes = plane(mine.way)
    a = np.array([axes @ bore.at for bore in mine.bores])
    b = np.array([axes @ bore.at for bore in theirs.bores])
    pairs = _paired(a, b, mine, theirs, asked)
    if not pairs:
        return None
    rows = np.array(pairs)
    move = best_move(a[rows[:, 0]], b[rows[:, 1]])
    offsets = np.array([offset(mine.bores[i], theirs.bores[j], mine.way) for i, j in pairs])
    return Facing(mine, theirs, pairs, offsets, height, gap, move, axes)


def meeting(
    mine: Pattern, theirs: Pattern, apart: float = APART, pressed: float = 0.0
) -> tuple[float, float] | None:  # fmt: skip
    """Where along mine's way the holes of two patterns meet, and how far apart they end; None if nowhere."""
    if abs(float(mine.way @ theirs.way)) < PARALLEL:
        return None
    low, high = theirs.span if mine.way @ theirs.way > 0 else (-theirs.span[1], -theirs.span[0])
    above, below = low - mine.span[1], mine.span[0] - high
    gap, up = max((above, True), (below, False))
    if not -OVERLAP - pressed <= gap <= apart:
        return None
    if not (_opens(mine, mine.way if up else -mine.way) and _opens(theirs, -mine.way if up else mine.way)):
        return None
    height = (mine.span[1] + low) / 2 if up else (mine.span[0] + high) / 2
    return height, max(gap, 0.0)


def _opens(pattern: Pattern, way: np.ndarray) -> bool:
    """Do its holes open towards a way: through holes to both, blind ones to their mouth?"""
    first = pattern.bores[0]
    return first.through or float(first.axis @ way) > 0


def plane(way: np.ndarray) -> np.ndarray:
    """(2, 3) unit axes across a way, along the world's where it is."""
    first = np.eye(3)[next(k for k in range(3) if k != int(np.abs(way).argmax()))]
    first = first - (first @ way) * way
    first = first / np.linalg.norm(first)
    return np.array([first, np.cross(way, first)])


def offset(mine: Bore, theirs: Bore, way: np.ndarray) -> np.ndarray:
    """(3,) from mine to theirs across `way`, mm; along a slot only what lies beyond its ends."""
    off = theirs.at - mine.at
    off = off - (off @ way) * way
    for slot in (mine.long, theirs.long):
        length = float(np.linalg.norm(slot))
        if length:
            along = slot / length
            off = off - along * float(np.clip(off @ along, -length, length))
    return np.asarray(off)


def _paired(
    a: np.ndarray, b: np.ndarray, mine: Pattern, theirs: Pattern, asked: bool
) -> tuple[tuple[int, int], ...]:
    """Which holes belong together, by the least shift that brings most of them near."""
    least = min(len(a), len(b))
    if least == 1 and not asked:
        reach = max(mine.bores[0].diameter, theirs.bores[0].diameter) + max(
            float(np.linalg.norm(pattern.bores[0].long)) for pattern in (mine, theirs)
        )
        return _shifted(a, b, 0.0, reach)
    pairs = _shifted(a, b, LOOKED_FOR, _slack(mine, theirs) + NEAR)
    if len(pairs) == least or (least > 3 and len(pairs) >= 3) or (least <= 3 and len(pairs) >= 2):
        return pairs
    wider = _shifted(a, b, LOOKED_FOR, FAR)
    if (len(wider) == least and least >= 3) or (asked and wider):
        return wider
    return ()


def _slack(mine: Pattern, theirs: Pattern) -> float:
    return max(float(np.linalg.norm(pattern.bores[0].long)) for pattern in (mine, theirs))


def _shifted(a: np.ndarray, b: np.ndarray, reach: float, near: float) -> tuple[tuple[int, int], ...]:
    """Pairs within `near` after the shift, up to `reach`, that pairs most; of equal ones the least shift."""
    anchors = (b[None] - a[:ANCHORS, None]) if len(a) <= len(b) else (b[None, :ANCHORS] - a[:, None])
    shifts = np.concatenate([np.zeros((1, 2)), anchors.reshape(-1, 2)])
    shifts = shifts[np.linalg.norm(shifts, axis=1) <= reach + 1e-9]
    best: tuple[tuple[int, int], ...] = ()
    rank: tuple[float, ...] = (0.0,)
    for shift in shifts[np.argsort(np.linalg.norm(shifts, axis=1), kind="stable")]:
        off = np.linalg.norm(a[:, None] + shift - b[None], axis=2)
        mine, theirs = np.nonzero(off <= near)
        order = np.argsort(off[mine, theirs], kind="stable")
        taken_a: set[int] = set()
        taken_b: set[int] = set()
        pairs = []
        for i, j in zip(mine[order].tolist(), theirs[order].tolist(), strict=True):
            if i not in taken_a and j not in taken_b:
                taken_a.add(i)
                taken_b.add(j)
                pairs.append((i, j))
        # Shifts of equal merit within a millimetre: the pairing that is nearer together tells.
        mean = sum(float(off[i, j]) for i, j in pairs) / max(len(pairs), 1)
        new = float(len(pairs)), -float(np.floor(np.linalg.norm(shift) + 1e-6)), -mean
        if pairs and new > rank:
            best, rank = tuple(sorted(pairs)), new
    return best
