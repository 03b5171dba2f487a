"""A mesh as flats that meet along edges: what flat sides and round holes are looked for in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.parts.mesh_bodies import neighbours

# Facets that meet at less than this are one flat, radians: single numbers turn a facet of 1 mm by less.
FLAT = 2e-3


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles, what they are part of, and where they meet.

    Args:
        vertices: (n, 3) mm.
        faces: (m, 3), outward.
        normals: (m, 3), unit.
        areas: (m,) mm².
        flat: (m,) number of the flat that each triangle is part of.
        pairs: (k, 2) triangles that share an edge.
        bends: (k,) angle between the two, radians; above 0 where the material's edge stands out.
    """

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    areas: np.ndarray
    flat: np.ndarray
    pairs: np.ndarray
    bends: np.ndarray


def surface_of(vertices: np.ndarray, faces: np.ndarray) -> Surface:
    """The surface of a mesh, its triangles gathered into flats."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    twice = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(twice, 1e-300)[:, None]
    one, other, _ = neighbours(faces)
    middles = (a + b + c) / 3
    turn = np.linalg.norm(np.cross(normals[one], normals[other]), axis=1)
    angle = np.arctan2(turn, np.einsum("ij,ij->i", normals[one], normals[other]))
    out = np.einsum("ij,ij->i", normals[one], middles[other] - middles[one]) < 0
    flat = joined(len(faces), one[angle < FLAT], other[angle < FLAT])
    bends = np.where(out, angle, -angle)
    return Surface(vertices, faces, normals, twice / 2, flat, np.stack([one, other], axis=1), bends)


def joined(count: int, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The group of each of `count` things, numbered from 0, where `one[k]` and `other[k]` are together."""
    label = np.arange(count)
    while True:
        least = np.minimum(label[one], label[other])
        new = label.copy()
        # By the labels, too, so that a long row is joined in few passes.
        np.minimum.at(new, label[one], least)
        np.minimum.at(new, label[other], least)
        new = new[new]
        if np.array_equal(new, label):
            return np.unique(label, return_inverse=True)[1]
        label = new
