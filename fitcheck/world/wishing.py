"""From `runs:` of a scene to what is demanded of each: ports and openings found, sizes worked out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np

from fitcheck.parts.features import Hole, Opening, Port, Shape
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.rules import walk_rule
from fitcheck.scene.run_entries import RunEntry
from fitcheck.world.desk import PassedOver, last_key
from fitcheck.world.frames import Frame
from fitcheck.world.space import Space
from fitcheck.world.wishes import CABLE, RIGID, SOFT, Bending, End, Passage, Pulled, RunWish
from fitcheck.world.world import Part

# Straight length at each end, mm: what a hand leaves before the first bend. Common practice.
STUB = {SOFT: 15.0, RIGID: 15.0, CABLE: 10.0}
# Distance kept where the scene names none, mm. Common practice; a cable may all but lie against things.
TUBE_CLEARANCE, CABLE_CLEARANCE = 2.0, 0.5
# Bend radius over diameter where none is given: about 3 for thick walls and 4.5 for thin ones, rigid tube on
# a mandrel of 2, a cable laid for good takes 4 on its inside. From memory and common practice: placeholders
# that every finding names.
THICK, THIN, MANDREL, LAID = 3.0, 4.5, 2.0, 4.5
THICK_WALL = 6.0
# Least straight between two bends of a rigid tube, in diameters: what a hand can hold. Common practice.
GRIP = 1.0
# A tube sits in a fitting made for it, mm: above what rounding and inch sizes make of a figure.
SAME_SIZE = 0.25
Steps = tuple[str | int, ...]
Evaluate = Callable[[str, Any, Steps], Any]


class Wishes:
    """Reads the runs of one scene; mistakes are noted at the desk of its space."""

    def __init__(
        self, space: Space, parts: tuple[Part, ...], evaluate: Evaluate, members: Callable[[str], list[str]]
    ) -> None:
        self.space, self.evaluate, self.members = space, evaluate, members
        self.shapes: dict[str, Shape] = {part.name: part.shape for part in parts}
        self.used: dict[str, str] = {}

    def all(self, written: Mapping[str, RunEntry], default: float | None) -> tuple[RunWish, ...]:
        """Every run that could be read; `default` is the clearance that the scene's rules demand."""
        return tuple(wish for name, entry in written.items() for wish in self._one(name, entry, default))

    def _one(self, name: str, entry: RunEntry, default: float | None) -> Iterator[RunWish]:
        path: Steps = ("runs", name)
        before = len(self.space.desk.mistakes)
        plain = walk_rule(entry, self._value, path)
        stub = STUB[plain.kind] if plain.stub is None else plain.stub
        start = self._end((*path, "from"), name, plain, plain.from_, stub, plain.plug_from)
        goal = self._end((*path, "to"), name, plain, plain.to, stub, plain.plug_to)
        through = tuple(
            tuple(found for said, at in steps for found in self._passage(at, said))
            for steps in (_alternatives(step, (*path, "through", k)) for k, step in enumerate(plain.through))
        )
        self._refuse_sizes(path, plain)
        if start is None or goal is None or len(self.space.desk.mistakes) > before:
            return
        outside = _thickest(plain)
        usual = CABLE_CLEARANCE if plain.kind == CABLE else (TUBE_CLEARANCE if default is None else default)
        yield RunWish(
            name=name,
            kind=plain.kind,
            outside=outside,
            bore=plain.bore or 0.0,
            radius=_usual_radius(plain, outside) if plain.bend_radius is None else plain.bend_radius,
            assumed=plain.bend_radius is None,
            start=start,
            goal=goal,
            through=through,
            clearance=usual if plain.clearance is None else plain.clearance,
            play=plain.play,
            away_from=tuple((tuple(self.members(far.part)), far.at_least) for far in plain.away_from),
            bending=_bending(plain, outside) if plain.kind == RIGID else None,
            flat=(plain.flat[0], plain.flat[1]) if plain.flat else None,
            drawn=None if plain.points is None else np.array(plain.points, float).reshape(-1, 3),
            at_hand=plain.length,
            pull=None
            if plain.pull is None
            else Pulled(tuple(self.members(plain.pull.part)), plain.pull.towards, plain.pull.by),
            allowance=_allowances(plain, start, goal),
            line=self.space.document.mark(path, key=True).line,
        )

    def _value(self, kind: str, raw: Any, path: Steps) -> Any:
        """A plain value; a place stays as written: what it must be is asked once, where it is found."""
        return str(raw) if kind == "place" else self.evaluate(kind, raw, path)

    def _note(self, path: Steps, problem: str, mend: str = "") -> None:
        mark = self.space.document.mark(path)
        self.space.desk.note(mark, last_key(path), ValueMistake(problem, mend))

    def _refuse_sizes(self, path: Steps, plain: RunEntry) -> None:
        """Sizes that no tube or cable has."""
        for key in (
            "outside",
            "bore",
            "bend_radius",
            "stub",
            "clearance",
            "play",
            "straight",
            "length",
            "end_allowance",
        ):
            value = getattr(plain, key)
            least_is_open = key in ("outside", "bore", "bend_radius", "length")
            if value is not None and (value < 0 or (least_is_open and value == 0)):
                self._note((*path, key), f"{value:g} is {'not above' if least_is_open else 'below'} 0")
        outside = _thickest(plain)
        if outside <= 0:
            return
        if plain.bore is not None and plain.bore >= outside:
            self._note(
                (*path, "bore"), f"a bore of {plain.bore:g} does not go into an outside of {outside:g}"
            )
        if plain.bend_radius is not None and 0 < plain.bend_radius < outside / 2:
            least = outside / 2
            self._note(
                (*path, "bend_radius"),
                f"{plain.bend_radius:g} is below half the outside {outside:g}; it is that of the centre line",
                f"write at least {least:g}",
            )
        for angle in plain.angles or ():
            if not 0 < angle < 180:
                self._note((*path, "angles"), f"a bend of {angle:g}° is not between 0 and 180")

    def _end(
        self, path: Steps, name: str, plain: RunEntry, said: str, stub: float, plug: list[float] | None
    ) -> End | None:
        """A port that the run can start at; None when a mistake was noted."""
        wanted = "cable" if plain.kind == CABLE else "tube"
        found = self._feature(path, said, "port")
        if found is None:
            return None
        leaf, port, frame = found
        if not isinstance(port, Port) or port.link.kind != wanted:
            self._note(path, *self._no_end(leaf, said, wanted, port))
            return None
        if wanted == "tube" and plain.outside and abs(float(port.link.size) - plain.outside) > SAME_SIZE:
            self._note(
                path,
                f"{said} takes a tube of {port.link.size} mm, this one is {plain.outside:g} mm outside",
                f"write another fitting, or outside: {port.link.size} mm",
            )
            return None
        if said in self.used:
            self._note(path, f"{said} has the run {self.used[said]} already")
            return None
        self.used[said] = name
        return End(
            place=said,
            part=leaf,
            at=frame.point(port.at),
            out=frame.direction(port.axis),
            owners=port.owners,
            stub=stub,
            insertion=port.depth,
            plug=(tuple(plug) if plug else self._plug(leaf)) if wanted == "cable" else None,  # type: ignore[arg-type]
        )

    def _no_end(self, leaf: str, said: str, wanted: str, feature: object) -> tuple[str, str]:
        """Problem and mend of a place that a run cannot start at."""
        shape = self.shapes.get(leaf)
        fitting = [k for k, p in shape.ports.items() if p.link.kind == wanted] if shape else []
        stem = said.rpartition(".")[0]
        mend = f"write {stem}.{fitting[0]}" if fitting and stem else ""
        if isinstance(feature, Port) and not mend:
            mend = (
                f"join a {'plug' if wanted == 'cable' else 'fitting'} to it and name that one's {wanted} end"
            )
        return f"{said} is no {wanted} end", mend

    def _plug(self, leaf: str) -> tuple[float, float, float] | None:
        """Size of the plug that a cable ends in: of all its solids, longest side first."""
        shape = self.shapes.get(leaf)
        male = shape and [
            p for p in shape.ports.values() if p.link.kind == "plug" and p.link.gender == "male"
        ]
        if not shape or not male:
            return None
        corners = np.concatenate(
            [
                np.stack([piece.centre - reach, piece.centre + reach])
                for name, solid in shape.solids.items()
                if name in {male[0].reach, *male[0].owners}
                for piece in solid.pieces
                for reach in [np.abs(piece.rotation) @ piece.half]
            ]
        )
        along = int(np.argmax(np.abs(male[0].axis)))
        size = np.ptp(corners, axis=0)
        across = sorted(np.delete(size, along).tolist(), reverse=True)
        return across[0], across[1], float(size[along])

    def _passage(self, path: Steps, said: str) -> Iterator[Passage]:
        found = self._feature(path, said, "opening or hole")
        if found is None:
            return
        leaf, feature, frame = found
        if not isinstance(feature, (Hole, Opening)):
            shape = self.shapes.get(leaf)
            near = nearest(said, [f"{leaf}.{k}" for k in (*shape.openings, *shape.holes)] if shape else [])
            self._note(path, f"{said} is no opening or hole", f"write {near}" if near else "")
            return
        round_ = isinstance(feature, Hole)
        up = _square_to(feature.axis) if isinstance(feature, Hole) else feature.up
        yield Passage(
            place=said,
            part=leaf,
            solid=feature.cuts,
            at=frame.point(feature.at),
            axis=frame.direction(feature.axis),
            up=frame.direction(up),
            shape="round" if round_ else feature.shape,  # type: ignore[union-attr]
            size=(feature.diameter, feature.diameter) if isinstance(feature, Hole) else feature.size,
            thickness=_thickness(self.shapes.get(leaf), feature),
        )

    def _feature(self, path: Steps, said: str, called: str) -> tuple[str, Any, Frame] | None:
        try:
            return self.space.feature(said, {}, called=called)
        except PassedOver:
            return None
        except ValueMistake as wrong:
            self.space.desk.note(self.space.document.mark(path), last_key(path), wrong)
            return None


def _alternatives(step: str | list[str], path: Steps) -> list[tuple[str, Steps]]:
    if isinstance(step, list):
        return [(said, (*path, k)) for k, said in enumerate(step)]
    return [(step, path)]


def _thickest(plain: RunEntry) -> float:
    """Diameter that its way must leave free, mm."""
    return float(max(plain.flat) if plain.flat else plain.outside or 0.0)


def _usual_radius(plain: RunEntry, outside: float) -> float:
    if plain.kind == CABLE:
        return LAID * (min(plain.flat) if plain.flat else outside)
    if plain.kind == RIGID:
        return MANDREL * outside
    wall = (outside - plain.bore) / 2 if plain.bore else 0.0
    return (THICK if wall and outside / wall <= THICK_WALL else THIN) * outside


def _allowances(plain: RunEntry, start: End, goal: End) -> tuple[float, float]:
    """What is cut on at the start and at the end, mm."""
    if plain.end_allowance is not None:
        return plain.end_allowance, plain.end_allowance
    return start.insertion, goal.insertion


def _bending(plain: RunEntry, outside: float) -> Bending:
    angles = None if plain.angles is None else tuple(sorted(set(plain.angles)))
    return Bending(angles, GRIP * outside if plain.straight is None else plain.straight, plain.bend_cost)


def _square_to(axis: np.ndarray) -> np.ndarray:
    """Some direction square to an axis, for a round hole that has none of its own."""
    across = np.eye(3)[int(np.argmin(np.abs(axis)))]
    across = across - axis * (axis @ across)
    return np.asarray(across / np.linalg.norm(across))


def _thickness(shape: Shape | None, feature: Hole | Opening) -> float:
    """How deep the material lies behind the mouth: of the sheet it cuts, else of the whole part."""
    if shape is None:
        return 0.0
    solids = [shape.solids[feature.cuts]] if feature.cuts in shape.solids else list(shape.solids.values())
    deepest = [
        (feature.at - piece.centre) @ feature.axis + np.abs(piece.rotation.T @ feature.axis) @ piece.half
        for solid in solids
        for piece in solid.pieces
    ]
    return float(max([0.0, *deepest]))
