"""Section cuts: where to cut, the cut face, and its outline coloured by clearance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from fitcheck.finding import Finding
from fitcheck.outputs.pictures.bands import CONTACT, NEAR, OVERLAP, rgb
from fitcheck.outputs.pictures.camera import Camera, View
from fitcheck.outputs.pictures.dimensions import ends
from fitcheck.outputs.pictures.draw import OVERSAMPLE, Halfspace
from fitcheck.outputs.pictures.field import Field
from fitcheck.outputs.pictures.surfaces import Skin
from fitcheck.world.world import World

AXES = {"x": 0, "y": 1, "z": 2}
LOOKS = {"x": "from left", "y": "from front", "z": "from top"}
# A plane flush with a face would cut it or not by rounding; this far off it never is, mm.
NUDGE = 1.37e-4
# Off a part's very edge, into its material, mm.
INTO = 1.0
THICK, THIN = 7, 2
OUTLINE = (70, 76, 82)
# The outline is measured this often, mm.
STEP = 2.0
# Deeper in another piece of its own solid than bends stand proud of each other, mm, a line is no outline.
SEAM = 0.3


@dataclass(frozen=True, eq=False)
class Cut:
    """A section seen by a camera: the half of the world kept, and the cut lines of each skin.

    `lines[i]` (k, 2, 3) in world mm, going round material always the same way; skins not cut are absent.
    """

    keep: Halfspace
    lines: dict[int, np.ndarray]


def halfspace(axis: str, at: float, towards: np.ndarray) -> Halfspace:
    """Keep the half away from the viewer of the plane axis = at."""
    normal = np.zeros(3)
    normal[AXES[axis]] = -1.0 if towards[AXES[axis]] > 0 else 1.0
    origin = np.zeros(3)
    origin[AXES[axis]] = at + NUDGE
    return Halfspace(origin, normal)


def worst_cut(world: World, finding: Finding, parts: set[int], size: np.ndarray) -> tuple[str, float]:
    """(axis, coordinate) of the plane that shows the dimension of a finding, which names a place.

    The plane holds the witness points, so its axis is the one they differ least along; between equal
    ones the case's shortest, which gives the largest picture. It is moved into the material that the
    `parts` share along that axis, where the witness lies on their very edge.
    """
    points = ends(finding)
    spread = np.round(np.ptp(points, axis=0), 2)
    axis = min(range(3), key=lambda k: (spread[k], size[k]))
    at = float(points[:, axis].mean())
    boxes = [world.parts[i].bounds for i in sorted(parts)]
    low = max((b[0, axis] for b in boxes), default=at)
    high = min((b[1, axis] for b in boxes), default=at)
    if low < high:
        into = min(INTO, (high - low) / 2)
        at = float(np.clip(at, low + into, high - into))
    return "xyz"[axis], at


def resolved(view: View, at: tuple[str, float]) -> View:
    """A `cut: worst` view with its plane, seen from the side that shows it unless the view says otherwise."""
    return View(
        look=view.look or LOOKS[at[0]],
        cut=at,
        colour=view.colour,
        hide=view.hide,
        show=view.show,
        name=view.name,
    )


def cut_of(skins: Sequence[Skin], seen: np.ndarray, keep: Halfspace) -> Cut:
    """Cut the shown skins."""
    lines = {i: plane_lines(s, keep) for i, s in enumerate(skins) if seen[i]}
    return Cut(keep, {i: k for i, k in lines.items() if len(k)})


def plane_lines(skin: Skin, keep: Halfspace) -> np.ndarray:
    """(k, 2, 3) where the skin's triangles meet the plane, material on one side throughout."""
    patch = skin.patch
    height = (patch.points - keep.origin) @ keep.normal
    above = height[patch.triangles] > 0
    crossing = patch.triangles[(above.sum(axis=1) % 3) != 0]
    above = height[crossing] > 0
    # Turn each so that the corner alone on its side comes first.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
    a, b, c = np.take_along_axis(crossing, (alone[:, None] + np.arange(3)) % 3, axis=1).T
    ends = np.stack([_meet(patch.points, height, a, b), _meet(patch.points, height, a, c)], axis=1)
    return np.where((height[a] > 0)[:, None, None], ends, ends[:, ::-1])


def _meet(points: np.ndarray, height: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    share = (height[a] / (height[a] - height[b]))[:, None]
    return np.asarray(points[a] + share * (points[b] - points[a]))


def filled(lines: np.ndarray, shape: tuple[int, int]) -> tuple[tuple[int, int], np.ndarray]:
    """Pixels inside directed lines (k, 2, 2), by winding number; ((row, column) of its corner, bool mask)."""
    frame = np.array([shape[1], shape[0]])
    low = np.clip(np.floor(lines.min(axis=(0, 1))).astype(int) - 1, 0, frame)
    high = np.clip(np.ceil(lines.max(axis=(0, 1))).astype(int) + 2, low, frame)
    width, height = high - low
    turns = np.zeros((height, width + 1), np.int32)
    (x0, y0), (x1, y1) = (lines[:, 0] - low).T, (lines[:, 1] - low).T
    first = np.ceil(np.minimum(y0, y1) - 0.5).astype(int)
    rows = np.ceil(np.maximum(y0, y1) - 0.5).astype(int) - first
    which = np.repeat(np.arange(len(lines)), rows)
    row = first[which] + np.arange(len(which)) - np.repeat(np.cumsum(rows) - rows, rows)
    share = (row + 0.5 - y0[which]) / (y1 - y0)[which]
    column = np.ceil(x0[which] + share * (x1 - x0)[which] - 0.5).astype(int)
    sign = np.where(y1 > y0, 1, -1)[which]
    ok = (row >= 0) & (row < height)
    np.add.at(turns, (row[ok], np.clip(column[ok], 0, width)), sign[ok])
    return (int(low[1]), int(low[0])), np.cumsum(turns, axis=1)[:, :width] != 0


def paint(
    image: Image.Image,
    camera: Camera,
    cut: Cut,
    field: Field,
    fills: np.ndarray,
    coloured: bool,
) -> np.ndarray:
    """Paint cut faces and outlines on the oversampled pane; (height, width) skin at each pixel, -1 none.

    `fills` (n, 3) uint8 is each skin's pale colour. Material that two clashing skins share is
    painted in the overlap's colour and hatched.
    """
    pixels = np.array(image)
    height, width = pixels.shape[:2]
    owner = np.full((height, width), -1)
    left, top = camera.pane[:2]
    shared = np.zeros((height, width), bool)
    flat = {i: (camera.pixels(k) - [left, top]) * OVERSAMPLE for i, k in cut.lines.items()}
    for i, lines in flat.items():
        if any(p.mesh is not None and not p.mesh.closed for p in field.skins[i].solid.pieces):
            continue
        (row, column), mask = filled(lines, (height, width))
        window = np.s_[row : row + mask.shape[0], column : column + mask.shape[1]]
        before = owner[window]
        other = mask & (before >= 0)
        shared[window] |= other & field.about.clash[i, before]
        pixels[window][mask] = fills[i]
        before[mask] = i
    pixels[shared] = rgb(OVERLAP)
    rows, columns = np.nonzero(shared)
    hatch = (rows + columns) % (8 * OVERSAMPLE) < 2 * OVERSAMPLE
    pixels[rows[hatch], columns[hatch]] = (255, 235, 230)
    image.paste(Image.fromarray(pixels))
    _outlines(image, camera, cut, field, coloured)
    return owner


def _outlines(image: Image.Image, camera: Camera, cut: Cut, field: Field, coloured: bool) -> None:
    pen = ImageDraw.Draw(image)
    left, top = camera.pane[:2]
    rows = [(np.repeat(i, len(k)), k) for i, k in cut.lines.items()]
    if not rows:
        return
    owner, lines = np.concatenate([r[0] for r in rows]), np.concatenate([r[1] for r in rows])
    owner, lines = _in_steps(owner, lines)
    # A bent tube is many cylinders: where they lie in each other there is no edge.
    outer = field.within_own(lines.mean(axis=1), owner) <= SEAM
    owner, lines = owner[outer], lines[outer]
    _strokes(pen, (camera.pixels(lines) - [left, top]) * OVERSAMPLE, OUTLINE, THIN * OVERSAMPLE)
    if not coloured:
        return
    values = field(lines.mean(axis=1), owner)
    ends = (camera.pixels(lines) - [left, top]) * OVERSAMPLE
    band = np.searchsorted([-CONTACT, *field.bands.edges], values, side="right")
    # The nearest last, so that no paler neighbour covers it; far ones keep their thin line.
    for number, colour in reversed(list(enumerate((OVERLAP, *NEAR)))):
        _strokes(pen, ends[band == number], rgb(colour), THICK * OVERSAMPLE)


def _in_steps(owner: np.ndarray, lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    count = np.maximum(np.ceil(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1) / STEP), 1).astype(int)
    which = np.repeat(np.arange(len(lines)), count)
    step = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    start, along = lines[which, 0], lines[which, 1] - lines[which, 0]
    low = start + along * (step / count[which])[:, None]
    high = start + along * ((step + 1) / count[which])[:, None]
    return owner[which], np.stack([low, high], axis=1)


def _strokes(pen: ImageDraw.ImageDraw, ends: np.ndarray, colour: tuple[int, ...], width: int) -> None:
    radius = width / 2 - 0.5
    for (x0, y0), (x1, y1) in ends.tolist():
        pen.line((x0, y0, x1, y1), fill=colour, width=width)
        if width > 2 * THIN:
            pen.ellipse((x0 - radius, y0 - radius, x0 + radius, y0 + radius), fill=colour)
            pen.ellipse((x1 - radius, y1 - radius, x1 + radius, y1 + radius), fill=colour)
