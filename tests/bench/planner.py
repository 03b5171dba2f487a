"""The same problems given to a planner of a general motion-planning library (OMPL), tests' extra `bench`.

A ball as wide as the tube and its clearance goes from the end of one straight to the end of the other, past
the same solids (python-fcl, one collision query a state). What it does not do: no bend radius, its way is a
polyline; edges are tested at points, not proved; a mesh is a shell; no pass-throughs, no other runs, no reason
where there is no way. So it answers less, and its figure is a lower bound for what a planner would take.
"""

from __future__ import annotations

import time

import fcl
import numpy as np
from peers import fcl_shape

from fitcheck.runs.demands import legs, volumes_of
from fitcheck.runs.single import region
from fitcheck.world.bodies import bodies
from fitcheck.world.wishes import RunWish
from fitcheck.world.world import World

# A planner that has no way by then has none, seconds; and how long its way is made shorter.
PATIENCE, POLISH = 3.0, 0.1


def plan(world: World, among: object, wish: RunWish) -> tuple[float, float | None]:
    """Seconds that a planner takes (its solids are in place before), and the length of its way; None without one."""
    from ompl import base, geometric, util

    util.setLogLevel(util.LogLevel.LOG_NONE)
    asked = legs(wish)
    low, high = region(among, wish)
    space = base.RealVectorStateSpace(3)
    bounds = base.RealVectorBounds(3)
    for k in range(3):
        bounds.setLow(k, float(low[k]))
        bounds.setHigh(k, float(high[k]))
    space.setBounds(bounds)
    solids = _solids(
        world, {wish.start.part, wish.goal.part, *map(volumes_of, (wish.start.part, wish.goal.part))}
    )
    ball = fcl.CollisionObject(fcl.Sphere(wish.outside / 2 + wish.clearance), fcl.Transform())
    request = fcl.CollisionRequest()

    def clear(state: object) -> bool:
        ball.setTranslation(np.array([state[0], state[1], state[2]]))  # type: ignore[index]
        data = fcl.CollisionData(request, fcl.CollisionResult())
        solids.collide(ball, data, fcl.defaultCollisionCallback)
        return not data.result.is_collision

    setup = geometric.SimpleSetup(space)
    setup.setStateValidityChecker(clear)
    # Between two tested points of an edge not more than 5 mm, as sheets are thin but the ball is not.
    setup.getSpaceInformation().setStateValidityCheckingResolution(5.0 / space.getMaximumExtent())
    ends = [space.allocState(), space.allocState()]
    for state, at in zip(ends, (asked.start.free, asked.goal.free), strict=True):
        for k in range(3):
            state[k] = float(at[k])
    setup.setStartAndGoalStates(*ends)
    setup.setPlanner(geometric.RRTConnect(setup.getSpaceInformation()))
    begun = time.perf_counter()
    setup.solve(PATIENCE)
    found = setup.haveExactSolutionPath()
    if found:
        setup.simplifySolution(POLISH)
    took = time.perf_counter() - begun
    return took, setup.getSolutionPath().length() if found else None


def _solids(world: World, left_out: set[str]) -> fcl.DynamicAABBTreeCollisionManager:
    known = bodies(world)
    objects = []
    for body in known.all:
        if body.part_name in left_out:
            continue
        for row in range(body.pieces.start, body.pieces.stop):
            shape = fcl_shape(known.kinds[row], known.halves[row], known.meshes[row])
            objects.append(
                fcl.CollisionObject(shape, fcl.Transform(known.rotations[row], known.centres[row]))
            )
    manager = fcl.DynamicAABBTreeCollisionManager()
    manager.registerObjects(objects)
    manager.setup()
    return manager
