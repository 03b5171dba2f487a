"""Are sizes and places really linear in the measurements? What stands against it, measurement by measurement.

Between a length in the file and a solid in the world stand

1. arithmetic: followed by `scene/sway.py`, which names what is not linear (`World.trace.bent`);
2. places that arithmetic looks up: linear by the same reasons, one after the other; where the outermost of
   several pieces is meant (`pump.top`, a face of several solids) it must stay the same piece. Of linear
   bounds that is decided by their slopes;
3. directions: of a linear vector w(m) whose direction is the same as drawn with each measurement alone
   moved, every part is parallel to w as drawn, so the direction never changes, and its length is linear;
4. sums and products with directions: linear.

So sizes, middles and places are linear, and directions constant, over all values of the measured lengths,
as long as no size goes through zero. What breaks a reason is a doubt, and a bound is then not proved.

An angle may turn things, and nothing else: it must not count, choose or calculate anything, nor move a
place that arithmetic looks up as the outermost of several. How things turn with it is found, and held
against the scene placed anew, by `turning.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from fitcheck.parts.features import Shape
from fitcheck.parts.pieces import bounds
from fitcheck.world.bodies import Bodies
from fitcheck.world.world import Contact, Measurement, World

# Directions nearer than this are the same: rounding of turns and unit vectors.
SAME = 1e-9
# One bound passes another when it is beyond it by more than this, mm.
PASSES = 1e-6

Moved = Sequence[tuple[Measurement, World, Bodies]]


@dataclass(frozen=True)
class Doubts:
    """Why a bound is not proved.

    Args:
        bent: measurements that something does not follow linearly, or may not (angles that do more than
            turn things); held as drawn for the proof of the others.
        changed: measurements with which parts, solids or contacts come and go: not followed at all.
        unbuilt: measurements with which the scene cannot be built at all, and what it says then.
    """

    bent: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    unbuilt: dict[str, str] = field(default_factory=dict)


def doubts_of(drawn: World, pieces: Bodies, moved: Moved) -> tuple[Doubts, list[bool]]:
    """What stands against linearity, and for each measurement whether nothing does; of an angle, so far.

    Args:
        drawn: the scene with nothing moved, traced; `pieces` its pieces.
        moved: for each measurement the world, and its pieces, with that one alone moved.
    """
    alike = [_alike(drawn, pieces, world, there) for _, world, there in moved]
    followed = [entry for entry, same in zip(moved, alike, strict=True) if same]
    lengths = [entry for entry in followed if not entry[0].angle]
    bent = _bent_names(drawn, followed) | _passing(drawn, lengths) | _vanishing(pieces, lengths)
    for one, world, there in followed:
        straight = (
            not _moves_outermost(drawn, world) if one.angle else _same_directions(pieces, there, drawn, world)
        )
        # A demand that follows the measurement itself is asked of the scene placed anew, as what is bent.
        if not straight or drawn.rules != world.rules:
            bent.add(one.name)
    names = [one.name for one, *_ in moved]
    changed = tuple(name for name, same in zip(names, alike, strict=True) if not same)
    linear = [same and name not in bent for name, same in zip(names, alike, strict=True)]
    return Doubts(tuple(sorted(bent)), changed), linear


def _alike(drawn: World, pieces: Bodies, world: World, there: Bodies) -> bool:
    """The same parts with the same solids and contacts?"""
    return (
        [body.name for body in pieces.all] == [body.name for body in there.all]
        and np.array_equal(pieces.kinds, there.kinds)
        and np.array_equal(pieces.body, there.body)
        and list(map(_contact, drawn.contacts)) == list(map(_contact, world.contacts))
    )


def _contact(contact: Contact) -> tuple[object, ...]:
    return contact.kind, contact.a, contact.b, contact.solids_a, contact.solids_b, contact.reach


def _bent_names(drawn: World, moved: Moved) -> set[str]:
    """Measurements that arithmetic does not follow linearly, by themselves or through a place looked up."""
    angles = {one.name for one, *_ in moved if one.angle}
    named = drawn.trace.bent | (drawn.trace.turned - angles)
    found = {one.name for one, *_ in moved if one.name in named}
    for one, world, _ in moved:
        named_there = named | world.trace.bent | (world.trace.turned - angles)
        looked = {
            name
            for name, value in drawn.trace.looked.items()
            if abs(world.trace.looked.get(name, np.inf) - value) > SAME
        }
        if one.name in named_there or looked & named_there:
            found.add(one.name)
    return found


def _moves_outermost(drawn: World, world: World) -> bool:
    """Whether pieces of which the outermost was looked up do not stand as drawn."""
    here, there = drawn.trace.outermost, world.trace.outermost
    if here.keys() != there.keys():
        return True
    for asked, held in here.items():
        found = there[asked]
        if len(found) != len(held) or any(
            one.shape != other.shape or np.abs(one - other).max(initial=0.0) > SAME
            for one, other in zip(held, found, strict=True)
        ):
            return True
    return False


def _same_directions(pieces: Bodies, there: Bodies, drawn: World, world: World) -> bool:
    if not np.allclose(pieces.rotations, there.rotations, rtol=0, atol=SAME):
        return False
    for one, other in zip(drawn.parts, world.parts, strict=True):
        if not np.allclose(one.pose.rotation, other.pose.rotation, rtol=0, atol=SAME):
            return False
        if one.shape is not other.shape:
            if one.shape.faces.keys() != other.shape.faces.keys():
                return False
            if one.shape.ports.keys() != other.shape.ports.keys():
                return False
            pairs = zip(_directions(one.shape), _directions(other.shape), strict=True)
            if any(not np.allclose(a, b, rtol=0, atol=SAME) for a, b in pairs):
                return False
    return True


def _directions(shape: Shape) -> Iterator[np.ndarray]:
    for face in shape.faces.values():
        yield from (face.normal, face.along)
    for port in shape.ports.values():
        yield from (port.axis, port.up)


def _vanishing(pieces: Bodies, moved: Moved) -> set[str]:
    """Measured lengths with which a size may go through zero: not all of their ranges can be built."""
    shrinks = np.zeros_like(pieces.halves)
    by: dict[str, np.ndarray] = {}
    for one, world, there in moved:
        if one.measured:
            slope = np.abs(there.halves - pieces.halves) / abs(_taken(one, world))
            by[one.name] = slope * max(one.high - one.nominal, one.nominal - one.low)
            shrinks = shrinks + by[one.name]
    gone = shrinks >= pieces.halves
    return {name for name, shrink in by.items() if (gone & (shrink > SAME)).any()}


def _passing(drawn: World, moved: Moved) -> set[str]:
    """Measurements with which one piece may pass another as the outermost of several."""
    stacks: list[tuple[np.ndarray, list[np.ndarray]]] = []
    for asked, held in drawn.trace.outermost.items():
        there = [world.trace.outermost.get(asked, ()) for _, world, _ in moved]
        if len(held) != 1 or any(len(one) != 1 or one[0].shape != held[0].shape for one in there):
            return {one.name for one, *_ in moved}
        stacks.append((held[0], [one[0] for one in there]))
    for index, part in enumerate(drawn.parts):
        shapes = [world.parts[index].shape for _, world, _ in moved]
        if all(shape is part.shape for shape in shapes):
            continue
        for face in part.shape.faces.values():
            if len(face.owners) > 1:
                stacks.append(
                    (_owned(part.shape, face.owners), [_owned(shape, face.owners) for shape in shapes])
                )
    steps = [(one, _taken(one, world)) for one, world, _ in moved]
    found: set[str] = set()
    for boxes, others in stacks:
        if not _stays(boxes, others, steps):
            found |= {
                one.name
                for (one, _), other in zip(steps, others, strict=True)
                if np.abs(other - boxes).max(initial=0.0) > SAME
            }
    return found


def _taken(one: Measurement, world: World) -> float:
    """How far from the value drawn a measurement was taken in a world."""
    return world.trace.taken[one.name] - one.nominal


def _owned(shape: Shape, owners: Sequence[str]) -> np.ndarray:
    return np.array([bounds(shape.solids[name].pieces) for name in owners if name in shape.solids])


def _stays(boxes: np.ndarray, others: list[np.ndarray], steps: list[tuple[Measurement, float]]) -> bool:
    """Of linear bounds (n, 2, 3), is on each side one never passed by another within the ends?"""
    slopes = [(other - boxes) / step for other, (_, step) in zip(others, steps, strict=True)]
    for row, sign in ((0, -1.0), (1, 1.0)):
        for axis in range(3):
            out = sign * boxes[:, row, axis]
            lead = int(out.argmax())
            # What another may gain on the one that leads, at most.
            gain = out - out[lead]
            for slope, (one, _) in zip(slopes, steps, strict=True):
                rate = sign * (slope[:, row, axis] - slope[lead, row, axis])
                gain = gain + np.maximum(rate * (one.high - one.nominal), rate * (one.low - one.nominal))
            if gain.max() > PASSES:
                return False
    return True
