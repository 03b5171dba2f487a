"""Ways to do it by hand, on python-fcl and trimesh: what ours is timed against.

They give other answers (primitive distances of python-fcl are wrong on square scenes, a march by
least distance stops at what it only slides along): only their time is compared.
"""

import time

import fcl
import numpy as np
import trimesh

from fitcheck.parts.solids import Kind
from fitcheck.world import forest, moves, pairs, trees, volumes
from fitcheck.world.engine import CONTACT, bodies
from fitcheck.world.frames import SIDES

# The least step of a march, mm.
STEP = 0.1


def in_turn(*ways, rounds):
    """Median seconds of each way, asked one after the other in each round."""
    took = np.empty((rounds, len(ways)))
    for row in took:
        for k, way in enumerate(ways):
            start = time.perf_counter()
            way()
            row[k] = time.perf_counter() - start
    return np.median(took, axis=0)


def fcl_shape(kind, half, mesh):
    if kind == Kind.BOX:
        return fcl.Box(*(2 * half))
    if kind == Kind.CYLINDER:
        return fcl.Cylinder(half[0], 2 * half[2])
    model = fcl.BVHModel()
    model.beginModel(len(mesh.vertices), len(mesh.faces))
    model.addSubModel(mesh.vertices, mesh.faces)
    model.endModel()
    return model


def fcl_objects(known):
    """All pieces as FCL sees them, in their places."""
    return [
        fcl.CollisionObject(fcl_shape(k, h, m), fcl.Transform(r, c))
        for k, h, m, r, c in zip(
            known.kinds, known.halves, known.meshes, known.rotations, known.centres, strict=True
        )
    ]


def hand_loop(known, asked):
    """Shapes made once, then one distance for each pair of pieces, the nearest kept of a pair of solids."""
    objects = fcl_objects(known)
    pieces = [range(b.pieces.start, b.pieces.stop) for b in known.all]
    request = fcl.DistanceRequest()

    def ask():
        return [
            min(
                fcl.distance(objects[p], objects[q], request, fcl.DistanceResult())
                for p in pieces[i]
                for q in pieces[j]
            )
            for i, j in asked
        ]

    return ask


def rebuilt(world):
    """What a first attempt looks like: a collision manager filled anew, and all its hits."""
    return rebuilt_of(bodies(world))


def rebuilt_of(known):
    """The same of the solids of a world."""
    manager = trimesh.collision.CollisionManager()
    for row in range(len(known.kinds)):
        pose = np.eye(4)
        pose[:3, :3], pose[:3, 3] = known.rotations[row], known.centres[row]
        half, mesh = known.halves[row], known.meshes[row]
        if mesh is not None:
            shape = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        elif known.kinds[row] == Kind.BOX:
            shape = trimesh.creation.box(2 * half)
        else:
            shape = trimesh.creation.cylinder(half[0], 2 * half[2], sections=48)
        manager.add_object(str(row), shape, pose)
    return manager.in_collision_internal(return_names=True)


def marches(known, movers, limit):
    """Free way of solids to six sides: go on by the least distance to all others until it is a contact.

    Args:
        movers: by name, which solids move and which are no obstacle to them.
    """
    objects = fcl_objects(known)
    found = {}
    for name, (moving, skip) in movers.items():
        rows = [row for row in range(len(objects)) if known.body[row] in moving]
        stop = {*moving, *skip}
        manager = fcl.DynamicAABBTreeCollisionManager()
        manager.registerObjects([objects[row] for row in range(len(objects)) if known.body[row] not in stop])
        manager.setup()
        for side, direction in SIDES.items():
            found[name, side] = _march(known, objects, rows, manager, direction, limit)
        for row in rows:
            objects[row].setTransform(fcl.Transform(known.rotations[row], known.centres[row]))
    return found


def _march(known, objects, rows, manager, direction, limit):
    way = 0.0
    while way < limit:
        least = np.inf
        for row in rows:
            objects[row].setTransform(
                fcl.Transform(known.rotations[row], known.centres[row] + way * direction)
            )
            data = fcl.DistanceData()
            manager.distance(objects[row], data, fcl.defaultDistanceCallback)
            least = min(least, data.result.min_distance)
        if least <= CONTACT:
            return way
        # At least a step: along a wall it would else creep by the gap to it.
        way += max(least, STEP)
    return None


def voxel_boxes(bounds, solid_bounds, pitch, count):
    """Largest empty boxes on a grid of voxels, by volume, none overlapping another: (2, 3) each.

    A voxel is filled when the bounds of a piece reach into it. All runs of layers and of rows
    are tried that can still be larger than the best.
    """
    shape = np.floor((bounds[1] - bounds[0]) / pitch).astype(int)
    free = np.ones(shape, bool)
    for low, high in solid_bounds:
        start = np.clip(np.floor((low - bounds[0]) / pitch).astype(int), 0, shape)
        stop = np.clip(np.ceil((high - bounds[0]) / pitch).astype(int), 0, shape)
        free[tuple(slice(*ends) for ends in zip(start, stop, strict=True))] = False
    found = []
    for _ in range(count):
        box = _largest_run(free)
        if box is None:
            break
        free[tuple(slice(*ends) for ends in box)] = False
        found.append(bounds[0] + pitch * np.array(box).T)
    return found


def _largest_run(free):
    best, box = 0, None
    nx, ny, nz = free.shape
    for z0 in range(nz):
        layer = free[:, :, z0].copy()
        for z1 in range(z0, nz):
            layer &= free[:, :, z1]
            if not layer.any():
                break
            if layer.sum() * (z1 - z0 + 1) <= best:
                continue
            for y0 in range(ny):
                if nx * (ny - y0) * (z1 - z0 + 1) <= best:
                    break
                row = layer[:, y0].copy()
                for y1 in range(y0, ny):
                    row &= layer[:, y1]
                    if not row.any():
                        break
                    if row.sum() * (y1 - y0 + 1) * (z1 - z0 + 1) <= best:
                        continue
                    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]])))
                    runs = edges[1::2] - edges[::2]
                    k = int(runs.argmax())
                    volume = int(runs[k]) * (y1 - y0 + 1) * (z1 - z0 + 1)
                    if volume > best:
                        best = volume
                        box = [(edges[2 * k], edges[2 * k + 1]), (y0, y1 + 1), (z0, z1 + 1)]
    return box


def forget():
    """Forget all that the engine keeps of pieces by their content, as in a new process."""
    for kept in (trees._trees, volumes._solids, moves._turned, pairs._ways_out):
        kept.clear()
    forest._grounds[:] = [type(forest._grounds[0])()]
