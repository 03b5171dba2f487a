"""Pictures: PNG files that show at a glance what does not fit, and by how much.

The road of one picture: `camera` aims, `surfaces` makes triangles, `field` and `bands` colour them,
`draw` asks VTK for pixels, `section` paints cut faces, `labels`, `dimensions` and `margins` write.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from fitcheck.finding import Finding, Verdict
from fitcheck.outputs.pictures import choose, dimensions, labels, looks, margins, section
from fitcheck.outputs.pictures.bands import FAR, Bands, bands_of, rgb
from fitcheck.outputs.pictures.camera import Camera, View, aim, as_view, framing
from fitcheck.outputs.pictures.choose import Report
from fitcheck.outputs.pictures.draw import Halfspace, Sheet, Stage, Strokes
from fitcheck.outputs.pictures.explode import moves
from fitcheck.outputs.pictures.field import Field, field_of, meant_to_touch
from fitcheck.outputs.pictures.paper import PAPER, Paper, Words
from fitcheck.outputs.pictures.probe import NoPicture, ensure_drawing, start_probe
from fitcheck.outputs.pictures.surfaces import Cloth, Skin, cloth, refined, skins
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.world import World

__all__ = ["Drawn", "NoPicture", "View", "default_views", "draw_view", "render", "render_file"]

SIZE = (1600, 1200)
OVERVIEW = View("from front left top", name="overview")
WORST = View(cut_worst=True, name="worst place")
CASE_OPACITY, GLASS_OPACITY = 0.05, 0.22
OUTLINE, CASE_LINE = (0.17, 0.19, 0.21), (0.55, 0.58, 0.62)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A picture and what is marked on it.

    `written` is every text with its box; `ids` (height, width) the part index at each pixel of the
    pane; `seen` the parts that can be seen; `shown` those not hidden by the view.
    """

    image: Image.Image
    view: View
    camera: Camera
    written: list[Words]
    ids: np.ndarray
    dims: list[dimensions.Dimension]
    labels: list[labels.Label]
    seen: dict[int, labels.Seen]
    shown: frozenset[int]
    bands: Bands


def render(
    world: World,
    report: Report,
    view: View | str | Mapping[str, Any] | None = None,
    size: tuple[int, int] = SIZE,
) -> Image.Image:
    """One picture of a world and its findings; the overview if no view is named.

    Raises NoPicture where nothing can be drawn, ValueMistake for a view that is not understood.
    """
    return draw_view(world, report, view, size).image


def render_file(
    world: World,
    report: Report,
    path: str | Path,
    view: View | str | Mapping[str, Any] | None = None,
    size: tuple[int, int] = SIZE,
) -> list[Path]:
    """Write a PNG; without a view the default set, the second file named after the first.

    Returns the files written. Raises as `render` does.
    """
    path = Path(path)
    if view is not None:
        draw_view(world, report, view, size).image.save(path, "PNG")
        return [path]
    written = []
    studio = Studio(world, report, size)
    for each in default_views(report):
        place = (
            path if not written else path.with_name(f"{path.stem}-{each.name.replace(' ', '-')}{path.suffix}")
        )
        studio.drawn(each).image.save(place, "PNG")
        written.append(place)
    return written


def default_views(report: Report) -> list[View]:
    """An overview, and a section through the worst place if any finding names a place."""
    placed = any(f.where and f.verdict != Verdict.FITS for f in report.findings)
    return [OVERVIEW, WORST] if placed else [OVERVIEW]


def named_view(world: World, view: View | str | Mapping[str, Any] | None) -> View:
    """The view meant by a name of the scene, a look, an entry, or None."""
    if view is None:
        return OVERVIEW
    if not isinstance(view, str):
        return as_view(view)
    if view in world.views:
        return as_view(world.views[view], view)
    if view.startswith("from "):
        return View(view)
    known = nearest(view, world.views)
    raise ValueMistake(
        f"no view is named {view!r}", f"did you mean {known}?" if known else "add it under views"
    )


def draw_view(
    world: World,
    report: Report,
    view: View | str | Mapping[str, Any] | None = None,
    size: tuple[int, int] = SIZE,
) -> Drawn:
    """A picture together with what is marked on it; as `render`."""
    return Studio(world, report, size).drawn(named_view(world, view))


@dataclass(frozen=True, eq=False)
class Studio:
    """What all pictures of one world share, measured once."""

    world: World
    report: Report
    size: tuple[int, int] = SIZE

    def __post_init__(self) -> None:
        start_probe()

    @cached_property
    def skins(self) -> list[Skin]:
        """All solids' surfaces."""
        return skins(self.world.parts)

    @cached_property
    def bands(self) -> Bands:
        """Bands of the scene's clearance rule."""
        return bands_of(self.world)

    @cached_property
    def field(self) -> Field:
        """Distances to other parts."""
        return field_of(self.world, self.skins, self.bands)

    @cached_property
    def exempt(self) -> np.ndarray:
        """Skins meant to touch."""
        return meant_to_touch(self.world, self.skins)

    @cached_property
    def plain(self) -> Cloth:
        """Surfaces unrefined."""
        return cloth(self.skins)

    @cached_property
    def measured(self) -> Cloth:
        """Surfaces refined and measured."""
        return refined(self.plain, self.field, self.bands.demand, self.bands.far)

    @cached_property
    def case(self) -> set[int]:
        """Parts that are the case."""
        return choose.case_parts(self.world)

    @cached_property
    def ranked(self) -> list[Finding]:
        """Findings, worst first."""
        return choose.by_weight(list(self.report.findings))

    @cached_property
    def verdicts(self) -> dict[int, Verdict]:
        """Worst verdict of each part in a finding."""
        return looks.part_verdicts(self.world, self.ranked)

    def drawn(self, view: View) -> Drawn:
        """One picture."""
        view = self._settled(view)
        image = Image.new("RGB", self.size, PAPER)
        paper = Paper(image, self.size[0] / SIZE[0])
        frame = margins.layout(self.size, paper)
        seen_skins = choose.shown(self.world, view, self.skins)
        moved = (
            moves(self.world, self.case, view.explode)
            if view.explode
            else np.zeros((len(self.world.parts), 3))
        )
        camera = aim(view.look, self._framed(moved), frame.pane)
        keep = section.halfspace(*view.cut, camera.towards) if view.cut else None
        pane, ids = _Shot(self, view, camera, keep, seen_skins, moved).taken()
        image.paste(pane, frame.pane[:2])
        seen = labels.seen_parts(ids, (frame.pane[0], frame.pane[1]))
        visible = frozenset(int(s.part) for s, on in zip(self.skins, seen_skins, strict=True) if on)
        dims, placed = self._annotate(paper, view, camera, keep, frame, seen, visible)
        return Drawn(image, view, camera, paper.written, ids, dims, placed, seen, visible, self.bands)

    def _settled(self, view: View) -> View:
        """The view with its plane and side chosen, if it leaves them open."""
        lead = next((f for f in self.ranked if f.where and f.verdict != Verdict.FITS), None)
        if view.cut_worst and lead is not None:
            case = choose.case_bounds(self.world)
            at = section.worst_cut(self.world, lead, choose.concerned(self.world, lead), case[1] - case[0])
            view = section.resolved(view, at) if at else view
        if view.cut and not view.look:
            view = section.resolved(view, view.cut)
        return view if view.look else replace(view, look=OVERVIEW.look)

    def _framed(self, moved: np.ndarray) -> np.ndarray:
        boxes = np.array([p.bounds for p in self.world.parts]) + moved[:, None]
        everything = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
        return framing(choose.case_bounds(self.world), everything)

    def _annotate(
        self,
        paper: Paper,
        view: View,
        camera: Camera,
        keep: Halfspace | None,
        frame: margins.Layout,
        seen: dict[int, labels.Seen],
        visible: frozenset[int],
    ) -> tuple[list[dimensions.Dimension], list[labels.Label]]:
        first = [
            p
            for f in self.ranked
            if f.verdict != Verdict.FITS
            for p in sorted(choose.concerned(self.world, f))
        ]
        first = list(dict.fromkeys(p for p in first if p not in self.case))
        names = {p: self.world.parts[p].name for p in seen}
        placed, more = labels.arranged(paper, names, seen, first, frame.pane, frame.columns)
        colours = {p: margins.VERDICT_COLOURS[v] for p, v in self.verdicts.items()}
        labels.draw_labels(paper, placed, frame.columns, colours)
        if more:
            paper.write(
                "more", f"+ {more} more parts", (frame.columns[0][0], frame.pane[3] - paper.px(24)), 14
            )
        dims = []
        if not view.explode:
            marked = [f for f in self.ranked if self._in_view(f, keep, visible)]
            dims = dimensions.chosen(marked, camera, tuple(map(float, frame.pane)))  # type: ignore[arg-type]
            dots = [(x - 6, y - 6, x + 6, y + 6) for x, y in (label.at for label in placed)]
            dimensions.draw_dimensions(paper, dims, frame.pane, dots)
        failing = [f for f in self.ranked if f.verdict == self.report.verdict and f.verdict != Verdict.FITS]
        lead = choose.leading(self.report)
        margins.draw_header(paper, self.world.title, view, self.report.verdict, lead, len(failing))
        margins.draw_footer(paper, camera, *self._legend(view, visible))
        return dims, placed

    def _in_view(self, finding: Finding, keep: Halfspace | None, visible: frozenset[int]) -> bool:
        if not finding.where or not choose.concerned(self.world, finding) <= visible:
            return False
        if keep is None:
            return True
        height = (np.array(finding.where[:2], float) - keep.origin) @ keep.normal
        return bool((height > -2 * section.INTO).all() and (height < self.bands.far).all())

    def _legend(self, view: View, visible: frozenset[int]) -> tuple[list[tuple[str, str]], str]:
        if view.colour == "clearance":
            return self.bands.legend(), "distance to the nearest part that is not meant to touch"
        if view.colour == "verdict":
            return looks.verdict_legend(self.verdicts), "worst finding that names the part"
        on = np.array([s.part in visible and s.part not in self.case for s in self.skins])
        return looks.role_legend(self.skins, on), "what each solid is"


@dataclass(frozen=True, eq=False)
class _Shot:
    """One camera's drawing of a studio's world, without text."""

    studio: Studio
    view: View
    camera: Camera
    keep: Halfspace | None
    shown: np.ndarray
    moved: np.ndarray

    def taken(self) -> tuple[Image.Image, np.ndarray]:
        """The pane as an image, and the part index at each of its pixels (-1: none, or only the case)."""
        studio = self.studio
        faint = np.array([s.part in studio.case or s.solid.transparent for s in studio.skins])
        source = studio.measured if self.view.colour == "clearance" else studio.plain
        sheets, strokes = self._sheets(source, faint), self._strokes(faint)
        cut = section.cut_of(studio.skins, self.shown, self.keep) if self.keep is not None else None
        ensure_drawing()
        stage = Stage()
        try:
            big = stage.picture(self.camera, sheets, strokes, studio.bands, self.keep)
            plain = studio.plain
            solid = (self.shown & ~faint)[plain.owner[plain.triangles[:, 0]]]
            corners = plain.triangles[solid]
            parts = np.array([s.part for s in studio.skins])
            points = plain.points + self.moved[parts[plain.owner]]
            ids = stage.identities(self.camera, points, corners, parts[plain.owner[corners[:, 0]]], self.keep)
        finally:
            stage.close()
        if cut is not None:
            fills = looks.pale(looks.role_colours(studio.skins), 0.62)
            fills[[s.part in studio.case for s in studio.skins]] = (176, 182, 188)
            coloured = self.view.colour == "clearance"
            owner = section.paint(big, self.camera, cut, studio.field, fills, studio.exempt, coloured)[
                ::2, ::2
            ]
            skin_part = np.array([-1 if s.part in studio.case else s.part for s in studio.skins])
            ids = np.where(owner >= 0, skin_part[owner], ids)
        pane = big.resize(self.camera.size, Image.Resampling.BOX)
        if self.view.colour == "verdict":
            pixels = np.array(pane)
            failing = [p for p, v in studio.verdicts.items() if v == Verdict.FAILS]
            looks.hatched(pixels, np.isin(ids, failing))
            pane = Image.fromarray(pixels)
        return pane, ids

    def _sheets(self, source: Cloth, faint: np.ndarray) -> list[Sheet]:
        studio = self.studio
        owner = source.owner[source.triangles[:, 0]]
        parts = np.array([s.part for s in studio.skins])
        points = source.points + self.moved[parts[source.owner]]
        case = np.isin(parts, sorted(studio.case))
        if self.view.colour == "role":
            colours = looks.role_colours(studio.skins)
        elif self.view.colour == "verdict":
            colours = looks.verdict_colours(studio.skins, studio.verdicts)
        else:
            colours = np.tile(np.array(rgb(FAR), np.uint8), (len(studio.skins), 1))
        dense = self.shown & ~faint
        values = source.values if self.view.colour == "clearance" else None
        made = [Sheet(points, source.normals, source.triangles[dense[owner]], values, colours[source.owner])]
        for group, opacity in ((case, CASE_OPACITY), (faint & ~case, GLASS_OPACITY)):
            grey = np.tile(np.array([120, 130, 140], np.uint8), (len(source.points), 1))
            chosen = source.triangles[(group & self.shown)[owner]]
            made.append(Sheet(points, source.normals, chosen, None, grey, opacity))
        return made

    def _strokes(self, faint: np.ndarray) -> list[Strokes]:
        studio = self.studio
        dark = [
            s.patch.edges + self.moved[s.part]
            for i, s in enumerate(studio.skins)
            if self.shown[i] and not faint[i]
        ]
        pale = [
            s.patch.edges + self.moved[s.part]
            for i, s in enumerate(studio.skins)
            if self.shown[i] and faint[i]
        ]
        empty = [np.zeros((0, 2, 3))]
        return [
            Strokes(np.concatenate(dark + empty), OUTLINE, 1.1),
            Strokes(np.concatenate(pale + empty), CASE_LINE, 1.0),
        ]
