"""The named places of a model: faces, ports, holes, openings, keep-clears, compartments."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from fitcheck.parts.features import Compartment, Face, Hole, KeepClear, Link, Opening, Port
from fitcheck.parts.pieces import NOTHING, bounds, box_piece, cylinder_piece, frozen
from fitcheck.parts.reading import PassedOver, Path, Reading
from fitcheck.parts.solids import Solid
from fitcheck.parts.threads import major_diameter
from fitcheck.scene.entries import Entry
from fitcheck.scene.feature_entries import (
    CompartmentEntry,
    FaceEntry,
    HoleEntry,
    KeepClearEntry,
    OpeningEntry,
    PortEntry,
)
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.solid_entries import SolidEntry

E = TypeVar("E", bound=Entry)
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Surroundings:
    """The solids that named places belong to.

    Args:
        entries: as written.
        solids: those made, by full name.
        failed: names that have a mistake, which is noted.
        names: all full names, in order, made or about to be.
    """

    entries: Mapping[str, SolidEntry]
    solids: dict[str, Solid]
    failed: set[str]
    names: list[str]

    def bind(
        self, make: Callable[[str, E, Reading, Path, Surroundings], T]
    ) -> Callable[[str, E, Reading, Path], T]:
        """The maker of a named place, with these solids around."""
        return lambda name, entry, reading, path: make(name, entry, reading, path, self)

    def present(self, references: Sequence[str]) -> tuple[str, ...]:
        """Full names of the solids named, less those that `when` leaves out.

        A repeated solid named without an index stands for all of its instances.

        Raises:
            ValueMistake: no such solid.
            PassedOver: one that has a mistake.
        """
        found: list[str] = []
        for name in references:
            base = name.partition("[")[0]
            if base in self.failed or name in self.failed:
                raise PassedOver
            if base not in self.entries:
                near = nearest(name, self.names)
                raise ValueMistake(f"there is no solid `{name}`", f"write {near}" if near else "")
            of_base = [full for full in self.names if full.partition("[")[0] == base]
            chosen = [name] if name in self.names else of_base if name == base else []
            if not chosen and not self.entries[base].when:
                has = f"{of_base[0]} to {of_base[-1]}" if of_base else "none"
                raise ValueMistake(f"there is no solid `{name}`; there are {has}")
            found += chosen
        if any(name in self.failed for name in found):
            raise PassedOver
        return tuple(dict.fromkeys(found))

    def owners(self, references: Sequence[str], reading: Reading, path: Path, name: str) -> tuple[str, ...]:
        """The solids a place belongs to; the only one if the file does not say."""
        if references:
            with reading.at((*path, "of"), name):
                return self.present([reading.reference(one, (*path, "of")) for one in references])
        if len(self.entries) > 1:
            with reading.at(path, name):
                raise ValueMistake(f"of is missing: which of {', '.join(self.entries)} it belongs to")
        return tuple(self.names)


def face(name: str, entry: FaceEntry, reading: Reading, path: Path, around: Surroundings) -> Face:
    """A face: one side of its solids' bounds, or a rectangle of its own."""
    owners = around.owners(entry.of, reading, path, name)
    gives = reading.length(entry.gives, (*path, "gives"))
    if entry.side is not None:
        normal = reading.direction(entry.side, (*path, "side"))
    else:
        assert entry.normal is not None
        normal = reading.direction(entry.normal, (*path, "normal"))
    # Of the two words for a default, +x serves unless the normal runs along it.
    along = _across(entry.along, normal, (np.eye(3)[0], np.eye(3)[1]), reading, (*path, "along"), name)
    with reading.at((*path, "gives"), name):
        if gives < 0:
            raise ValueMistake(f"{gives:g} is below 0: a pad gives inwards")
    if entry.side is None:
        assert entry.at is not None
        assert entry.size is not None
        centre = reading.lengths(entry.at, (*path, "at"))
        size = reading.lengths(entry.size, (*path, "size"))
        with reading.at((*path, "size"), name):
            if np.min(size) < NOTHING:
                raise ValueMistake(f"a face of {size[0]:g} x {size[1]:g} has no area")
    else:
        with reading.at((*path, "of"), name):
            if not owners:
                raise ValueMistake(
                    f"none of {', '.join(entry.of)} is made with these values",
                    "give the face the same when as its solid",
                )
        pieces = [piece for owner in owners for piece in around.solids[owner].pieces]
        low, high = bounds(pieces)
        with reading.at((*path, "along"), name):
            if not np.isin(np.abs(along), (0.0, 1.0)).all():
                raise ValueMistake("a side of the bounds runs along x, y or z")
        centre = (low + high) / 2
        centre[normal != 0] = np.where(normal > 0, high, low)[normal != 0]
        extents = high - low
        size = np.array([np.abs(along) @ extents, np.abs(np.cross(normal, along)) @ extents])
    return Face(name, frozen(centre), normal, along, (float(size[0]), float(size[1])), owners, gives)


def port(name: str, entry: PortEntry, reading: Reading, path: Path, around: Surroundings) -> Port:
    """A connection at its sealing face."""
    owners = around.owners(entry.of, reading, path, name)
    at = reading.lengths(entry.at, (*path, "at"))
    axis = reading.direction(entry.axis, (*path, "axis"))
    up = _across(entry.up, axis, _UPS, reading, (*path, "up"), name)
    depth = reading.length(entry.depth, (*path, "depth"))
    with reading.at((*path, "depth"), name):
        if depth < 0:
            raise ValueMistake(f"{depth:g} is below 0")
    reach = ""
    if entry.reach is not None:
        with reading.at((*path, "reach"), name):
            found = around.present([reading.reference(entry.reach, (*path, "reach"))])
            if len(found) != 1:
                count = f"{len(found)} solids" if found else "no solid"
                raise ValueMistake(f"`{entry.reach}` is {count} here; one is due")
        (reach,) = found
    return Port(name, at, axis, up, _link(entry, reading, path), depth, owners, reach)


def hole(name: str, entry: HoleEntry, reading: Reading, path: Path) -> tuple[Hole, Path]:
    """A round hole, and where it is written."""
    at = reading.lengths(entry.at, (*path, "at"))
    axis = reading.direction(entry.axis, (*path, "axis"))
    diameter = reading.length(entry.diameter, (*path, "diameter"))
    depth = None if entry.depth is None else reading.length(entry.depth, (*path, "depth"))
    thread = _thread(entry.thread, reading, path) if entry.thread is not None else ""
    for key, value in (("diameter", diameter), ("depth", depth)):
        with reading.at((*path, key), name):
            if value is not None and value < NOTHING:
                raise ValueMistake(f"{key} {value:g} is not above 0")
    cuts = "" if entry.cuts is None else reading.reference(entry.cuts, (*path, "cuts"))
    return Hole(name, at, axis, diameter, depth, thread, cuts), path


def opening(name: str, entry: OpeningEntry, reading: Reading, path: Path) -> tuple[Opening, Path]:
    """A cut-out for air or cables, and where it is written."""
    at = reading.lengths(entry.at, (*path, "at"))
    axis = reading.direction(entry.axis, (*path, "axis"))
    up = _across(entry.up, axis, _UPS, reading, (*path, "up"), name)
    shape = entry.shape
    if entry.round is not None:
        size = np.repeat(reading.length(entry.round, (*path, "round")), 2)
    else:
        pair = entry.slot if entry.slot is not None else entry.rectangle
        assert pair is not None
        size = reading.lengths(pair, (*path, shape))
    with reading.at((*path, shape), name):
        if np.min(size) < NOTHING:
            raise ValueMistake(f"an opening of {size[0]:g} x {size[1]:g} lets nothing through")
        if shape == "slot" and size[0] < size[1]:
            problem = f"a slot {size[0]:g} long is shorter than its width {size[1]:g}"
            raise ValueMistake(problem, f"write [{size[1]:g}, {size[0]:g}] and turn up")
    cuts = "" if entry.cuts is None else reading.reference(entry.cuts, (*path, "cuts"))
    return Opening(name, at, axis, up, shape, (float(size[0]), float(size[1])), cuts), path


def keep_clear(name: str, entry: KeepClearEntry, reading: Reading, path: Path) -> KeepClear:
    """A volume that must stay empty."""
    if entry.box is not None:
        low = reading.lengths(entry.box.low, (*path, "box", "low"))
        high = reading.lengths(entry.box.high, (*path, "box", "high"))
        with reading.at((*path, "box"), name):
            return KeepClear(name, box_piece(low, high), entry.why)
    rod = entry.cylinder
    assert rod is not None
    start = reading.lengths(rod.from_, (*path, "cylinder", "from"))
    end = reading.lengths(rod.to, (*path, "cylinder", "to"))
    diameter = reading.length(rod.diameter, (*path, "cylinder", "diameter"))
    with reading.at((*path, "cylinder"), name):
        if rod.bore is not None:
            raise ValueMistake("a keep-clear cylinder is empty all through", "leave out bore")
        return KeepClear(name, cylinder_piece(start, end, diameter), entry.why)


def compartment(
    name: str, entry: CompartmentEntry, reading: Reading, path: Path, around: Surroundings
) -> Compartment:
    """A box of empty space and the solids behind its walls."""
    low = reading.lengths(entry.low, (*path, "low"))
    high = reading.lengths(entry.high, (*path, "high"))
    with reading.at(path, name):
        for axis, lower, upper in zip("xyz", low, high, strict=True):
            if upper - lower < NOTHING:
                raise ValueMistake(f"low is {lower:g} and high is {upper:g} along {axis}: no room between")
    walls: dict[str, str] = {}
    for wall, raw in entry.walls.items():
        place = (*path, "walls", wall)
        with reading.at(place, name):
            solids = around.present([reading.reference(raw, place)])
            if len(solids) > 1:
                raise ValueMistake(f"`{raw}` is {len(solids)} solids; one is due", f"write {solids[0]}")
        if solids:
            walls[wall] = solids[0]
    return Compartment(name, low, high, walls)


_UPS = (np.eye(3)[2], np.eye(3)[0])


def _across(
    raw: str | list[int | float | str] | None,
    normal: np.ndarray,
    defaults: tuple[np.ndarray, np.ndarray],
    reading: Reading,
    path: Path,
    name: str,
) -> np.ndarray:
    """A reference direction square to `normal`: what is written, or the first default that can be."""
    if raw is not None:
        wanted = reading.direction(raw, path)
    else:
        first, second = defaults
        wanted = second if abs(normal @ first) > 1 - NOTHING else first
    across = wanted - normal * (normal @ wanted)
    size = float(np.linalg.norm(across))
    with reading.at(path, name):
        if size < NOTHING:
            raise ValueMistake(f"{path[-1]} runs along the {'normal' if path[-1] == 'along' else 'axis'}")
    return frozen(across / size + 0.0)


def _link(entry: PortEntry, reading: Reading, path: Path) -> Link:
    kind = entry.link
    if kind == "thread":
        assert entry.thread is not None
        return Link(kind, _thread(entry.thread, reading, path), entry.gender)
    if kind == "tube":
        assert entry.tube is not None
        outside = reading.length(entry.tube, (*path, "tube"))
        with reading.at((*path, "tube")):
            if outside < NOTHING:
                raise ValueMistake(f"{outside:g} is not above 0")
        return Link(kind, f"{outside:.10g}", entry.gender)
    text = {"plug": entry.plug, "slot": entry.slot, "cable": entry.cable}[kind]
    assert text is not None
    return Link(kind, str(reading.text(text)), entry.gender)


def _thread(raw: str, reading: Reading, path: Path) -> str:
    size = str(reading.text(raw))
    with reading.at((*path, "thread")):
        major_diameter(size)
    return size
