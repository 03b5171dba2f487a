"""Taking a machine apart: an order, groups that lock each other, how little must come out for one unit.

Taken apart one unit after the other, each to one side, rigid as they are, is put together the other
way round. Whatever leaves only ever makes room, so taking whatever can go until nothing can finds an
order wherever there is one.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from itertools import count

from fitcheck.motions.blocking import Blocking
from fitcheck.world.frames import SIDES

# The least that must come out is proved up to so many sets looked at; beyond, a small one is given.
SETS = 20_000


@dataclass(frozen=True)
class Step:
    """Units that leave together, and which way.

    `way`: empty for a tube or cable that is pulled off its ends; a side; a side, mm and another side for
    what is drawn off its joint first; else words.
    """

    units: tuple[int, ...]
    way: tuple[str | float, ...]


@dataclass(frozen=True)
class Apart:
    """How far a machine comes apart.

    Args:
        steps: in order.
        locked: what is left besides what is fixed, and what leaves but does not come apart, in groups that
            stop each other, smallest first.
    """

    steps: tuple[Step, ...]
    locked: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True)
class Least:
    """What must come out before one unit can: steps in order, the unit's own last; `proved` the fewest."""

    steps: tuple[Step, ...]
    proved: bool


def apart(
    blocks: Blocking,
    carries: Mapping[int, Collection[int]],
    otherwise: Callable[[int, frozenset[int]], str | frozenset[int]] | None = None,
) -> Apart:
    """Take everything apart that is not fixed.

    Args:
        carries: for each unit those placed on it: they leave before it, or together with it.
        otherwise: asked for a unit that no single slide frees, with what is left: the way it leaves in
            words, or the units that are in its way.
    """
    left = {i for i, unit in enumerate(blocks.units) if not unit.fixed}
    fixed = frozenset(range(len(blocks.units))) - left
    steps, stuck, knots = _taken(blocks, carries, left, fixed, otherwise)
    return Apart(tuple(steps), _locked(blocks, stuck, knots))


def _taken(
    blocks: Blocking,
    carries: Mapping[int, Collection[int]],
    units: Collection[int],
    fixed: frozenset[int],
    otherwise: Callable[[int, frozenset[int]], str | frozenset[int]] | None,
) -> tuple[list[Step], set[int], list[set[int]]]:
    """Steps that take units away from what is fixed, the units left, and groups that nothing parts.

    What leaves as a group is taken apart by itself, where nothing else is in its way.
    """
    left = set(units)
    steps: list[Step] = []
    knots: list[set[int]] = []
    stuck: dict[int, frozenset[int]] = {}
    while left:
        step = _next(blocks, carries, left, fixed)
        if step is None and otherwise is not None:
            step = _other(carries, left, fixed, otherwise, stuck)
        if step is None:
            step = _group(blocks, carries, left, fixed)
        if step is None:
            break
        steps.append(step)
        left -= set(step.units)
        if len(step.units) > 1:
            _, tied, more = _taken(blocks, carries, step.units, frozenset(), otherwise)
            knots += [*more, *([tied] if tied else [])]
    return steps, left, knots


def _next(
    blocks: Blocking, carries: Mapping[int, Collection[int]], left: set[int], fixed: frozenset[int]
) -> Step | None:
    """The next single unit that can go, to the nearest side that is free."""
    there = left | fixed
    for i in sorted(left):
        if left & set(carries.get(i, ())) or blocks.units[i].loose:
            continue
        way = _free_way(blocks, {i: frozenset([i])}, i, there)
        if way is not None:
            return Step((i,), way)
    # Tubes and cables come off only when nothing else can go.
    loose = [i for i in sorted(left) if blocks.units[i].loose]
    return Step((loose[0],), ()) if loose else None


def _other(
    carries: Mapping[int, Collection[int]],
    left: set[int],
    fixed: frozenset[int],
    otherwise: Callable[[int, frozenset[int]], str | frozenset[int]],
    stuck: dict[int, frozenset[int]],
) -> Step | None:
    """A unit that leaves in another way; `stuck` notes what was in the way of those that do not."""
    there = fixed | left
    for i in sorted(left):
        if left & set(carries.get(i, ())) or (i in stuck and stuck[i] <= there):
            continue
        way = otherwise(i, there)
        if isinstance(way, str):
            return Step((i,), (way,))
        stuck[i] = way
    return None


def _group(
    blocks: Blocking, carries: Mapping[int, Collection[int]], left: set[int], fixed: frozenset[int]
) -> Step | None:
    """The smallest set of units that can leave together to one side, away from something that stays."""
    best: Step | None = None
    for side in SIDES:
        for i in sorted(left):
            group = _together(blocks, carries, i, side, left | fixed)
            stays = group & fixed or group >= left | fixed
            if not stays and (best is None or len(group) < len(best.units)):
                best = Step(tuple(sorted(group)), (side,))
    return best


def _together(
    blocks: Blocking, carries: Mapping[int, Collection[int]], unit: int, side: str, there: Collection[int]
) -> set[int]:
    """All that has to move along when one unit moves to a side."""
    group, open_ = {unit}, [unit]
    present = set(there)
    while open_:
        one = open_.pop()
        new = ((blocks.stops[side][one] | set(carries.get(one, ()))) & present) - group
        group |= new
        open_ += new
    return group


def _locked(blocks: Blocking, left: set[int], knots: Collection[set[int]]) -> tuple[tuple[int, ...], ...]:
    """What is left in groups that hang together by stopping each other, and what left as a knot."""
    groups: list[set[int]] = []
    for i in sorted(left):
        hit = [group for group in groups if any(_stop_each_other(blocks, i, j) for j in group)]
        joined = {i}.union(*hit)
        groups = [group for group in groups if group not in hit] + [joined]
    groups += knots
    return tuple(sorted((tuple(sorted(group)) for group in groups), key=lambda group: (len(group), group)))


def _stop_each_other(blocks: Blocking, i: int, j: int) -> bool:
    return any(j in found[i] or i in found[j] for found in blocks.stops.values())


def least(blocks: Blocking, carries: Mapping[int, Collection[int]], unit: int) -> Least | None:
    """The fewest others that must leave before a unit can; each goes with all that is placed on it.

    Looks at sets of units by their size: a set will do if each of it has a side on which only others
    of it stop it, and they can go one after the other.

    Returns:
        The steps; None where it cannot leave by single slides whatever else leaves.
    """
    own = {i: _load(carries, i) for i in range(len(blocks.units))}
    ways: dict[int, list[frozenset[int]]] = {}
    number = count()
    heap: list[tuple[int, int, frozenset[int], frozenset[int]]] = [
        (1, next(number), frozenset([unit]), frozenset())
    ]
    seen: set[tuple[frozenset[int], frozenset[int]]] = set()
    looked = 0
    while heap and looked < SETS:
        looked += 1
        _, _, chosen, settled = heapq.heappop(heap)
        unsettled = sorted(chosen - settled)
        if not unsettled:
            steps = _in_order(blocks, own, chosen, unit)
            if steps is not None:
                return Least(steps, proved=True)
            continue
        one = unsettled[0]
        if one not in ways:
            ways[one] = _ways(blocks, own, one)
        for needs in ways[one]:
            # What is placed on a unit that leaves is gone with it.
            gone = set().union(*(own[i] for i in chosen))
            more = frozenset(chosen | {i for i in needs if i not in gone})
            key = more, settled | {one}
            if key not in seen:
                seen.add(key)
                heapq.heappush(heap, (len(more), next(number), *key))
    return _greedy(blocks, carries, own, unit) if heap else None


def _load(carries: Mapping[int, Collection[int]], unit: int) -> frozenset[int]:
    """A unit and all that is placed on it."""
    found, open_ = {unit}, [unit]
    while open_:
        new = set(carries.get(open_.pop(), ())) - found
        found |= new
        open_ += new
    return frozenset(found)


def _ways(blocks: Blocking, own: Mapping[int, frozenset[int]], unit: int) -> list[frozenset[int]]:
    """For each way what must be gone before a unit leaves by it with its load; no worse twins."""
    if blocks.units[unit].loose:
        return [frozenset()]
    if blocks.units[unit].fixed:
        return []
    found = {_stopped(blocks, own, unit, side) for side in SIDES}
    if len(own[unit]) == 1 and blocks.drawn_off(unit) is not None:
        found |= {blocks.then_to(unit, side) for side in SIDES}
    return [one for one in found if not any(other < one for other in found)]


def _stopped(blocks: Blocking, own: Mapping[int, frozenset[int]], unit: int, side: str) -> frozenset[int]:
    return frozenset().union(*(blocks.stops[side][i] for i in own[unit])) - own[unit]


def _in_order(
    blocks: Blocking, own: Mapping[int, frozenset[int]], chosen: frozenset[int], unit: int
) -> tuple[Step, ...] | None:
    """The units of a set in an order in which they can leave, the wanted one last; None if there is none."""
    there, open_ = set(range(len(blocks.units))), set(chosen)
    steps: list[Step] = []
    while open_:
        # The wanted one goes last where others of the set can go before.
        for i in sorted(open_, key=lambda i: (i == unit, i)):
            way = () if blocks.units[i].loose else _free_way(blocks, own, i, there)
            if way is not None and not blocks.units[i].fixed:
                steps.append(Step((i,), way))
                open_.discard(i)
                there -= own[i]
                break
        else:
            return None
        if steps[-1].units == (unit,):
            break
    return tuple(steps)


def _free_way(
    blocks: Blocking, own: Mapping[int, frozenset[int]], unit: int, there: set[int] | frozenset[int]
) -> tuple[str | float, ...] | None:
    """The way a unit with its load can leave by: straight to the nearest side, or off its joint first."""
    for side in blocks.nearest[unit]:
        if not _stopped(blocks, own, unit, side) & there:
            return (side,)
    drawn = blocks.drawn_off(unit) if len(own[unit]) == 1 else None
    if drawn is None or drawn.stops & there:
        return None
    free = (side for side in blocks.nearest[unit] if not blocks.then_to(unit, side) & there)
    other = next(free, None)
    return None if other is None else (drawn.side, drawn.way, other)


def _greedy(
    blocks: Blocking, carries: Mapping[int, Collection[int]], own: Mapping[int, frozenset[int]], unit: int
) -> Least | None:
    """Some steps that free the unit, with those left out that it does not need."""
    whole = apart(blocks, carries)
    order: list[int] = []
    for step in whole.steps:
        order += step.units
        if unit in step.units:
            break
    else:
        return None
    needed = list(order)
    for i in order:
        if i != unit:
            fewer = frozenset(needed) - {i}
            if _in_order(blocks, own, fewer, unit) is not None:
                needed.remove(i)
    steps = _in_order(blocks, own, frozenset(needed), unit)
    return None if steps is None else Least(steps, proved=False)
