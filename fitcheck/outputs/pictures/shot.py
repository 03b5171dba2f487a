"""One camera's drawing of a world, without text: surfaces, outlines, cut faces, and whose each pixel is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from PIL import Image

from fitcheck.finding import Verdict
from fitcheck.outputs.pictures import looks, section
from fitcheck.outputs.pictures.bands import FAR, rgb
from fitcheck.outputs.pictures.camera import Camera, View
from fitcheck.outputs.pictures.draw import OVERSAMPLE, Halfspace, Sheet, Stage, Strokes
from fitcheck.outputs.pictures.field import Field
from fitcheck.outputs.pictures.margins import VERDICT_COLOURS
from fitcheck.outputs.pictures.probe import ensure_drawing
from fitcheck.outputs.pictures.surfaces import Cloth, Skin, refined

CASE_OPACITY, GLASS_OPACITY = 0.05, 0.22
OUTLINE, CASE_LINE, WAY = (0.17, 0.19, 0.21), (0.55, 0.58, 0.62), (0.0, 0.36, 0.6)
FAINT_GREY, CASE_CUT = (120, 130, 140), (176, 182, 188)
# Width of the outline of a neck, pixels of the picture.
NECK = 3.5
# Cut faces are this much paler than their material, so that their outlines speak.
CUT_PALE = 0.62


@dataclass(frozen=True, eq=False)
class Scene:
    """What every shot of one world needs.

    Args:
        skins: surfaces, one a solid.
        plain: all of them joined.
        field: distances to other parts.
        case: indices of the parts that are the case.
        verdicts: worst verdict of each part that a finding names.
        outlines: (verdict, (k, 2, 3) segments) of the places that findings outline, as necks of the air.
    """

    skins: Sequence[Skin]
    plain: Cloth
    field: Field
    case: set[int]
    verdicts: dict[int, Verdict]
    outlines: Sequence[tuple[Verdict, np.ndarray]] = ()

    @cached_property
    def parts(self) -> np.ndarray:
        """(n,) the part of each skin."""
        return np.array([s.part for s in self.skins])

    def middle(self, part: int) -> np.ndarray:
        """(3,) middle of a part's bounds, mm."""
        boxes = np.array([s.bounds for s in self.skins if s.part == part])
        return np.asarray((boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2)

    @cached_property
    def of_case(self) -> np.ndarray:
        """(n,) bool: skins of the case."""
        return np.asarray(np.isin(self.parts, sorted(self.case)))

    @cached_property
    def single(self) -> np.ndarray:
        """(n,) bool: skins of one piece; the faces of several would show through each other as clouds."""
        return np.array([len(s.solid.pieces) == 1 for s in self.skins], bool)

    @cached_property
    def faint(self) -> np.ndarray:
        """(n,) bool: skins to see through."""
        clear = np.array([s.solid.transparent for s in self.skins], bool)
        return np.asarray(self.of_case | clear)

    @cached_property
    def measured(self) -> Cloth:
        """The skins joined, refined and measured."""
        return refined(self.plain, self.field, self.field.bands.demand, self.field.bands.far)


@dataclass(frozen=True, eq=False)
class Shot:
    """A scene before a camera: `keep` the half left by a section, `shown` (n,) the skins that are on,
    `moved` (parts, 3) how far each part stands from its place, mm, `carried` how far its host does."""

    scene: Scene
    view: View
    camera: Camera
    keep: Halfspace | None
    shown: np.ndarray
    moved: np.ndarray
    carried: np.ndarray

    @cached_property
    def faint(self) -> np.ndarray:
        """(n,) bool: skins to see through; an eye sees through what is clear only."""
        scene = self.scene
        clear = np.array([s.solid.transparent for s in scene.skins], bool)
        return clear if self.view.eye else scene.faint

    def taken(self) -> tuple[Image.Image, np.ndarray]:
        """The pane, and the part index at each of its pixels (-1: none, or only the case); or NoPicture."""
        sheets, strokes = self._sheets(), self._strokes()
        ensure_drawing()
        stage = Stage()
        try:
            big = stage.picture(self.camera, sheets, strokes, self.scene.field.bands, self.keep)
            ids = self._identities(stage)
        finally:
            stage.close()
        if self.keep is not None:
            ids = self._cut(big, ids)
        pane = big.resize(self.camera.size, Image.Resampling.BOX)
        if self.view.colour == "verdict":
            failing = [p for p, v in self.scene.verdicts.items() if v == Verdict.FAILS]
            pixels = np.array(pane)
            looks.hatched(pixels, np.isin(ids, failing))
            pane = Image.fromarray(pixels)
        return pane, ids

    def _identities(self, stage: Stage) -> np.ndarray:
        plain = self.scene.plain
        solid = (self.shown & ~self.faint)[plain.owner[plain.triangles[:, 0]]]
        corners = plain.triangles[solid]
        ids = self.scene.parts[plain.owner[corners[:, 0]]]
        seen = stage.identities(self.camera, self._points(plain), corners, ids, self.keep)
        return np.where(np.isin(seen, sorted(self.scene.case)), -1, seen)

    def _cut(self, big: Image.Image, ids: np.ndarray) -> np.ndarray:
        assert self.keep is not None
        scene = self.scene
        cut = section.cut_of(scene.skins, self.shown, self.keep)
        fills = looks.pale(looks.role_colours(scene.skins), CUT_PALE)
        fills[scene.of_case] = CASE_CUT
        coloured = self.view.colour == "clearance"
        owner = section.paint(big, self.camera, cut, scene.field, fills, coloured)
        owner = owner[::OVERSAMPLE, ::OVERSAMPLE]
        part = np.where(scene.of_case, -1, scene.parts)
        return np.where(owner >= 0, part[owner], ids)

    def _points(self, source: Cloth) -> np.ndarray:
        return np.asarray(source.points + self.moved[self.scene.parts[source.owner]])

    def _sheets(self) -> list[Sheet]:
        scene, measuring = self.scene, self.view.colour == "clearance"
        source = scene.measured if measuring else scene.plain
        owner, points = source.owner[source.triangles[:, 0]], self._points(source)
        if self.view.colour == "role":
            colours = looks.role_colours(scene.skins)
        elif self.view.colour == "verdict":
            colours = looks.verdict_colours(scene.skins, scene.verdicts)
        else:
            colours = np.tile(np.array(rgb(FAR), np.uint8), (len(scene.skins), 1))
        dense = source.triangles[(self.shown & ~self.faint)[owner]]
        values = source.values if measuring else None
        made = [Sheet(points, source.normals, dense, values, colours[source.owner])]
        grey = np.tile(np.array(FAINT_GREY, np.uint8), (len(source.points), 1))
        for group, opacity in (
            (self.faint & scene.of_case & scene.single, CASE_OPACITY),
            (self.faint & ~scene.of_case, GLASS_OPACITY),
        ):
            faint = source.triangles[(group & self.shown)[owner]]
            made.append(Sheet(points, source.normals, faint, None, grey, opacity))
        return made

    def _strokes(self) -> list[Strokes]:
        dark, pale = [np.zeros((0, 2, 3))], [np.zeros((0, 2, 3))]
        for skin, on, faint in zip(self.scene.skins, self.shown, self.faint, strict=True):
            if on:
                # A sheet's round holes need no outline: their rims are drawn.
                flat = faint and skin.solid.role in ("sheet", "glass")
                lines = skin.patch.edges if flat else skin.patch.lines_seen(self.camera.towards)
                (pale if faint else dark).append(lines + self.moved[skin.part])
        ways = self._ways() if self.view.explode else []
        return [
            Strokes(np.concatenate(dark), OUTLINE, 1.1),
            Strokes(np.concatenate(pale), CASE_LINE, 1.0),
            Strokes(np.array(ways).reshape(-1, 2, 3), WAY, 1.6),
            *self._outlines(),
        ]

    def _outlines(self) -> list[Strokes]:
        """What findings outline; where things were moved apart it would hang in the air."""
        if self.view.explode or self.view.eye:
            return []
        return [
            Strokes(segments, (red / 255, green / 255, blue / 255), NECK)
            for verdict, segments in self.scene.outlines
            for red, green, blue in [VERDICT_COLOURS[verdict]]
        ]

    def _ways(self) -> list[np.ndarray]:
        """(2, 3) lines along which parts came off their hosts."""
        shown = sorted(set(self.scene.parts[self.shown].tolist()))
        middles = {p: self.scene.middle(p) for p in shown if np.any(self.moved[p] != self.carried[p])}
        return [np.array([m + self.carried[p], m + self.moved[p]]) for p, m in middles.items()]
