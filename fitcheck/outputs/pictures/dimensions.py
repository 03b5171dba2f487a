"""Dimension lines at the places of the worst findings, with the figure in a black box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.finding import Finding, Verdict
from fitcheck.outputs.pictures.camera import Camera
from fitcheck.outputs.pictures.paper import INK, PAPER, Box, Paper, Pixel, crosses, inside, overlap
from fitcheck.world.frames import SIDES

# More than a few dimensions hide what they measure.
MOST = 4
TEXT = 17.0
# Shorter than this on paper, arrows point in from outside.
SHORT = 64.0
TAIL, HEAD = 38.0, 13.0
# Seen at less than this share of its length, a distance cannot be shown by a line.
HEAD_ON = 0.2
# Checks whose figure is wanted also where it is met: the room asked for is what one looks for.
ALWAYS = ("room",)
# Lengths nearer than this are one, mm: moves are given with a little to spare.
SAME = 0.02
BLACK = (12, 14, 16)
# A figure is put this many steps away, not farther, to uncover lines to names.
MUCH_FARTHER = 9


@dataclass(frozen=True)
class Dimension:
    """One figure to mark: its text, the pixels of both ends, and the finding; `flat` if seen head-on."""

    finding: Finding
    text: str
    a: tuple[float, float]
    b: tuple[float, float]
    flat: bool


def figure(finding: Finding) -> str:
    """The finding's number in a few words: `overlap 22.0 mm`, `1.4 mm (needs 2.0)`."""
    if finding.check == "run" and finding.measured is None:
        return "no way found"
    if finding.measured is None:
        return str(finding.verdict)
    if finding.unit == "share":
        return _share(finding)
    unit = f" {finding.unit}" if finding.unit else ""
    if finding.check == "interference":
        return f"overlap {finding.measured:.1f}{unit}"
    if finding.check == "run" and finding.details.get("reason") == "narrow":
        return f"neck: {finding.measured:.1f}{unit} pass (needs {finding.required:.1f})"
    if finding.check == "containment":
        return f"sticks out {finding.measured:.1f}{unit}"
    if finding.required is None:
        return f"{finding.measured:.1f}{unit}"
    tight = ", tight" if finding.verdict == Verdict.TIGHT else ""
    wanted = "at most" if finding.details.get("at_most") else "needs"
    return f"{finding.measured:.1f}{unit} ({wanted} {finding.required:.1f}{tight})"


def _share(finding: Finding) -> str:
    """A share in percent, and what it needs: `41.0 % (needs 50.0 %)`."""
    assert finding.measured is not None
    said = f"{100 * finding.measured:.1f} %"
    if finding.required is None:
        return said
    tight = ", tight" if finding.verdict == Verdict.TIGHT else ""
    most = "at most " if finding.details.get("at_most") else ""
    return f"{said} (needs {most}{100 * finding.required:.1f} %{tight})"


def ends(finding: Finding) -> np.ndarray:
    """(2, 3) world points that the finding's figure lies between; twice the same where no line shows it.

    Two witness points as they are. An overlap: from the far side of what is shared, back by the shortest
    way out, if that way is the depth itself (not where a slanting move is shorter). What sticks out of its
    compartment: from its outermost point back to the wall.
    """
    points = np.array(finding.where[:2], float)
    if len(points) == 2:
        return points
    details, measured = finding.details, finding.measured or 0.0
    start = points[0]
    if moves := details.get("moves"):
        side = min(moves, key=lambda s: moves[s])
        shared = details.get("overlap")
        if shared and abs(moves[side] - measured) <= max(SAME, 0.01 * measured):
            axis = int(np.abs(SIDES[side]).argmax())
            start = start.copy()
            start[axis] = shared["high" if SIDES[side][axis] > 0 else "low"][axis]
            return np.array([start, start - SIDES[side] * measured])
    if out := details.get("out"):
        side = max(out, key=lambda s: out[s])
        return np.array([start, start - SIDES[side] * out[side]])
    if finding.check == "gaps" and details.get("side") in SIDES:
        return np.array([start, start + SIDES[details["side"]] * measured])
    return np.array([start, start])


def dimension(finding: Finding, camera: Camera) -> Dimension | None:
    """The finding as seen by a camera; None if it names no place."""
    if not finding.where:
        return None
    points = ends(finding)
    a, b = camera.pixels(points)
    length = float(np.linalg.norm(points[1] - points[0]))
    flat = length < SAME or float(np.linalg.norm(b - a)) < HEAD_ON * length * camera.scale
    return Dimension(finding, figure(finding), (float(a[0]), float(a[1])), (float(b[0]), float(b[1])), flat)


def chosen(findings: Sequence[Finding], camera: Camera, pane: Box) -> list[Dimension]:
    """Dimensions of the worst few findings (given worst first) whose places lie in the pane."""
    found: list[Dimension] = []
    for finding in findings:
        told = finding.verdict in (Verdict.FAILS, Verdict.TIGHT) or finding.check in ALWAYS
        # A run without a way is marked where it got stuck, proved or not.
        told = told or (finding.check == "run" and finding.verdict != Verdict.FITS)
        dim = dimension(finding, camera) if told else None
        if dim is None or finding.follows or len(found) == MOST:
            continue
        if all(inside((*end, *end), pane) for end in (dim.a, dim.b)):
            found.append(dim)
    return found


def draw_dimensions(
    paper: Paper,
    dims: Sequence[Dimension],
    pane: Box,
    keep_off: Sequence[Box] = (),
    lines: Sequence[tuple[Pixel, Pixel]] = (),
) -> None:
    """Draw lines, arrows and figures; figures keep off each other, all marks, and `keep_off`.

    Where there is a place near by they cover none of the `lines` to names either.
    """
    taken = [*keep_off, *(_mark_box(paper, d) for d in dims)]
    for dim in dims:
        size = paper.measure(dim.text, TEXT, bold=True)
        pad = paper.px(6)
        box = _free_place(paper, dim, (size[0] + 2 * pad, size[1] + 2 * pad), taken, pane, lines)
        taken.append(box)
        middle = ((dim.a[0] + dim.b[0]) / 2, (dim.a[1] + dim.b[1]) / 2)
        hold = (min(max(middle[0], box[0]), box[2]), min(max(middle[1], box[1]), box[3]))
        paper.line([middle, hold], PAPER, 4.0)
        paper.line([middle, hold], BLACK, 1.6)
        _draw_line(paper, dim)
        paper.write("figure", dim.text, (box[0], box[1]), TEXT, bold=True, colour=PAPER, fill=BLACK, pad=6)


def _direction(dim: Dimension) -> np.ndarray:
    along = np.array(dim.b) - dim.a
    length = np.linalg.norm(along)
    return along / length if length > 1e-9 else np.array([0.0, 1.0])


def _ends(paper: Paper, dim: Dimension) -> tuple[np.ndarray, np.ndarray]:
    """Outermost pixels of the drawn line."""
    a, b, along = np.array(dim.a), np.array(dim.b), _direction(dim)
    short = float(np.linalg.norm(b - a)) < paper.px(SHORT)
    tail = paper.px(TAIL) if short and not dim.flat else 0
    return a - along * tail, b + along * tail


def _mark_box(paper: Paper, dim: Dimension) -> Box:
    ends, reach = np.array(_ends(paper, dim)), paper.px(HEAD)
    low, high = ends.min(axis=0) - reach, ends.max(axis=0) + reach
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _draw_line(paper: Paper, dim: Dimension) -> None:
    a, b, along = np.array(dim.a), np.array(dim.b), _direction(dim)
    if dim.flat:
        for width, colour in ((5, PAPER), (2.2, BLACK)):
            turn = np.linspace(0, 2 * np.pi, 33)
            ring = np.array(dim.a) + paper.px(11) * np.stack([np.cos(turn), np.sin(turn)], axis=1)
            paper.line([(float(x), float(y)) for x, y in ring], colour, width)
        return
    across = np.array([-along[1], along[0]])
    start, end = _ends(paper, dim)
    short = start[0] != a[0] or start[1] != a[1]
    lines = [(start, a), (b, end)] if short else [(a, b)]
    ticks = [(p - across * paper.px(9), p + across * paper.px(9)) for p in (a, b)]
    for width, colour in ((5.0, PAPER), (2.2, BLACK)):
        for p, q in [*lines, *ticks]:
            paper.line([tuple(map(float, p)), tuple(map(float, q))], colour, width)  # type: ignore[list-item]
    head, half = paper.px(HEAD), paper.px(HEAD) * 0.38
    for tip, way in ((a, along if short else -along), (b, -along if short else along)):
        back = tip - way * head
        outer = np.array([tip + way * 1.5, back - across * (half + 1.5), back + across * (half + 1.5)])
        paper.polygon(outer, PAPER)
        paper.polygon(np.array([tip, back - across * half, back + across * half]), INK)


def _free_place(
    paper: Paper,
    dim: Dimension,
    size: tuple[int, int],
    taken: Sequence[Box],
    pane: Box,
    lines: Sequence[tuple[Pixel, Pixel]],
) -> Box:
    """The box nearest the dimension's middle that covers nothing taken and lies in the pane.

    The nearest that covers no line either, if that is not much farther.
    """
    middle = (np.array(dim.a) + dim.b) / 2
    along = _direction(dim)
    across = np.array([-along[1], along[0]])
    best = second = None
    for ring in range(2, 18):
        if second and ring > MUCH_FARTHER:
            break
        for way in (
            across,
            -across,
            along,
            -along,
            across + along,
            across - along,
            -across + along,
            -across - along,
        ):
            # Far enough that the box's nearest side, not its middle, clears the mark.
            centre = middle + way * (ring * paper.px(22)) + np.sign(np.round(way, 3)) * np.array(size) / 2
            box = (*(centre - np.array(size) / 2), *(centre + np.array(size) / 2))
            if inside(box, pane):
                best = best or box
                if any(overlap(box, other, paper.px(3)) for other in taken):
                    continue
                second = second or box
                if not any(crosses(a, b, box) for a, b in lines):
                    return tuple(map(float, box))  # type: ignore[return-value]
    best = second or best
    if best is None:
        x = min(max(middle[0] - size[0] / 2, pane[0]), pane[2] - size[0])
        y = min(max(middle[1] - size[1] / 2, pane[1]), pane[3] - size[1])
        best = (x, y, x + size[0], y + size[1])
    return tuple(map(float, best))  # type: ignore[return-value]
