"""A run drawn by hand: is it what a tube or cable of its kind can be?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitcheck.runs.demands import meets_itself, straight
from fitcheck.runs.route import Route, from_points
from fitcheck.runs.threading import admits, opening_size
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.wishes import Flaw, Passage, RunWish

# Hand-drawn points are rounded to 0.1 mm and more: a leg of 20 mm is then off by under a degree, and a
# straight or a radius by what nobody can bend.
LEAVES_DEG, SHORT = 1.0, 0.1


def as_drawn(wish: RunWish) -> Route | None:
    """The centre line through the points drawn; None where it turns straight back on itself."""
    assert wish.drawn is not None
    try:
        return from_points(np.array([wish.start.at, *wish.drawn, wish.goal.at]), wish.radius)
    except ValueMistake:
        return None


def flaws(wish: RunWish, route: Route | None) -> tuple[Flaw, ...]:
    """What such a run cannot do, by its shape alone."""
    if route is None:
        return (Flaw("bend radius", "it turns straight back on itself"),)
    return (
        *_bends(wish, route),
        *_itself(wish, route),
        *_ends(wish, route),
        *_rigid(wish, route),
        *_missed(wish, route),
    )


def _bends(wish: RunWish, route: Route) -> Iterator[Flaw]:
    if not route.is_sound():
        leg = int(np.argmin(route.legs))
        short = -float(route.legs[leg])
        yield Flaw(
            "bend radius",
            f"bends of {wish.radius:g} mm need {short:.1f} mm more between corners {leg} and {leg + 1}",
        )


def _itself(wish: RunWish, route: Route) -> Iterator[Flaw]:
    if route.is_sound() and meets_itself(wish, route):
        yield Flaw("itself", "it passes through itself")


def _ends(wish: RunWish, route: Route) -> Iterator[Flaw]:
    for end, way, leg in (
        (wish.start, route.ways[0], route.legs[0]),
        (wish.goal, -route.ways[-1], route.legs[-1]),
    ):
        off = float(np.degrees(np.arccos(np.clip(way @ end.out, -1, 1))))
        if off > LEAVES_DEG:
            yield Flaw("end", f"it leaves {end.place} {off:.0f}° off its axis")
        elif leg < straight(wish, end) - SHORT:
            yield Flaw(
                "end",
                f"it is straight for {max(leg, 0):.1f} mm at {end.place}, {straight(wish, end):g} mm are due",
            )


def _rigid(wish: RunWish, route: Route) -> Iterator[Flaw]:
    bending = wish.bending
    if bending is None:
        return
    for k in range(1, len(route.legs) - 1):
        if route.legs[k] < bending.straight - SHORT:
            said = f"{max(route.legs[k], 0):.1f} mm are straight between bends {k} and {k + 1}"
            yield Flaw("straight", f"{said}, {bending.straight:g} mm are due")
    for number, bend in enumerate(route.bends, start=1):
        angle = float(np.degrees(bend.angle))
        if (
            bending.angles is not None
            and min(abs(angle - allowed) for allowed in bending.angles) > LEAVES_DEG
        ):
            listed = ", ".join(f"{allowed:g}" for allowed in bending.angles)
            yield Flaw("angle", f"bend {number} is {angle:.0f}°, only {listed}° can be bent")


def _missed(wish: RunWish, route: Route) -> Iterator[Flaw]:
    for step in wish.through:
        gone = [passage for passage in step if goes_through(route, passage)]
        if gone and not any(admits(passage, wish) for passage in gone):
            yield Flaw("through", f"{gone[0].place} ({opening_size(gone[0])}) does not take it")
        if not gone:
            yield Flaw("through", f"it does not go through {' or '.join(passage.place for passage in step)}")


def goes_through(route: Route, passage: Passage) -> bool:
    """Whether the centre line crosses the opening's plane within its outline."""
    line = route.sample(1.0) - passage.at
    height = line @ passage.axis + passage.thickness / 2
    crossing = np.flatnonzero(np.sign(height[:-1]) != np.sign(height[1:]))
    for k in crossing:
        share = height[k] / (height[k] - height[k + 1])
        at = line[k] + share * (line[k + 1] - line[k])
        x, y = abs(float(at @ passage.up)), abs(float(at @ np.cross(passage.axis, passage.up)))
        along, across = passage.size
        if passage.shape == "round" and np.hypot(x, y) <= along / 2:
            return True
        if passage.shape != "round" and x <= along / 2 and y <= across / 2:
            return True
    return False


def taken(wish: RunWish, route: Route) -> tuple[Passage, ...]:
    """Of each step the opening that the route goes through, else its first."""
    return tuple(
        next((passage for passage in step if goes_through(route, passage)), step[0]) for step in wish.through
    )
