"""How the pieces of a world move when its measurements do.

The scene is placed once as drawn and once with each measurement alone moved. Sizes and places that
are linear in the measurements are known from that for every other value of them; `doubts.py` tells
whether they are, and what does not follow. What an angle turns is known from `turning.py`.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.doubts import Doubts, doubts_of
from fitcheck.tolerances.turning import Turning, turning_of
from fitcheck.world.bodies import Bodies, bodies, with_probe
from fitcheck.world.frames import SIDES
from fitcheck.world.world import Measurement, World

# A measurement is moved by so much at most to see what follows, mm or degrees: a slope from it loses 1e-12.
STEP = 1.0
# What moves less than this a mm does not move: rounding of sums of lengths up to 100 m.
STILL = 1e-9
# What lies beyond a compartment's side is a block of this half size, mm.
FAR = 10_000.0
# The least that a solid's size may come to at the open end of a range, mm.
LEAST_HALF = 0.5e-3


@dataclass(frozen=True, eq=False)
class Pieces:
    """The solids of a world and, behind them, its keep-clear volumes, compartments and uncut sheets.

    Args:
        all: as bodies; those behind the solids belong to no part.
        solids: how many of the bodies are solids.
        kept: body of each keep-clear volume, by part and name.
        rooms: body of each compartment's box, by full name.
        covers: for each row the row of a box that surely holds it: of a sheet with cut-outs the sheet
            before they were cut; else itself.
        walls: bodies of what lies beyond each side of a compartment, by full name, in the order of `SIDES`;
            only where something turns.
    """

    all: Bodies
    solids: int
    kept: dict[tuple[str, str], int]
    rooms: dict[str, int]
    covers: np.ndarray
    walls: dict[str, tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Movement:
    """Pieces as functions of the measurements: linear but for rows that turn.

    Args:
        world: the scene as drawn, without its tubes and cables.
        pieces: as drawn.
        measurements: (k) those that everything follows linearly, or turns with; the others are as drawn.
        low, high: (k,) how far each may be from the value drawn, mm or degrees.
        centres, halves: (k, n, 3) mm a mm or degree, of the n rows; as drawn where they turn.
        changed_by: (k, n) meshes whose shape each measurement changes.
        deforms: (n,) those whose shape changes at all: between the values looked at it is not known.
        doubts: why a bound is not proved, and what could not be followed.
        moved: (k) the scene with each measurement alone moved a step.
        turning: how pieces turn, where any do.
        kept: what was worked out of it once.
    """

    world: World
    pieces: Pieces
    measurements: tuple[Measurement, ...]
    low: np.ndarray
    high: np.ndarray
    centres: np.ndarray
    halves: np.ndarray
    changed_by: np.ndarray
    deforms: np.ndarray
    doubts: Doubts
    moved: tuple[World, ...]
    turning: Turning | None = None
    _built: dict[bytes, Bodies] = field(default_factory=dict)
    kept: dict[Hashable, Any] = field(default_factory=dict)

    def values(self, offsets: np.ndarray) -> dict[str, float]:
        """The measurements at offsets (k,) from the values drawn, mm or degrees, by name."""
        return {m.name: m.nominal + float(d) for m, d in zip(self.measurements, offsets, strict=True)}

    def built(self, offsets: np.ndarray) -> Bodies:
        """The pieces with the scene placed anew at offsets (k,); kept, for meshes that deform.

        Raises:
            Mistakes: the scene cannot be built so.
        """
        key = _key(offsets)
        if key not in self._built:
            assert self.world.elsewhere is not None
            there = self.world.elsewhere(self.values(offsets))
            self._built[key] = pieces_of(there, bool(self.pieces.walls)).all
        return self._built[key]

    @property
    def angles(self) -> frozenset[str]:
        """Names of the measurements that are angles."""
        return frozenset(one.name for one in self.world.uncertain if one.angle)

    def turns(self, rows: np.ndarray) -> np.ndarray:
        """(...) which rows an angle moves."""
        return np.zeros(np.shape(rows), bool) if self.turning is None else self.turning.turns[rows]

    def held(self, names: frozenset[str]) -> Movement:
        """The same with these measurements held at the values drawn."""
        hold = np.array([m.name in names for m in self.measurements], bool)
        low, high = np.where(hold, 0.0, self.low), np.where(hold, 0.0, self.high)
        return replace(self, low=low, high=high, deforms=np.asarray(self.changed_by[~hold].any(axis=0)))


def _key(offsets: np.ndarray) -> bytes:
    return bytes((np.round(offsets, 6) + 0.0).tobytes())


def movement(world: World) -> Movement | None:
    """How a world moves with its uncertain lengths; None when it has none that can be moved.

    `world.elsewhere` is asked k times.
    """
    if world.elsewhere is None:
        return None
    named = [m for m in world.uncertain if m.high > m.low and np.isfinite(m.high)]
    if not named:
        return None
    drawn = _without_runs(world)
    walls = any(one.angle for one in named)
    pieces = pieces_of(drawn, walls)
    moved: list[tuple[Measurement, float, World, Pieces]] = []
    unbuilt: dict[str, str] = {}
    for one in named:
        step = step_of(one)
        try:
            there = world.elsewhere({one.name: one.nominal + step})
        except Mistakes as wrong:
            unbuilt[one.name] = str(wrong.items[0])
            continue
        moved.append((one, step, there, pieces_of(there, walls)))
    doubts, linear = doubts_of(drawn, pieces.all, [(m, w, p.all) for m, _, w, p in moved])
    followed = [entry for entry, straight in zip(moved, linear, strict=True) if straight]
    doubts = replace(doubts, unbuilt=unbuilt)
    move = _linear(drawn, pieces, followed, doubts)
    return _turned(move, followed) if walls else move


def _turned(move: Movement, followed: list[tuple[Measurement, float, World, Pieces]]) -> Movement:
    """The same with what turns; an angle that nothing is known to turn with is a doubt."""

    def place(offsets: np.ndarray) -> Bodies | None:
        try:
            there = move.built(offsets)
        except Mistakes:
            return None
        same = (
            len(there.kinds) == len(here.kinds)
            and np.array_equal(there.kinds, here.kinds)
            and [body.name for body in there.all] == [body.name for body in here.all]
            and np.allclose(there.halves - here.halves, np.einsum("k,kni->ni", offsets, halves), atol=1e-7)
            and not (_other_shapes(here, there) & ~deforms).any()
        )
        return there if same else None

    here = move.pieces.all
    lengths = np.array([not one.angle for one in move.measurements], bool)
    # A size may follow a length, and a mesh change its shape with one; but with no angle.
    deforms = np.zeros(len(here.kinds), bool)
    for one, _, _, there in followed:
        if not one.angle:
            deforms |= _other_shapes(here, there.all)
    halves = np.where(lengths[:, None, None], move.halves, 0.0)
    steps = np.array([step for _, step, *_ in followed])
    turning, refused = turning_of(move.measurements, move.low, move.high, steps, place)
    kept = np.array([one.name not in refused for one in move.measurements], bool)
    if refused:
        doubts = replace(move.doubts, bent=tuple(sorted({*move.doubts.bent, *refused})))
        straight = [entry for entry, keep in zip(followed, kept.tolist(), strict=True) if keep]
        move = _linear(move.world, move.pieces, straight, doubts)
        return move if turning is None else _turned(move, straight)
    if turning is None:
        return move
    still = ~turning.turns
    slopes = np.einsum("qtk,tni->kni", turning.sums.slopes(np.zeros((1, len(kept)))), turning.centres)
    centres = np.where(still[None, :, None], move.centres, slopes)
    return replace(move, centres=centres, halves=halves, turning=turning, kept={})


def _without_runs(world: World) -> World:
    """The world before its tubes and cables were laid: they are not laid anew for other values."""
    runs = {run.name for run in world.laid}
    if not runs:
        return world
    parts = tuple(part for part in world.parts if part.name not in runs)
    contacts = tuple(contact for contact in world.contacts if contact.a not in runs)
    return replace(world, parts=parts, contacts=contacts, laid=())


def step_of(one: Measurement) -> float:
    """How far a measurement is moved to see what follows: towards its farther end."""
    up, down = one.high - one.nominal, one.nominal - one.low
    return min(up, STEP) if up >= down else -min(down, STEP)


def _linear(
    drawn: World, pieces: Pieces, followed: list[tuple[Measurement, float, World, Pieces]], doubts: Doubts
) -> Movement:
    here, count = pieces.all, len(pieces.all.kinds)
    centres, halves = np.zeros((len(followed), count, 3)), np.zeros((len(followed), count, 3))
    changed_by = np.zeros((len(followed), count), bool)
    for k, (_, step, _, there) in enumerate(followed):
        centres[k] = _still((there.all.centres - here.centres) / step)
        halves[k] = _still((there.all.halves - here.halves) / step)
        changed_by[k] = _other_shapes(here, there.all)
    measurements = tuple(m for m, *_ in followed)
    low = np.array([m.low - m.nominal for m in measurements])
    high = np.array([m.high - m.nominal for m in measurements])
    low = np.maximum(low, _least_low(measurements, here, halves))
    built = {_key(np.zeros(len(followed))): here}
    for k, (_, step, _, there) in enumerate(followed):
        built[_key(np.eye(len(followed))[k] * step)] = there.all
    deforms = np.asarray(changed_by.any(axis=0))
    worlds = tuple(world for _, _, world, _ in followed)
    return Movement(
        drawn, pieces, measurements, low, high, centres, halves, changed_by, deforms, doubts, worlds, None,
        built,
    )  # fmt: skip


def _other_shapes(here: Bodies, there: Bodies) -> np.ndarray:
    """(n,) rows whose triangles are not the same."""
    keys = [["" if mesh is None else mesh.key for mesh in found.meshes] for found in (here, there)]
    return np.asarray(np.array(keys[0]) != np.array(keys[1]))


def _still(slopes: np.ndarray) -> np.ndarray:
    return np.where(np.abs(slopes) < STILL, 0.0, slopes)


def _least_low(measurements: tuple[Measurement, ...], here: Bodies, halves: np.ndarray) -> np.ndarray:
    """Down to where each measurement alone leaves every solid a size, mm; -inf for measured ones."""
    least = np.full(len(measurements), -np.inf)
    for k, one in enumerate(measurements):
        if not one.measured:
            grows = halves[k] > STILL
            ways = (here.halves[grows] - LEAST_HALF) / halves[k][grows]
            least[k] = max(-float(ways.min(initial=np.inf)), -np.inf)
    return least


def pieces_of(world: World, walls: bool = False) -> Pieces:
    """All pieces of a world that has no tubes and cables laid; with `walls` what lies beyond compartments."""
    found = bodies(world)
    solids = len(found)
    kept: dict[tuple[str, str], int] = {}
    rooms: dict[str, int] = {}
    for key, piece in _volumes(world):
        kept[key] = len(found)
        found = with_probe(found, piece)
    for name, room in world.compartments.items():
        rooms[name] = len(found)
        found = with_probe(found, _box_about(room.bounds))
    covers = np.arange(len(found.kinds))
    for body in found.all[:solids]:
        part = world.parts[body.part]
        blank = part.shape.solids[body.solid].blank
        if blank is not None:
            covers = np.append(covers, len(found.kinds))
            covers[body.pieces] = len(found.kinds)
            found = with_probe(found, _placed(blank, part.pose.rotation, part.pose.origin))
    beyond: dict[str, tuple[int, ...]] = {}
    for name, room in world.compartments.items() if walls else ():
        for piece in _beyond(room.bounds):
            beyond[name] = (*beyond.get(name, ()), len(found))
            covers = np.append(covers, len(found.kinds))
            found = with_probe(found, piece)
    return Pieces(found, solids, kept, rooms, covers, beyond)


def _beyond(bounds: np.ndarray) -> Iterator[Piece]:
    """A wide block beyond each side of bounds (2, 3), in the order of `SIDES`."""
    for direction in SIDES.values():
        axis = int(np.abs(direction).argmax())
        near = bounds[1 if direction[axis] > 0 else 0]
        centre = bounds.mean(axis=0)
        centre[axis] = near[axis] + direction[axis] * FAR
        yield Piece(Kind.BOX, np.full(3, FAR), np.eye(3), centre)


def _volumes(world: World) -> Iterator[tuple[tuple[str, str], Piece]]:
    for part in world.parts:
        for kept in part.shape.keep_clear.values():
            yield (part.name, kept.name), _placed(kept.piece, part.pose.rotation, part.pose.origin)


def _placed(piece: Piece, rotation: np.ndarray, origin: np.ndarray) -> Piece:
    return replace(piece, rotation=rotation @ piece.rotation, centre=rotation @ piece.centre + origin)


def _box_about(bounds: np.ndarray) -> Piece:
    return Piece(Kind.BOX, (bounds[1] - bounds[0]) / 2, np.eye(3), bounds.mean(axis=0))


def said_values(values: Mapping[str, float], angles: Collection[str] = ()) -> str:
    """`core 54.5 mm, tilt 31 deg`; `angles` names those in degrees."""
    return ", ".join(
        f"{name} {short(value)} {'deg' if name in angles else 'mm'}" for name, value in values.items()
    )


def short(value: float) -> str:
    """A length or angle without needless zeros."""
    return f"{value:.4f}".rstrip("0").rstrip(".")
