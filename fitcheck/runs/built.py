"""Laid runs as parts of the world: from then on they are solids like any other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import inf

from fitcheck.parts.features import Shape
from fitcheck.runs.route import Route, tube_solid
from fitcheck.world.frames import IDENTITY
from fitcheck.world.wishes import CABLE, LaidRun
from fitcheck.world.world import Contact, Part, World

# The cylinders of a bend lie at most so far outside it, mm. Other checks see them; the run's own
# distances are measured on true arcs. Finer ones make a loop thousands of pieces.
BEND_SAGITTA = 0.2
# What a run is called as a solid of its part.
SOLID = {CABLE: "cable"}


def with_runs(world: World, laid: tuple[LaidRun, ...]) -> World:
    """The world with these runs in it; one without a way is a part without solids."""
    return replace(
        world,
        parts=(*world.parts, *(_part(run) for run in laid)),
        contacts=(*world.contacts, *(contact for run in laid for contact in _contacts(run))),
        laid=laid,
    )


def solid_name(run: LaidRun) -> str:
    """What the run's solid is called: tube or cable."""
    return SOLID.get(run.wish.kind, "tube")


def _part(run: LaidRun) -> Part:
    wish = run.wish
    solids = {}
    if run.corners is not None:
        route = Route(run.corners, run.radius)
        if route.is_sound():
            # Less than what is spare, so that no other check sees a touch that is none.
            sagitta = min(BEND_SAGITTA, max(run.least / 2, BEND_SAGITTA / 20))
            name = solid_name(run)
            solids[name] = tube_solid(route, name, wish.outside, sagitta)
    values = {"outside": wish.outside, "bend_radius": wish.radius}
    return Part(wish.name, wish.name, wish.kind, IDENTITY, Shape(solids), values, line=wish.line)


def _contacts(run: LaidRun) -> Iterator[Contact]:
    """A run sits on the fittings or plugs at its ends; a flat cable reaches into what it lies flat in."""
    if run.corners is not None:
        for end in (run.wish.start, run.wish.goal):
            yield Contact("join", run.name, end.part)
        # As a solid it is round; how it lies in what it goes through was proved of the flat one.
        taken = [one for step in run.wish.through for one in step if one.place in run.through]
        for passage in taken if run.wish.flat else ():
            solids = (passage.solid,) if passage.solid else ()
            yield Contact("touches", run.name, passage.part, solids_b=solids, gives=inf)
