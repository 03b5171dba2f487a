"""Lay all runs of a world: from then on tubes and cables are solids like any other."""

from __future__ import annotations

from collections.abc import Callable
from weakref import WeakKeyDictionary

from fitcheck.world.world import World

_laid: WeakKeyDictionary[World, World] = WeakKeyDictionary()


def laid(world: World, tell: Callable[[int, str], None] | None = None) -> World:
    """The same world with its runs laid; itself where it has none, or has them already.

    The search is counted in steps, not timed: the same scene gives the same ways.

    Args:
        tell: is called before each search, as `together.Tell`; a run may be searched for again.
    """
    if not world.wishes or world.laid:
        return world
    found = _laid.get(world)
    if found is None:
        # The search loads its compiled kernels: only where there is something to lay.
        from fitcheck.runs.built import with_runs
        from fitcheck.runs.guarded import guarded
        from fitcheck.runs.remembered import remember, remembered

        among = guarded(world)
        runs = remembered(among)
        if runs is None:
            from fitcheck.runs.together import lay_all, silent

            runs = lay_all(among, tell or silent)
            remember(among, runs)
        found = _laid[world] = with_runs(world, runs)
    return found
