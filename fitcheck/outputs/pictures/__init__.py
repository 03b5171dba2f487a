"""Pictures: PNG files that show at a glance what does not fit, and by how much.

The road of one picture: `camera` aims, `surfaces` makes triangles, `field` and `bands` colour them,
`draw` asks VTK for pixels, `section` paints cut faces, `labels`, `dimensions` and `margins` write;
`studio` leads along it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PIL import Image

from fitcheck.finding import Verdict
from fitcheck.outputs.pictures.camera import View, as_view
from fitcheck.outputs.pictures.choose import Report
from fitcheck.outputs.pictures.probe import NoPicture
from fitcheck.outputs.pictures.studio import OVERVIEW, SIZE, Drawn, Studio
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.world import World

__all__ = ["Drawn", "NoPicture", "View", "default_views", "draw_view", "named_view", "render", "render_file"]

WORST = View(cut_worst=True, name="worst place")

AnyView = View | str | Mapping[str, Any] | None


def render(world: World, report: Report, view: AnyView = None, size: tuple[int, int] = SIZE) -> Image.Image:
    """One picture of a world and its findings; the overview if no view is named.

    Args:
        view: a name under the scene's `views`, a look (`from front left`), an entry as there, or a View.
        size: width and height, pixels.

    Raises:
        NoPicture: this machine cannot draw; says what to install.
        ValueMistake: the view is not understood.
    """
    return draw_view(world, report, view, size).image


def draw_view(world: World, report: Report, view: AnyView = None, size: tuple[int, int] = SIZE) -> Drawn:
    """A picture together with what is marked on it; as `render`."""
    return Studio(world, report, size).drawn(named_view(world, view))


def render_file(
    world: World, report: Report, path: str | Path, view: AnyView = None, size: tuple[int, int] = SIZE
) -> list[Path]:
    """Write a PNG; without a view the default set, whose second file is named after the first.

    Returns the files written. Raises as `render` does.
    """
    path = Path(path)
    views = default_views(report) if view is None else [named_view(world, view)]
    studio = Studio(world, report, size)
    written: list[Path] = []
    for each in views:
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


def named_view(world: World, view: AnyView) -> View:
    """The view meant by a name of the scene, a look, an entry, or None (the overview)."""
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
