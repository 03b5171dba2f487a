"""Where the weight lies, when it tips, what anchors bear: plain statics of rigid bodies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import volumes
from fitcheck.world.bodies import Bodies

# Standard acceleration of free fall, m/s2: 3rd CGPM 1901, exact by definition.
GRAVITY = 9.80665


@dataclass(frozen=True, eq=False)
class Load:
    """A mass, kg, and its centre (3,), mm."""

    mass: float
    centre: np.ndarray


def centre_of(solids: Bodies, chosen: Sequence[int]) -> np.ndarray:
    """Centroid (3,) of the volume of bodies, each as if of one material; overlaps count twice.

    Of open meshes the middle of their bounds counts, with the volume of those.
    """
    moment, whole = np.zeros(3), 0.0
    for row in solids.rows(chosen).tolist():
        volume, centre = _piece(solids, row)
        moment += volume * centre
        whole += volume
    return moment / whole if whole > 0 else np.asarray(solids.body_bounds[list(chosen)].mean(axis=(0, 1)))


def _piece(solids: Bodies, row: int) -> tuple[float, np.ndarray]:
    half, centre = solids.halves[row], solids.centres[row]
    kind, mesh = int(solids.kinds[row]), solids.meshes[row]
    if kind == Kind.BOX:
        return float(8 * half.prod()), centre
    if kind == Kind.CYLINDER:
        return float(2 * np.pi * half[0] ** 2 * half[2]), centre
    solid = volumes.solid_of(kind, half, mesh)
    if solid is None:
        return float(8 * half.prod()), centre
    corners, faces = volumes.corners_and_faces(solid)
    a, b, c = np.moveaxis(corners[faces], 1, 0)
    # Tetrahedra from the origin, signed: their volumes and centroids add up.
    signed = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6
    volume = float(signed.sum())
    middle = (signed[:, None] * (a + b + c) / 4).sum(axis=0) / volume
    return volume, solids.rotations[row] @ middle + centre


def together(loads: Sequence[Load]) -> Load:
    """Several masses as one."""
    mass = sum(load.mass for load in loads)
    if mass <= 0:
        raise ValueError("no mass")
    return Load(mass, np.asarray(sum(load.mass * load.centre for load in loads) / mass))


def tips_at(load: Load, feet: np.ndarray) -> tuple[float, np.ndarray]:
    """The least tilt at which a body on the floor tips over, degrees, and the (2, 2) edge it tips over.

    Its centre of mass is then above the edge of the outline round its feet: tan = distance / height.
    Below 0 where it lies outside already.

    Args:
        feet: (n, 3) points that it stands on, mm; their lowest is the floor.
    """
    outline = _hull(feet[:, :2])
    height = float(load.centre[2] - feet[:, 2].min())
    best = np.inf, outline[:2]
    for first, second in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        along = second - first
        inward = np.array([-along[1], along[0]]) / np.linalg.norm(along)
        angle = float(np.degrees(np.arctan2(inward @ (load.centre[:2] - first), height)))
        if angle < best[0]:
            best = angle, np.array([first, second])
    return best


def _hull(points: np.ndarray) -> np.ndarray:
    """Corners of the convex outline of (n, 2) points, counter-clockwise (Andrew's monotone chain)."""
    ordered = sorted(set(map(tuple, points.tolist())))
    if len(ordered) < 3:
        raise ValueError("fewer than three points to stand on")

    def half(run: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        kept: list[tuple[float, ...]] = []
        for point in run:
            while len(kept) > 1 and _turn(kept[-2], kept[-1], point) <= 0:
                kept.pop()
            kept.append(point)
        return kept[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _turn(a: Sequence[float], b: Sequence[float], c: Sequence[float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def on_anchors(
    load: Load, anchors: Mapping[str, np.ndarray], out: np.ndarray, foot: float
) -> dict[str, float]:
    """How hard each anchor in a wall is pulled, N: the body turns about its lowest edge on the wall.

    The moment of the weight about that edge is taken by the anchors in proportion to their height above
    it (a stiff cabinet on a stiff wall): T_i = W e h_i / sum h_j^2.

    Args:
        anchors: name to place (3,), mm.
        out: (3,) unit, level, from the wall into the room.
        foot: height of the lowest edge, mm.
    """
    wall = float(np.mean([at @ out for at in anchors.values()]))
    arm = max(float(load.centre @ out) - wall, 0.0)
    heights = {name: max(float(at[2]) - foot, 0.0) for name, at in anchors.items()}
    squares = sum(height**2 for height in heights.values())
    if squares == 0:
        return dict.fromkeys(anchors, float("inf"))
    moment = load.mass * GRAVITY * arm
    return {name: moment * height / squares for name, height in heights.items()}
