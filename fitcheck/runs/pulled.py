"""Pulled out while connected: how long a run must be for a tray, a door or a panel to come out with it."""

from __future__ import annotations

from collections import deque

from fitcheck.runs.bounds import lower_bound
from fitcheck.runs.demands import legs
from fitcheck.runs.route import Route
from fitcheck.world.frames import SIDES
from fitcheck.world.wishes import Flaw, RunWish
from fitcheck.world.world import World

# A length at hand is enough within so much, mm: rounding.
ROUNDING = 1e-6


def slack(world: World, wish: RunWish, route: Route) -> tuple[str, Flaw | None]:
    """What is said of a run that stays connected while something is pulled out, and what is wrong with it.

    No run is shorter than the least length between its ends as they then stand; one that is longer
    than its way by as much as is pulled follows along. Between the two it is not known.
    """
    pull = wish.pull
    if pull is None:
        return "", None
    steps = [_steps(world, end.part, pull.parts) for end in (wish.start, wish.goal)]
    what = f"{pull.parts[0]} pulled {pull.by:g} mm to the {pull.towards}"
    if steps[0] == steps[1]:
        return "", Flaw("pull", f"it is not known which of its ends moves with {pull.parts[0]}", sure=False)
    least = _least(wish, moved=0 if steps[0] < steps[1] else 1)
    enough = route.length + sum(wish.allowance) + pull.by
    if wish.at_hand is None:
        return f"with {what}, {least:.0f} mm are needed at the least, {enough:.0f} mm follow along", None
    if wish.at_hand < least - ROUNDING:
        return "", Flaw("pull", f"with {what}, {least:.1f} mm are needed, {wish.at_hand:g} mm are at hand")
    if wish.at_hand < enough - ROUNDING:
        said = f"with {what}, {wish.at_hand:g} mm may not reach: from {enough:.0f} mm on it follows along"
        return "", Flaw("pull", said, sure=False)
    return f"{wish.at_hand:g} mm follow along with {what}", None


def _least(wish: RunWish, moved: int) -> float:
    """No run is shorter, mm, with one of its ends moved; what is cut on at the ends included."""
    assert wish.pull is not None
    ends = legs(wish)
    way = SIDES[wish.pull.towards] * wish.pull.by
    start = ends.start.free + (way if moved == 0 else 0.0)
    goal = ends.goal.free + (way if moved == 1 else 0.0)
    between = lower_bound(start, ends.start.out, goal, -ends.goal.out, wish.radius)
    return ends.start.stub + between + ends.goal.stub + sum(wish.allowance)


def _steps(world: World, part: str, wanted: tuple[str, ...]) -> float:
    """By how many rests and joins a part hangs on one of others, not by way of a case."""
    cases = {one.name for one in world.parts if one.shape.compartments}
    seen, queue = {part}, deque([(part, 0)])
    while queue:
        here, count = queue.popleft()
        if here in wanted:
            return count
        for contact in (c for c in world.contacts if c.kind != "touches"):
            for one, other in ((contact.a, contact.b), (contact.b, contact.a)):
                if one == here and other not in seen and other not in cases:
                    seen.add(other)
                    queue.append((other, count + 1))
    return float("inf")
