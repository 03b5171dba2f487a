"""A part before it is placed: its own solids and features, and its sub-parts."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from fitcheck.parts.features import Compartment, Face, Feature, Hole, KeepClear, Opening, Port, Shape
from fitcheck.parts.mirror import mirrored
from fitcheck.scene.expression import Amount
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.world import Contact, piece_bounds

Value = Amount | str | bool

# Walls of a compartment: axis, which end, and the direction that points inward.
WALLS = {
    "floor": (2, 0), "ceiling": (2, 1), "left_wall": (0, 0), "right_wall": (0, 1),
    "front_wall": (1, 0), "rear_wall": (1, 1),
}  # fmt: skip
# Ends of world bounds that arithmetic may ask for: row (low, high) and axis.
ENDS = {"left": (0, 0), "right": (1, 0), "front": (0, 1), "rear": (1, 1), "bottom": (0, 2), "top": (1, 2)}
SIZES = {"width": 0, "depth": 1, "height": 2}


@dataclass(frozen=True, eq=False)
class Child:
    """A sub-part and where it stands: node_from_child."""

    node: Node
    frame: Frame


@dataclass(frozen=True, eq=False)
class Node:
    """A model with values: own shape, sub-parts placed in its frame, contacts inside it.

    Names in `contacts` are relative to the node; the empty name is the node itself.
    """

    model: str
    values: dict[str, Value]
    shape: Shape
    children: dict[str, Child] = field(default_factory=dict)
    contacts: tuple[Contact, ...] = ()

    def leaves(self, name: str, frame: Frame) -> Iterator[tuple[str, Node, Frame]]:
        """Every part with solids or features of its own, as (full name, node, frame)."""
        yield name, self, frame
        for key, child in self.children.items():
            yield from child.node.leaves(f"{name}.{key}", frame @ child.frame)

    def bounds(self, frame: Frame) -> np.ndarray:
        """(2, 3) bounds of all solids in the outer frame, mm; the origin if there are none."""
        return around(self.boxes(frame))

    def boxes(self, frame: Frame) -> np.ndarray:
        """(n, 2, 3) bounds of each piece in the outer frame, mm; the origin if there are none."""
        boxes = [
            piece_bounds(piece, place)
            for _, node, place in self.leaves("", frame)
            for solid in node.shape.solids.values()
            for piece in solid.pieces
        ]
        return np.array(boxes or [np.array([frame.origin, frame.origin])])


@dataclass(frozen=True, eq=False)
class Found:
    """A feature reached by a path: whose it is (relative name) and where that part stands."""

    leaf: str
    node: Node
    frame: Frame
    feature: Feature | None
    rest: tuple[str, ...] = ()


def around(boxes: np.ndarray) -> np.ndarray:
    """(2, 3) bounds of bounds (n, 2, 3)."""
    return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def segments(path: str) -> tuple[str, ...]:
    """`fan[2].hole[1].x` -> ("fan[2]", "hole[1]", "x")."""
    return tuple(path.split("."))


def base(segment: str) -> str:
    """`fan[2]` -> `fan`."""
    return segment.partition("[")[0]


def find(node: Node, path: tuple[str, ...], said: str) -> Found:
    """Walk a path through sub-parts to a feature; what is left over comes back in `rest`.

    A compartment followed by a wall's name gives that wall's face.

    Raises:
        ValueMistake: no such name; says the nearest one.
    """
    leaf, frame = "", IDENTITY
    while path and path[0] in node.children:
        child = node.children[path[0]]
        leaf = f"{leaf}.{path[0]}" if leaf else path[0]
        node, frame, path = child.node, frame @ child.frame, path[1:]
    if not path:
        return Found(leaf, node, frame, None)
    feature = features(node.shape).get(path[0])
    if feature is None:
        return Found(leaf, node, frame, None, path)
    if isinstance(feature, Compartment) and len(path) > 1 and path[1] in WALLS:
        return Found(leaf, node, frame, wall_face(feature, path[1]), path[2:])
    return Found(leaf, node, frame, feature, path[1:])


def features(shape: Shape) -> dict[str, Feature]:
    """All features of a shape in one name space."""
    return {
        **shape.faces, **shape.ports, **shape.holes, **shape.openings, **shape.keep_clear,
        **shape.compartments,
    }  # fmt: skip


def unknown(node: Node, name: str, said: str, wanted: str = "") -> ValueMistake:
    """The mistake for a name that a node does not have."""
    known = _known(node, wanted)
    near = nearest(name, known)
    what = wanted or "such name"
    listed = ", ".join(known[:12]) + (" …" if len(known) > 12 else "")
    problem = f"{node.model} has no {what} `{name}`" + (f" (it has {listed})" if listed else "")
    mend = f"write {said.replace(name, near)}" if near else ""
    return ValueMistake(problem, mend, offset=max(said.find(name), 0))


def whole_part(node: Node, said: str, wanted: str) -> ValueMistake:
    """The mistake of naming a part where something of it is due."""
    known = _known(node, wanted)
    listed = ", ".join(known[:12]) + (" …" if len(known) > 12 else "") if known else "none"
    mend = f"write {said}.{known[0]}" if len(known) == 1 else ""
    return ValueMistake(f"`{said}` is a part; a {wanted} of it is due (it has {listed})", mend)


def _known(node: Node, wanted: str) -> list[str]:
    """Names in a node that may stand where this is wanted; all, if nothing is."""
    known = [*features(node.shape), *node.children, *node.shape.solids, *node.values]
    if wanted == "face":
        known = [*node.shape.faces, *node.children] + [
            f"{c}.{w}" for c in node.shape.compartments for w in WALLS
        ]
    elif wanted == "port":
        known = [*node.shape.ports, *node.children]
    elif wanted == "opening or hole":
        known = [*node.shape.openings, *node.shape.holes, *node.children]
    return known


def wall_face(space: Compartment, wall: str) -> Face:
    """A wall of a compartment as a face that points into the empty space."""
    axis, end = WALLS[wall]
    normal = np.zeros(3)
    normal[axis] = 1.0 if end == 0 else -1.0
    along = np.array([0.0, 1.0, 0.0]) if axis == 0 else np.array([1.0, 0.0, 0.0])
    size = space.high - space.low
    centre = (space.low + space.high) / 2
    centre[axis] = (space.low, space.high)[end][axis]
    across = int(np.argmax(np.abs(np.cross(normal, along))))
    owner = space.walls.get(wall, "")
    return Face(
        name=f"{space.name}.{wall}",
        centre=centre,
        normal=normal,
        along=along,
        size=(float(size[int(np.argmax(along))]), float(size[across])),
        owners=(owner,) if owner else ("",),
    )


def anchor(feature: Feature) -> np.ndarray:
    """The point of a feature that rulers and arithmetic mean, in its part's frame."""
    if isinstance(feature, Face):
        return feature.centre
    if isinstance(feature, (Port, Hole, Opening)):
        return feature.at
    if isinstance(feature, KeepClear):
        return feature.piece.centre
    return np.asarray((feature.low + feature.high) / 2)


def mirrored_node(node: Node, axis: int) -> Node:
    """Mirror image of a whole assembly along an axis of its own frame."""
    flip = np.eye(3)
    flip[axis, axis] = -1.0
    children = {
        key: Child(
            mirrored_node(child.node, axis),
            Frame(flip @ child.frame.rotation @ flip + 0.0, flip @ child.frame.origin + 0.0),
        )
        for key, child in node.children.items()
    }
    contacts = tuple(
        c
        if c.zone is None
        else replace(c, zone=replace(c.zone, at=flip @ c.zone.at, inward=flip @ c.zone.inward))
        for c in node.contacts
    )
    return replace(node, shape=mirrored(node.shape, axis), children=children, contacts=contacts)


INDEXED = re.compile(r"^[a-z][a-z0-9_]*(\[[0-9]+\])*$")
