"""The solids of a world as the page draws them: triangles and lines in their part's frame, and distances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.outputs.page.refine import sparsely_refined
from fitcheck.outputs.pictures.bands import Bands
from fitcheck.outputs.pictures.field import field_of
from fitcheck.outputs.pictures.surfaces import Cloth, Skin, cloth, skins
from fitcheck.outputs.pictures.tessellate import Patch
from fitcheck.world.frames import Frame
from fitcheck.world.world import World

# How far the facets of round surfaces may lie inside them, mm: less than a pixel of any screen.
SAGITTA = 0.1


@dataclass(frozen=True, eq=False)
class Drawn:
    """One solid as it is drawn.

    Args:
        skin: whose surface it is.
        patch: triangles and lines, in the frame of its part, mm.
        values: (n,) distance of each point to what it must not touch, mm; inf: nothing near.
    """

    skin: Skin
    patch: Patch
    values: np.ndarray


def drawn_solids(world: World, bands: Bands) -> list[Drawn]:
    """All solids with their colours, split where these change; part by part in scene order."""
    made = skins(world.parts, SAGITTA)
    if not made:
        return []
    field = field_of(world, made, bands)
    split = sparsely_refined(cloth(made), field, bands.demand, bands.far)
    return [
        Drawn(skin, local(patch, world.parts[skin.part].pose), values)
        for skin, (patch, values) in zip(made, apart(split, made), strict=True)
    ]


def apart(joined: Cloth, made: Sequence[Skin]) -> list[tuple[Patch, np.ndarray]]:
    """A cloth as the surface and the values of each of its skins, which keep their lines."""
    order = np.argsort(joined.owner, kind="stable")
    starts = np.searchsorted(joined.owner[order], np.arange(len(made) + 1))
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    triangles = place[joined.triangles]
    of_skin = joined.owner[joined.triangles[:, 0]]
    by_skin = np.argsort(of_skin, kind="stable")
    firsts = np.searchsorted(of_skin[by_skin], np.arange(len(made) + 1))
    found = []
    for k, skin in enumerate(made):
        points = order[starts[k] : starts[k + 1]]
        own = triangles[by_skin[firsts[k] : firsts[k + 1]]] - starts[k]
        lines = skin.patch
        patch = Patch(
            joined.points[points], joined.normals[points], own, lines.edges, lines.bends, lines.bend_normals
        )
        found.append((patch, joined.values[points]))
    return found


def local(patch: Patch, pose: Frame) -> Patch:
    """A surface of the world as its part sees it."""
    return patch.moved(pose.inverse())
