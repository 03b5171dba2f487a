"""Where a picture looks from: named views, parallel projection, the same camera for the same case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

import numpy as np

from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.frames import OPPOSITE, SIDES

COLOURS = ("clearance", "verdict", "role")
# First, second and third side of a view: unequal, so that no two edges of a box fall on one line.
WEIGHTS = (1.0, 0.7, 0.55)
# Share of the pane that the case fills; the rest shows what sticks out of it.
FILL = 0.9
# Parts beyond the case widen the view by whole steps, so that most layouts of one case keep one camera.
STEP = 50.0


@dataclass(frozen=True)
class View:
    """One named picture: where from, cut where, coloured by what, without which parts.

    Args:
        look: `from` and one to three sides.
        cut: axis (x, y, z) to coordinate in mm, or None.
        cut_worst: cut through the worst finding's witness point; chooses `look` too, unless that is given.
        colour: clearance, verdict or role.
        hide: name patterns left out; `show`: if any, only these.
        explode: 0 assembled; 1 assemblies moved apart.
        eye: name of the eyes of the rule `sight` that it is seen from; then the case is drawn as it is.
        at: (3,) where the eye is, once that is settled, mm.
        names: parts are named beside the picture.
    """

    look: str = ""
    cut: tuple[str, float] | None = None
    cut_worst: bool = False
    colour: str = "clearance"
    hide: tuple[str, ...] = ()
    show: tuple[str, ...] = ()
    explode: float = 0.0
    eye: str = ""
    at: tuple[float, float, float] | None = None
    names: bool = True
    name: str = field(default="", compare=False)


def as_view(told: View | Mapping[str, Any] | None, name: str = "") -> View:
    """A View from a scene's `views` entry (values already evaluated); raises ValueMistake."""
    if isinstance(told, View):
        return told
    entry = {k: v for k, v in dict(told or {}).items() if v is not None}
    known = ("look", "cut", "colour", "hide", "show", "explode", "eye")
    for key in entry:
        if key not in known:
            raise ValueMistake(
                f"a view has no {key!r}", f"did you mean {nearest(str(key), known) or known[0]}?"
            )
    cut = entry.get("cut")
    axis_cut = _axis_cut(cut) if cut not in (None, "worst") else None
    view = View(
        look=str(entry.get("look", "")),
        cut=axis_cut,
        cut_worst=cut == "worst",
        colour=str(entry.get("colour", "role" if entry.get("eye") else "clearance")),
        hide=_names(entry.get("hide", ())),
        show=_names(entry.get("show", ())),
        explode=float(entry.get("explode", 0.0)),
        eye=str(entry.get("eye", "")),
        name=name,
    )
    if view.colour not in COLOURS:
        raise ValueMistake(f"colour {view.colour!r} is none of {', '.join(COLOURS)}")
    if view.explode and cut:
        raise ValueMistake("a view is either cut or exploded", "make two views of it")
    if view.eye and (view.explode or cut or view.look):
        raise ValueMistake(
            "a view from an eye has no look, no cut and is not exploded", "make two views of it"
        )
    if view.look:
        sides_of(view.look)
    return view


def _names(told: Any) -> tuple[str, ...]:
    return (told,) if isinstance(told, str) else tuple(told)


def _axis_cut(told: Any) -> tuple[str, float]:
    pairs = [(k, v) for k, v in dict(told).items() if v is not None] if isinstance(told, Mapping) else []
    if len(pairs) != 1 or pairs[0][0] not in ("x", "y", "z"):
        raise ValueMistake(f"cut {told!r} is not understood", "write cut: {x: 155 mm} or cut: worst")
    return str(pairs[0][0]), float(pairs[0][1])


def sides_of(look: str) -> tuple[str, ...]:
    """The sides of `from front left`; raises ValueMistake for an unknown or contradicting word."""
    words = look.split()
    if len(words) < 2 or words[0] != "from" or len(words) > 4:
        raise ValueMistake(
            f"look {look!r} is not understood", "write from and one to three sides: from front left"
        )
    for word in words[1:]:
        if word not in SIDES:
            raise ValueMistake(f"{word!r} is no side", f"did you mean {nearest(word, SIDES) or 'front'}?")
        if OPPOSITE[word] in words or words.count(word) > 1:
            raise ValueMistake(f"look {look!r} names one direction twice", "write each direction once")
    return tuple(words[1:])


@dataclass(frozen=True, eq=False)
class Camera:
    """A parallel projection onto a pane of the picture, or what an eye sees.

    `towards`, `right`, `up` are unit world vectors: to the viewer, and along the picture. `middle` is the
    world point at the pane's centre; `scale` pixels a mm (of an eye: there); `pane` in pixels: left, top,
    right, bottom. `eye` (3,) is where the eye is, None for a parallel projection.
    """

    towards: np.ndarray
    right: np.ndarray
    up: np.ndarray
    middle: np.ndarray
    scale: float
    pane: tuple[int, int, int, int]
    eye: np.ndarray | None = None

    def pixels(self, points: np.ndarray) -> np.ndarray:
        """(..., 2) picture pixels (x right, y down) of world points (..., 3)."""
        from_middle = np.asarray(points, float) - self.middle
        if self.eye is not None:
            far = float((self.eye - self.middle) @ self.towards)
            before = np.maximum(far - from_middle @ self.towards, 1e-6)
            from_middle = from_middle * (far / before)[..., None]
        left, top, right, bottom = self.pane
        x = (left + right) / 2 + self.scale * (from_middle @ self.right)
        y = (top + bottom) / 2 - self.scale * (from_middle @ self.up)
        return np.stack([x, y], axis=-1)

    def depth(self, points: np.ndarray) -> np.ndarray:
        """(...) how near the viewer world points lie, mm; larger is nearer."""
        return np.asarray(np.asarray(points, float) @ self.towards)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the pane, pixels."""
        left, top, right, bottom = self.pane
        return right - left, bottom - top


def aim(look: str, bounds: np.ndarray, pane: tuple[int, int, int, int]) -> Camera:
    """The camera of a named view that shows world bounds (2, 3) in a pane; nothing else decides it."""
    sides = sides_of(look)
    towards = sum((w * SIDES[s] for w, s in zip(WEIGHTS, sides, strict=False)), np.zeros(3))
    towards = towards / np.linalg.norm(towards)
    if abs(towards[2]) < 1 - 1e-9:
        upward = SIDES["top"]
    else:  # looking straight down or up: the right side stays right
        upward = SIDES["rear"] if towards[2] > 0 else SIDES["front"]
    right = np.cross(upward, towards)
    right = right / np.linalg.norm(right)
    up = np.cross(towards, right)
    half = (bounds[1] - bounds[0]) / 2
    wide, high = np.abs(right) @ half, np.abs(up) @ half
    left, top, right_px, bottom = pane
    scale = FILL * min((right_px - left) / (2 * wide), (bottom - top) / (2 * high))
    return Camera(towards, right, up, bounds.mean(axis=0), float(scale), pane)


def aim_from(eye: np.ndarray, bounds: np.ndarray, pane: tuple[int, int, int, int]) -> Camera:
    """The camera of an eye that looks at the middle of world bounds (2, 3), all in the pane.

    Raises:
        ValueMistake: the eye stands within the bounds.
    """
    if ((eye > bounds[0]) & (eye < bounds[1])).all():
        raise ValueMistake("the eye stands within the machine", "move it out, or name another")
    middle = bounds.mean(axis=0)
    towards = (eye - middle) / np.linalg.norm(eye - middle)
    upward = SIDES["top"] if abs(towards[2]) < 1 - 1e-9 else SIDES["rear"]
    right = np.cross(upward, towards)
    right = right / np.linalg.norm(right)
    camera = Camera(towards, right, np.cross(towards, right), middle, 1.0, pane, eye)
    corners = np.array(list(product(*bounds.T)))
    left, top, right_px, bottom = pane
    away = np.abs(camera.pixels(corners) - [(left + right_px) / 2, (top + bottom) / 2]).max(axis=0)
    scale = FILL * float(min((right_px - left) / (2 * away[0]), (bottom - top) / (2 * away[1])))
    return replace(camera, scale=scale)


def framing(case: np.ndarray, everything: np.ndarray) -> np.ndarray:
    """(2, 3) bounds to aim at: the case, widened by whole steps for what sticks far out of it."""
    spare = (1 / FILL - 1) / 2 * (case[1] - case[0])
    beyond = np.array([case[0] - everything[0], everything[1] - case[1]]) - spare
    grow = STEP * np.ceil(np.maximum(beyond, 0) / STEP)
    return np.array([case[0] - grow[0], case[1] + grow[1]])
