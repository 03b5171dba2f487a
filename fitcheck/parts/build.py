"""A model's file and values to its shape: solids with their holes cut, and named places."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NoReturn, TypeVar

import numpy as np

from fitcheck.parts import named_places
from fitcheck.parts.features import Hole, Opening, Port, Shape, Wet
from fitcheck.parts.named_places import Surroundings
from fitcheck.parts.outline import Bore, bored, extruded, hollow_cylinder
from fitcheck.parts.pieces import NOTHING, box_piece, cylinder_piece, frozen, moved
from fitcheck.parts.polygon import CutMistake, Cutout
from fitcheck.parts.reading import PassedOver, Path, Reading, Value, unknown
from fitcheck.parts.solids import Extrusion, Piece, Pipe, Solid
from fitcheck.parts.tubes import tube
from fitcheck.parts.values import FileName, GivenMistake, evaluate_model
from fitcheck.parts.wet import Inside, wet
from fitcheck.scene.entries import Entry
from fitcheck.scene.mistakes import Mistake, Mistakes, ValueMistake
from fitcheck.scene.solid_entries import Box, Cylinder, MeshFile, Prism, Sheet, SolidEntry, Tube
from fitcheck.scene.wet_entries import WetEntry
from fitcheck.world.frames import turn_about

if TYPE_CHECKING:
    from fitcheck.scene.read import Model

__all__ = ["FileName", "GivenMistake", "build_shape", "evaluate_model"]

# Named things that one model may make: far above a case's, and built in under a second.
MADE = 5_000
# Pieces of all its solids: a bend of radius 100 mm has about 100.
PIECES = 20_000
# A hole's mouth may lie off its sheet by the contact tolerance, mm.
OFF_SHEET = 0.01
# Cosine above which a hole's axis counts as the outline's own.
ALONG = 1 - 1e-12
# A hole through a sheet leans by less than this cosine says; flatter ones run within it.
FLATTEST = 0.2

E = TypeVar("E", bound=Entry)
T = TypeVar("T")


def build_shape(model: Model, values: Mapping[str, Value]) -> Shape:
    """The shape that a model makes of all its values (`evaluate_model` gives them).

    Raises:
        Mistakes: all that is wrong, each with its place in the model's file.
    """
    builder = _Builder(model, values)
    shape = builder.shape()
    if builder.mistakes:
        raise Mistakes(builder.mistakes)
    return shape


@dataclass(frozen=True, eq=False)
class _Blank:
    """A sheet or prism whose holes are still to be cut, in the frame before its turn."""

    outline: np.ndarray
    axis: int
    low: float
    high: float
    flat: bool
    square: bool = False


@dataclass(frozen=True, eq=False)
class _Turned:
    """x in the part's frame = rotation @ x in the solid's own + origin."""

    rotation: np.ndarray = field(default_factory=lambda: np.eye(3))
    origin: np.ndarray = field(default_factory=lambda: np.zeros(3))


@dataclass(frozen=True, eq=False)
class _Draft:
    """A solid's entry, read: its pieces or its blank, and its turn."""

    entry: SolidEntry
    path: Path
    made: tuple[Piece, ...] | _Blank
    error: float
    turned: _Turned
    pipe: Pipe | None = None


class _Builder:
    """One building of one model, gathering its mistakes."""

    def __init__(self, model: Model, values: Mapping[str, Value]) -> None:
        self.model = model
        self.file = model.file
        self.mistakes: list[Mistake] = []
        names = tuple(values)
        self.reading = Reading(model, self._value, lambda: names, self.mistakes, {})
        self.values = values
        self.made = 0

    def _value(self, name: str) -> Value:
        if name not in self.values:
            raise unknown(name, tuple(self.values))
        return self.values[name]

    def shape(self) -> Shape:
        """The shape, as far as it can be made; see `mistakes`."""
        file = self.file
        drafts, failed = self._each("solids", file.solids, self._draft)
        around = Surroundings(file.solids, {}, failed, list(drafts))
        holes, _ = self._each("holes", file.holes, named_places.hole)
        openings, _ = self._each("openings", file.openings, named_places.opening)
        cuts = self._cuts({**holes, **openings}, around)
        pieces = 0
        for name, draft in drafts.items():
            try:
                solid = self._solid(name, draft, cuts.get(name, []))
                pieces += len(solid.pieces)
                if pieces > PIECES:
                    problem = f"the solids have more than {PIECES:,} pieces; that is the limit"
                    self.reading.note(draft.path, ValueMistake(problem), name)
                    break
                around.solids[name] = solid
            except PassedOver:
                failed.add(name)
        faces, _ = self._each("faces", file.faces, around.bind(named_places.face))
        ports, _ = self._each("ports", file.ports, around.bind(named_places.port))
        keep_clear, _ = self._each("keep_clear", file.keep_clear, named_places.keep_clear)
        rooms, _ = self._each("compartments", file.compartments, around.bind(named_places.compartment))
        return Shape(
            solids=around.solids,
            faces=faces,
            ports=ports,
            holes={name: hole for name, (hole, _) in holes.items()},
            openings={name: opening for name, (opening, _) in openings.items()},
            keep_clear=keep_clear,
            compartments=rooms,
            wet=self._wet(ports),
            electric=file.electric,
            bent=frozenset(self.reading.bent),
            turned=frozenset(self.reading.turned),
        )

    def _wet(self, ports: Mapping[str, Port]) -> dict[str, Wet]:
        """The spaces inside, each open to those made before it."""
        made: dict[str, Wet] = {}
        inside = Inside(self.file.ports, ports, self.file.wet, made)

        def make(name: str, entry: WetEntry, reading: Reading, path: Path) -> Wet:
            made[name] = wet(name, entry, reading, path, inside)
            return made[name]

        self._each("wet", self.file.wet, make)
        return made

    def _each(
        self, section: str, entries: Mapping[str, E], make: Callable[[str, E, Reading, Path], T]
    ) -> tuple[dict[str, T], set[str]]:
        """All instances of a section's entries by full name, and the entries that failed."""
        made: dict[str, T] = {}
        failed: set[str] = set()
        for name, entry in entries.items():
            path: Path = (section, name)
            try:
                for full, reading in self.reading.instances(path, entry):
                    self.made += 1
                    if self.made > MADE:
                        raise self._stop(path)
                    made[full] = make(full, entry, reading, path)
            except PassedOver:
                # The other instances would repeat the same mistake.
                failed.add(name)
        return made, failed

    def _stop(self, path: Path) -> Mistakes:
        self.reading.note(path, ValueMistake(f"the model makes more than {MADE:,} things; that is the limit"))
        return Mistakes(self.mistakes)

    def _draft(self, name: str, entry: SolidEntry, reading: Reading, path: Path) -> _Draft:
        shape = entry.shape
        key = type(shape).__name__.lower().removesuffix("file")
        inside = (*path, key)
        turned = _turned(entry, reading, path)
        error, pipe = 0.0, None
        made: tuple[Piece, ...] | _Blank
        if isinstance(shape, Box):
            made = (_box(shape, reading, inside),)
        elif isinstance(shape, Cylinder):
            made, error, pipe = _cylinder(shape, reading, inside)
        elif isinstance(shape, Tube):
            made, error = _tube(shape, reading, inside)
        elif isinstance(shape, MeshFile):
            made, error = self._mesh(shape, reading, inside)
        else:
            made = _blank(shape, reading, inside)
        return _Draft(entry, path, made, error, turned, pipe)

    def _mesh(self, shape: MeshFile, reading: Reading, path: Path) -> tuple[tuple[Piece, ...], float]:
        from fitcheck.parts.meshes import Detail, load_mesh  # brings trimesh along, which few models need

        name = reading.text(shape.file)
        folder = name.folder if isinstance(name, FileName) else self.model.folder
        facet, simplify = (
            None if raw is None else reading.length(raw, (*path, key))
            for key, raw in (("facet", shape.facet), ("simplify", shape.simplify))
        )
        part = None if shape.part is None else reading.text(shape.part)
        with reading.at((*path, "file")):
            piece = load_mesh(folder / name, shape.unit, folder, Detail(facet, part, simplify))
        assert piece.mesh is not None
        return (piece,), piece.mesh.error

    def _cuts(
        self, named: Mapping[str, tuple[Hole | Opening, Path]], around: Surroundings
    ) -> dict[str, list[tuple[Hole | Opening, Path]]]:
        """What is cut into each solid, by the solid's name."""
        cuts: dict[str, list[tuple[Hole | Opening, Path]]] = {}
        for name, (feature, path) in named.items():
            if not feature.cuts:
                continue
            place = (*path, "cuts")
            try:
                with self.reading.at(place, name):
                    for solid in around.present([feature.cuts]):
                        cuts.setdefault(solid, []).append((feature, path))
            except PassedOver:
                continue
        return cuts

    def _solid(self, name: str, draft: _Draft, cuts: Sequence[tuple[Hole | Opening, Path]]) -> Solid:
        pieces, error = draft.made, draft.error
        if isinstance(pieces, _Blank):
            pieces, error = self._cut(name, draft, pieces, cuts)
        elif cuts:
            feature, path = cuts[0]
            problem = f"{name} is neither a sheet nor a prism: nothing else can be cut"
            self._refuse((*path, "cuts"), feature.name, problem)
        turned = draft.turned
        uncut = _uncut(draft.made) if cuts and isinstance(draft.made, _Blank) else None
        if draft.entry.turn is not None:
            pieces = tuple(moved(piece, turned.rotation, turned.origin) for piece in pieces)
            uncut = uncut and moved(uncut, turned.rotation, turned.origin)
        extruded = _extrusion(draft.made, turned) if isinstance(draft.made, _Blank) else None
        return Solid(
            name, pieces, draft.entry.role, error, draft.entry.transparent, uncut, extruded,
            tuple(feature.name for feature, _ in cuts), draft.pipe,
        )  # fmt: skip

    def _cut(
        self, name: str, draft: _Draft, blank: _Blank, cuts: Sequence[tuple[Hole | Opening, Path]]
    ) -> tuple[tuple[Piece, ...], float]:
        straight: list[Cutout] = []
        bores: list[Bore] = []
        paths = {feature.name: path for feature, path in cuts}
        try:
            for feature, _ in cuts:
                cut = _cutting(feature, draft.turned, blank, name)
                (bores if isinstance(cut, Bore) else straight).append(cut)  # type: ignore[arg-type]
            piece, error = extruded(blank.outline, blank.axis, blank.low, blank.high, straight)
            if bores:
                piece, error = bored(piece, bores, error)
        except CutMistake as wrong:
            self._refuse(paths[wrong.name], wrong.name, wrong.problem, wrong.mend)
        except ValueMistake as wrong:
            self._refuse(draft.path, name, wrong.problem, wrong.mend)
        return (piece,), error

    def _refuse(self, path: Path, subject: str, problem: str, mend: str = "") -> NoReturn:
        self.reading.note(path, ValueMistake(problem, mend), subject)
        raise PassedOver


def _turned(entry: SolidEntry, reading: Reading, path: Path) -> _Turned:
    turn = entry.turn
    if turn is None:
        return _Turned()
    about = np.zeros(3)
    about["xyz".index(turn.about)] = 1.0
    rotation = turn_about(about, reading.angle(turn.by, (*path, "turn", "by")))
    at = np.zeros(3) if turn.at is None else reading.lengths(turn.at, (*path, "turn", "at"))
    return _Turned(rotation, at - rotation @ at)


def _box(shape: Box, reading: Reading, path: Path) -> Piece:
    low = reading.lengths(shape.low, (*path, "low"))
    high = reading.lengths(shape.high, (*path, "high"))
    with reading.at(path, str(path[1])):
        return box_piece(low, high)


def _cylinder(shape: Cylinder, reading: Reading, path: Path) -> tuple[tuple[Piece, ...], float, Pipe | None]:
    start = reading.lengths(shape.from_, (*path, "from"))
    end = reading.lengths(shape.to, (*path, "to"))
    diameter = reading.length(shape.diameter, (*path, "diameter"))
    bore = 0.0 if shape.bore is None else reading.length(shape.bore, (*path, "bore"))
    with reading.at(path, str(path[1])):
        rod = cylinder_piece(start, end, diameter)
        # A bore of nothing is a rod, so that one entry can be both.
        if bore < NOTHING:
            if bore < -NOTHING:
                raise ValueMistake(f"bore {bore:g} is below 0", "write 0 for a rod")
            return (rod,), 0.0, None
        made = Pipe(diameter, bore, float(np.linalg.norm(end - start)))
        pipe, error = hollow_cylinder(made.diameter, made.bore, made.length)
        return (moved(pipe, rod.rotation, rod.centre),), error, made


def _tube(shape: Tube, reading: Reading, path: Path) -> tuple[tuple[Piece, ...], float]:
    points = np.array(
        [reading.lengths(point, (*path, "path", k)) for k, point in enumerate(shape.path)], dtype=float
    )
    diameter = reading.length(shape.diameter, (*path, "diameter"))
    radius = shape.bend_radius
    bend = 0.0 if radius is None else reading.length(radius, (*path, "bend_radius"))
    with reading.at(path, str(path[1])):
        return tube(points, diameter, bend)


def _blank(shape: Prism | Sheet, reading: Reading, path: Path) -> _Blank:
    if isinstance(shape, Sheet) and shape.low is not None and shape.high is not None:
        low = reading.lengths(shape.low, (*path, "low"))
        high = reading.lengths(shape.high, (*path, "high"))
        with reading.at(path, str(path[1])):
            box_piece(low, high)
        axis = int(np.argmin(high - low))
        u, v = (k for k in range(3) if k != axis)
        outline = np.array([[low[u], low[v]], [high[u], low[v]], [high[u], high[v]], [low[u], high[v]]])
        return _Blank(outline, axis, float(low[axis]), float(high[axis]), flat=True, square=True)
    assert shape.along is not None
    assert shape.from_ is not None
    assert shape.to is not None
    assert shape.outline is not None
    points = [reading.lengths(pair, (*path, "outline", k)) for k, pair in enumerate(shape.outline)]
    start = reading.length(shape.from_, (*path, "from"))
    end = reading.length(shape.to, (*path, "to"))
    return _Blank(np.array(points), "xyz".index(shape.along), start, end, flat=isinstance(shape, Sheet))


def _uncut(blank: _Blank) -> Piece | None:
    """The box of a sheet given by two corners; its bounds are linear in them, whatever is cut."""
    if not blank.square:
        return None
    low, high = (
        np.insert(end, blank.axis, along)
        for end, along in ((blank.outline.min(axis=0), blank.low), (blank.outline.max(axis=0), blank.high))
    )
    return box_piece(low, high)


def _extrusion(blank: _Blank, turned: _Turned) -> Extrusion:
    """A blank's outline and length in the part's frame."""
    corners = np.insert(blank.outline, blank.axis, blank.low, axis=1)
    along = np.zeros(3)
    along[blank.axis] = blank.high - blank.low
    placed = corners @ turned.rotation.T + turned.origin
    return Extrusion(frozen(placed), frozen(turned.rotation @ along), blank.flat)


def _cutting(feature: Hole | Opening, turned: _Turned, blank: _Blank, solid: str) -> Cutout | Bore:
    """A hole or opening as it cuts a blank: in the outline's plane where it runs straight through.

    Raises:
        CutMistake: off the sheet, within it, or from the wrong side.
    """
    at = turned.rotation.T @ (feature.at - turned.origin)
    axis = turned.rotation.T @ feature.axis
    if isinstance(feature, Hole):
        shape, size, depth = "round", (feature.diameter, feature.diameter), feature.depth
        up = np.eye(3)[(int(np.argmax(np.abs(axis))) + 1) % 3]
        up = up - axis * (axis @ up)
        up = up / np.linalg.norm(up)
    else:
        shape, size, depth = feature.shape, feature.size, None
        up = turned.rotation.T @ feature.up
    along = float(axis[blank.axis])
    thin = "xyz"[blank.axis]
    if blank.flat and abs(along) < FLATTEST:
        problem = f"its axis runs within the sheet {solid}, which is thin along {thin}"
        raise CutMistake(feature.name, problem, f"write axis: +{thin}" if turned.origin.any() else "")
    if abs(along) < ALONG:
        return Bore(Cutout(feature.name, shape, (0.0, 0.0), size), at, axis, up, depth)
    height = float(at[blank.axis])
    off = max(blank.low - height, height - blank.high)
    if blank.flat and off > OFF_SHEET:
        raise CutMistake(feature.name, f"lies {off:g} mm off {solid}, which it cuts")
    if depth is not None:
        inward = height - blank.low if along > 0 else blank.high - height
        if inward < NOTHING:
            raise CutMistake(feature.name, f"its axis points into {solid}, not out of it")
        if depth < inward - NOTHING:
            return Bore(Cutout(feature.name, shape, (0.0, 0.0), size), at, axis, up, depth)
    u, v = (k for k in range(3) if k != blank.axis)
    return Cutout(feature.name, shape, (float(at[u]), float(at[v])), size, (float(up[u]), float(up[v])))
