"""One picture from end to end, and what several pictures of one world share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from PIL import Image

from fitcheck.finding import Finding, Verdict
from fitcheck.outputs.pictures import choose, detail, dimensions, explode, labels, looks, margins, section
from fitcheck.outputs.pictures.bands import Bands, bands_of
from fitcheck.outputs.pictures.camera import Camera, View, aim, aim_from, framing
from fitcheck.outputs.pictures.choose import Report
from fitcheck.outputs.pictures.detail import Detail
from fitcheck.outputs.pictures.draw import Halfspace
from fitcheck.outputs.pictures.field import field_of
from fitcheck.outputs.pictures.labels import Label, Seen
from fitcheck.outputs.pictures.paper import PAPER, Box, Paper, Words
from fitcheck.outputs.pictures.probe import NoPicture, start_probe
from fitcheck.outputs.pictures.shot import Scene, Shot
from fitcheck.outputs.pictures.surfaces import cloth, skins
from fitcheck.world.world import World

SIZE = (1600, 1200)
OVERVIEW = View("from front left top", name="overview")


@dataclass(frozen=True, eq=False)
class Drawn:
    """A picture and what is marked on it.

    Args:
        image: RGB.
        view: with its plane and side chosen.
        camera: world to pixels.
        written: every text with its box.
        ids: (height, width) part index at each pixel of the pane, -1 where none but the case is seen.
        dims: the dimensions drawn.
        labels: the names drawn.
        seen: parts that can be seen, by index.
        shown: parts that the view does not hide.
        bands: colours of distances.
        detail: the magnified worst place, if there is one.
    """

    image: Image.Image
    view: View
    camera: Camera
    written: list[Words]
    ids: np.ndarray
    dims: list[dimensions.Dimension]
    labels: list[Label]
    seen: dict[int, Seen]
    shown: frozenset[int]
    bands: Bands
    detail: Detail | None


@dataclass(frozen=True, eq=False)
class Studio:
    """Draws pictures of one world; surfaces and distances are measured once."""

    world: World
    report: Report
    size: tuple[int, int] = SIZE

    def __post_init__(self) -> None:
        if not any(solid.pieces for part in self.world.parts for solid in part.shape.solids.values()):
            raise NoPicture("the scene has nothing to draw", "add a part that has a solid")
        start_probe()

    @cached_property
    def scene(self) -> Scene:
        """Surfaces, whose they are, and what to colour them by."""
        made = skins(self.world.parts)
        plain = cloth(made)
        case = choose.case_parts(self.world)
        field = field_of(self.world, made, self.bands)
        verdicts = looks.part_verdicts(self.world, self.ranked)
        return Scene(made, plain, field, case, verdicts, looks.outlined(self.ranked))

    @cached_property
    def bands(self) -> Bands:
        """Bands of the scene's clearance rule."""
        return bands_of(self.world)

    @cached_property
    def ranked(self) -> list[Finding]:
        """Findings, worst first."""
        return choose.worst_first(self.report.findings)

    def drawn(self, view: View) -> Drawn:
        """One picture; raises NoPicture, or ValueMistake for a name the scene has not."""
        view = self._settled(view)
        image = Image.new("RGB", self.size, PAPER)
        paper = Paper(image, self.size[0] / SIZE[0])
        frame = margins.layout(self.size, paper)
        on = choose.shown(self.world, view, self.scene.skins)
        moved, carried = explode.moves(self.world, self.scene.case, view.explode)
        bounds = self._framed(moved)
        camera = (
            aim(view.look, bounds, frame.pane) if view.at is None
            else aim_from(np.array(view.at), bounds, frame.pane)
        )  # fmt: skip
        keep = section.halfspace(*view.cut, camera.towards) if view.cut else None
        shot = Shot(self.scene, view, camera, keep, on, moved, carried)
        pane, ids = shot.taken()
        image.paste(pane, frame.pane[:2])
        seen = labels.seen_parts(ids, (frame.pane[0], frame.pane[1]))
        shown = frozenset(int(s.part) for s, yes in zip(self.scene.skins, on, strict=True) if yes)
        dims = [] if view.explode or view.eye else self._dimensions(camera, keep, frame, shown)
        near = self._detail(paper, view, camera, frame, dims, seen)
        if near is not None:
            frame = detail.kept_free(frame, near.camera.pane, paper.px(8))
        placed = self._name_parts(paper, frame, seen) if view.names else []
        marks = [near.shows, detail.tag_box(paper, near)] if near is not None else []
        self._draw_dimensions(paper, frame, dims, placed, marks)
        if near is not None:
            detail.draw_detail(paper, near, replace(shot, camera=near.camera).taken()[0])
        self._margins(paper, view, camera, shown)
        return Drawn(image, view, camera, paper.written, ids, dims, placed, seen, shown, self.bands, near)

    def _settled(self, view: View) -> View:
        """The view with its plane, side or eye chosen, if it leaves them open."""
        if view.eye:
            return replace(view, at=choose.eye_of(self.world, self.ranked, view.eye))
        lead = next((f for f in self.ranked if f.where and f.verdict != Verdict.FITS), None)
        if view.cut_worst and lead is not None:
            case = choose.case_bounds(self.world)
            parts = choose.concerned(self.world, lead) - self.scene.case
            at = section.worst_cut(self.world, lead, parts, case[1] - case[0])
            view = section.resolved(view, at)
        if view.cut and not view.look:
            view = section.resolved(view, view.cut)
        return view if view.look else replace(view, look=OVERVIEW.look)

    def _framed(self, moved: np.ndarray) -> np.ndarray:
        boxes = np.array([p.bounds for p in self.world.parts]) + moved[:, None]
        everything = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
        return framing(choose.case_bounds(self.world), everything)

    def _name_parts(self, paper: Paper, frame: margins.Layout, seen: dict[int, Seen]) -> list[Label]:
        wrong = [f for f in self.ranked if f.verdict != Verdict.FITS]
        first = [p for f in wrong for p in sorted(choose.concerned(self.world, f) - self.scene.case)]
        names = {p: self.world.parts[p].name for p in seen}
        placed, more = labels.arranged(paper, names, seen, list(dict.fromkeys(first)), frame)
        colours = {p: margins.VERDICT_COLOURS[v] for p, v in self.scene.verdicts.items()}
        labels.draw_labels(paper, placed, frame, colours)
        if more:
            left, low = frame.columns[0][0], frame.rooms[0][1] - paper.px(24)
            paper.write("more", f"+ {more} more parts", (left, low), 14)
        return placed

    def _detail(
        self,
        paper: Paper,
        view: View,
        camera: Camera,
        frame: margins.Layout,
        dims: list[dimensions.Dimension],
        seen: dict[int, Seen],
    ) -> Detail | None:
        """A section shows its worst place magnified; other views see it behind other parts."""
        if not view.cut or not dims:
            return None
        spots = [s.at for s in seen.values()]
        bounds = self._framed(np.zeros((len(self.world.parts), 3)))
        return detail.detail_of(paper, dims[0], camera, frame, bounds, spots)

    def _dimensions(
        self, camera: Camera, keep: Halfspace | None, frame: margins.Layout, shown: frozenset[int]
    ) -> list[dimensions.Dimension]:
        marked = [f for f in self.ranked if self._in_view(f, keep, shown)]
        return dimensions.chosen(marked, camera, frame.box)

    def _draw_dimensions(
        self,
        paper: Paper,
        frame: margins.Layout,
        dims: list[dimensions.Dimension],
        placed: list[Label],
        marks: list[Box],
    ) -> None:
        reach = paper.px(6)
        dots = [(x - reach, y - reach, x + reach, y + reach) for x, y in (label.at for label in placed)]
        lines = [(labels.line_start(paper, label, frame), label.at) for label in placed]
        dimensions.draw_dimensions(paper, dims, frame.box, [*marks, *dots], lines)

    def _in_view(self, finding: Finding, keep: Halfspace | None, shown: frozenset[int]) -> bool:
        """Is the finding's place in front of the eye: not hidden by the view, and at the section's plane?"""
        if not finding.where or not choose.concerned(self.world, finding) <= shown:
            return False
        if keep is None:
            return True
        height = (dimensions.ends(finding) - keep.origin) @ keep.normal
        return bool((height > -2 * section.INTO).all() and (height < self.bands.far).all())

    def _margins(self, paper: Paper, view: View, camera: Camera, shown: frozenset[int]) -> None:
        same = [f for f in self.ranked if f.verdict == self.report.verdict and f.verdict != Verdict.FITS]
        lead = same[0] if same else None
        margins.draw_header(paper, self.world.title, view, self.report.verdict, lead, len(same))
        if view.colour == "clearance":
            legend, heading = self.bands.legend(), "distance to the nearest part that is not meant to touch"
        elif view.colour == "verdict":
            legend, heading = looks.verdict_legend(self.scene.verdicts), "worst finding that names the part"
        else:
            inner = np.array([s.part in shown and s.part not in self.scene.case for s in self.scene.skins])
            legend, heading = looks.role_legend(self.scene.skins, inner), "what each solid is"
        margins.draw_footer(paper, camera, legend, heading)
