"""Which faces of a mesh hang together, and bodies that touch told apart: each with corners of its own."""

from __future__ import annotations

import numpy as np

# Directions about an edge nearer than this are one, radians: faces of two bodies that lie on each other.
SAME_WAY = 1e-6


def edges(faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each face's three edges, as a number for the pair of corners and the way it is passed."""
    start = faces.ravel()
    end = np.roll(faces, -1, axis=1).ravel()
    count = int(faces.max()) + 1 if len(faces) else 1
    return np.minimum(start, end) * count + np.maximum(start, end), np.where(start < end, 1, -1)


def neighbours(faces: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Faces that share an edge of just two, in pairs, and whether they pass it the same way."""
    key, way = edges(faces)
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    starts = np.flatnonzero(np.r_[True, sorted_key[1:] != sorted_key[:-1]])
    counts = np.diff(np.r_[starts, len(key)])
    pairs = starts[counts == 2]
    one, other = order[pairs], order[pairs + 1]
    return one // 3, other // 3, way[one] == way[other]


def shells(faces: np.ndarray, more: np.ndarray | None = None) -> np.ndarray:
    """The shell each face belongs to, from 0: faces joined over edges of two, and by `more` pairs (k, 2)."""
    one, other, _ = neighbours(faces)
    if more is not None:
        one, other = np.r_[one, more[:, 0]], np.r_[other, more[:, 1]]
    label = np.arange(len(faces))
    while True:
        least = np.minimum(label[one], label[other])
        new = label.copy()
        np.minimum.at(new, one, least)
        np.minimum.at(new, other, least)
        new = new[new]
        if np.array_equal(new, label):
            return np.unique(label, return_inverse=True)[1]
        label = new


def bodies_apart(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A closed mesh whose bodies share no corners, though they touch along edges or sides.

    Corners that are alike were merged, so that an edge where bodies touch has four faces and more. About
    such an edge material and void take turns: the two faces with material between them are of one body.
    """
    key, way = edges(faces)
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(key[order]) != 0])
    crowded = np.flatnonzero(np.diff(np.r_[starts, len(key)]) > 2)
    if not len(crowded):
        return vertices, faces
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    # Inside out as a whole: what looks like void is the material.
    inward = np.einsum("ij,ij->", a - vertices.mean(axis=0), np.cross(b - a, c - a)) < 0
    groups = np.split(order, starts[1:])
    pairs = [pair for k in crowded for pair in _wedges(vertices, faces, groups[k], -way if inward else way)]
    shell = shells(faces, np.array(pairs, np.int64).reshape(-1, 2))
    # A corner for each shell that has it.
    count = len(vertices)
    names, fresh = np.unique(shell[:, None] * count + faces, return_inverse=True)
    return vertices[names % count], fresh.reshape(-1, 3)


def _wedges(
    vertices: np.ndarray, faces: np.ndarray, around: np.ndarray, way: np.ndarray
) -> list[tuple[int, int]]:
    """Pairs of faces with material between them about one edge; none where they do not take turns.

    Args:
        vertices: (n, 3).
        faces: (m, 3).
        around: (k,) places in the list of all faces' edges (three a face) that are this edge.
        way: for each place 1 where its face passes the edge from the lower to the higher corner, else -1.
    """
    face, slot = around // 3, around % 3
    ends = np.sort([faces[face[0], slot[0]], faces[face[0], (slot[0] + 1) % 3]])
    start = vertices[ends[0]]
    along = vertices[ends[1]] - start
    along = along / np.linalg.norm(along)
    third = vertices[faces[face, (slot + 2) % 3]] - start
    across = third - np.outer(third @ along, along)
    opens = way[around] < 0
    if not opens.any() or opens.all():
        return []
    # Angles from a face on whose far side, counter-clockwise, material begins.
    first = across[np.argmax(opens)]
    turn = np.arctan2(across @ np.cross(along, first), across @ first) % (2 * np.pi)
    turn = np.where(turn > 2 * np.pi - SAME_WAY, 0.0, turn)
    turn = np.where(~opens & (turn < SAME_WAY), 2 * np.pi, turn)
    # Where two bodies lie on each other one ends before the other begins.
    sequence = np.lexsort((opens, np.round(turn / SAME_WAY)))
    if not (opens[sequence[::2]].all() and not opens[sequence[1::2]].any()):
        return []
    return [(int(face[i]), int(face[j])) for i, j in zip(sequence[::2], sequence[1::2], strict=True)]
