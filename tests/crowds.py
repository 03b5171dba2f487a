"""Crowded cases of seeded random parts, of which a few take many placements."""

from __future__ import annotations

import numpy as np
import trimesh
import worlds

from fitcheck.world.bodies import Bodies
from fitcheck.world.frames import Frame, turn_about

CASE = np.array([640.0, 300.0, 600.0])
AXES = np.eye(3)


def crowd(count: int, faces: int = 5000, seed: int = 5) -> Bodies:
    """So many parts, 45 in a hundred boxes, 25 cylinders, 30 meshes, some askew, hardly any overlapping."""
    chance = np.random.default_rng(seed)
    size = (60 / count) ** (1 / 3)
    kinds = ["box"] * round(0.45 * count) + ["rod"] * round(0.25 * count)
    kinds += ["mesh"] * (count - len(kinds))
    chance.shuffle(kinds)
    parts: list = []
    taken = np.empty((0, 2, 3))
    for k, kind in enumerate(kinds):
        shrink = 1.0
        while True:
            piece = _piece(kind, chance, size * shrink, faces)
            turn = turn_about(AXES[k % 3], 90.0 * chance.integers(4))
            if chance.random() < 0.15:
                turn = turn_about(AXES[2], chance.uniform(0, 180)) @ turn
            out = np.abs(turn @ piece.rotation) @ piece.half
            at = _free_place(chance, taken, out)
            if at is not None:
                break
            shrink *= 0.9
        parts.append(worlds.part(f"p{k}", piece, pose=Frame(turn, at - turn @ piece.centre)))
        taken = np.concatenate([taken, [[at - out, at + out]]])
    return worlds.bodies(worlds.world(*parts))


def _piece(kind, chance, size, faces):
    if kind == "box":
        half = np.round(chance.uniform(15, 120, 3) * size + 1) / 2
        return worlds.box(-half, half)
    if kind == "rod":
        rise = float(np.round(chance.uniform(20, 180) * size + 1)) / 2
        return worlds.rod([0, 0, -rise], [0, 0, rise], float(np.round(chance.uniform(12, 80) * size + 1)))
    sections = max(6, round((faces / 2) ** 0.5))
    if chance.random() < 0.5:
        ring = chance.uniform(28, 60) * size, chance.uniform(7, 20) * size
        made = trimesh.creation.torus(*ring, major_sections=sections, minor_sections=sections)
    else:
        high = np.linspace(0, chance.uniform(40, 130) * size, sections)
        wide = chance.uniform(20, 55) * size * (0.75 + 0.25 * np.cos(high / high[-1] * 6 * np.pi))
        line = np.column_stack([np.r_[0, wide, 0], np.r_[high[0], high, high[-1]]])
        made = trimesh.creation.revolve(line, sections=sections)
    return worlds.mesh(made.vertices, made.faces)


def _free_place(chance, taken, out):
    for _ in range(400):
        at = np.round(chance.uniform(out, np.maximum(CASE - out, out)), 1)
        if (at + out > CASE).any():
            return None
        if not len(taken) or not ((taken[:, 0] < at + out) & (at - out < taken[:, 1])).all(axis=1).any():
            return at
    return None


def slides(
    bodies: Bodies, count: int, movers: int = 6, most: float = 12.0, seed: int = 1, askew: float = 0.0
):
    """Groups of one body each, and their moves: each slides along one axis, and may turn by some degrees."""
    chance = np.random.default_rng(seed)
    groups = [[int(k)] for k in np.sort(chance.choice(len(bodies), movers, replace=False))]
    turns = np.broadcast_to(np.eye(3), (count, movers, 3, 3)).copy()
    shifts = np.zeros((count, movers, 3))
    for g, (body,) in enumerate(groups):
        shifts[:, g, chance.integers(3)] = chance.uniform(-most, most, count)
        if askew:
            middle = bodies.body_bounds[body].mean(axis=0)
            for number in range(count):
                turns[number, g] = turn_about(AXES[g % 3], chance.uniform(-askew, askew))
                shifts[number, g] += middle - turns[number, g] @ middle
    return groups, turns, shifts
