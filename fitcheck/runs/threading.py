"""Threading: which plug of a cable goes through which opening, and from where it is laid.

A cable comes with its plugs on. It is in its place when one plug, or the other, has gone through
every opening on its way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitcheck.world.wishes import Passage, RunWish

# Turns of a section in an opening that are tried, between 0 and a quarter turn.
TURNS = np.radians(np.linspace(0.0, 90.0, 181))
# What an opening may be smaller than what goes through, mm: rounding of written figures.
ROUNDING = 1e-6


@dataclass(frozen=True)
class Threading:
    """How a cable gets through its openings.

    Args:
        said: the sentence for the builder; empty where there is nothing to say.
        blocked: the first opening that takes neither plug, or not in any order; empty when all is well.
    """

    said: str
    blocked: str = ""


def thread(wish: RunWish, taken: tuple[Passage, ...]) -> Threading:
    """Which plug goes first through the openings that a cable takes, in order from its start.

    The cable starts out between two openings, or before the first or behind the last: its start plug
    goes back through those before, its other plug on through those behind.
    """
    if not taken:
        return Threading("")
    back = [passes(passage, wish.start.plug) for passage in taken]
    on = [passes(passage, wish.goal.plug) for passage in taken]
    # From one end if that goes; from the middle if it must be.
    for before in (0, len(taken), *range(1, len(taken))):
        if all(back[:before]) and all(on[before:]):
            return Threading(_how(wish, taken, before))
    for passage, one, other in zip(taken, back, on, strict=True):
        if not one and not other:
            sizes = " nor ".join(_size(plug) for plug in (wish.start.plug, wish.goal.plug) if plug)
            return Threading(
                f"neither plug goes through {passage.place} ({opening_size(passage)}): {sizes}", passage.place
            )
    first = next(p for p, one in zip(taken, back, strict=True) if not one)
    return Threading("each plug goes through some of its openings, but not in any order", first.place)


def _how(wish: RunWish, taken: tuple[Passage, ...], before: int) -> str:
    if wish.start.plug is None and wish.goal.plug is None:
        return ""
    if before == 0:
        return f"the plug for {wish.goal.part} goes through {_all(taken)} first"
    if before == len(taken):
        return f"the plug for {wish.start.part} goes through {_all(taken[::-1])} first"
    return (
        f"it is laid from between {taken[before - 1].place} and {taken[before].place}: "
        f"the plug for {wish.start.part} goes back through {_all(taken[:before][::-1])}, "
        f"the other on through {_all(taken[before:])}"
    )


def _all(taken: tuple[Passage, ...]) -> str:
    return ", then ".join(passage.place for passage in taken)


def _size(plug: tuple[float, float, float]) -> str:
    return f"one is {' x '.join(f'{side:g}' for side in plug)} mm"


def opening_size(passage: Passage) -> str:
    """Shape and size of an opening in words."""
    along, across = passage.size
    return (
        f"round, {along:g} mm" if passage.shape == "round" else f"{passage.shape} {along:g} x {across:g} mm"
    )


def passes(passage: Passage, plug: tuple[float, float, float] | None) -> bool:
    """Whether a plug of these three sides, mm, goes through, end on; no plug always does."""
    if plug is None:
        return True
    across, along, _ = sorted(plug)
    return section_passes(passage, along, across)


def admits(passage: Passage, wish: RunWish) -> bool:
    """Whether the run itself goes through, with its play all round; a flat cable in some turn."""
    room = 2 * wish.play
    if wish.flat is None:
        return wish.outside + room <= min(passage.size) + ROUNDING
    return section_passes(passage, *(side + room for side in wish.flat))


def section_passes(passage: Passage, along: float, across: float) -> bool:
    """Whether a rectangle goes through an opening in some turn.

    A round opening takes it by its diagonal. Others are tried in turns of half a degree, which
    may miss a rectangle that fits only between two of them: never the other way round.

    Args:
        along, across: sides of the rectangle, mm.
    """
    wide, narrow = passage.size
    if passage.shape == "round":
        return math.hypot(along, across) <= wide + ROUNDING
    corner = np.array([[along, across], [along, -across]]) / 2
    cos, sin = np.cos(TURNS), np.sin(TURNS)
    x = np.abs(cos[:, None] * corner[:, 0] - sin[:, None] * corner[:, 1])
    y = np.abs(sin[:, None] * corner[:, 0] + cos[:, None] * corner[:, 1])
    if passage.shape == "rectangle":
        inside = (x <= wide / 2 + ROUNDING) & (y <= narrow / 2 + ROUNDING)
    else:
        # A slot is all that lies within half its width of a straight line.
        beyond = np.maximum(x - (wide - narrow) / 2, 0.0)
        inside = np.hypot(beyond, y) <= narrow / 2 + ROUNDING
    return bool(inside.all(axis=1).any())
