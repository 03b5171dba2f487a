"""From a scene as written to a world: values worked out, parts placed, mistakes collected."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from fitcheck.parts.features import Compartment
from fitcheck.scene.expression import Amount
from fitcheck.scene.general import General
from fitcheck.scene.limits import PARTS
from fitcheck.scene.mistakes import Mistake, Mistakes, ValueMistake
from fitcheck.scene.read import Scene
from fitcheck.world.desk import Desk, PassedOver
from fitcheck.world.frames import SIDES, Frame
from fitcheck.world.names import Names, noted
from fitcheck.world.node import Node, Value, segments, wall_face
from fitcheck.world.place import moved_face
from fitcheck.world.shared import Shared
from fitcheck.world.space import Space, box_bounds
from fitcheck.world.world import Contact, Part, Room, Trace, World

# A compartment's box must lie along the world's axes to this (sine of the turn).
SQUARE = 1e-9


def resolve(
    scene: Scene,
    shared: Shared | None = None,
    runs: bool = True,
    taken: Mapping[str, float] | None = None,
) -> World:
    """Work out every value of a scene, place every part, and gather what checks need.

    Args:
        scene: as read.
        shared: what was worked out before for layouts of the same scene; what is new is added.
        runs: whether tubes, cables and loops are read too.
        taken: values of measurements that are not taken as drawn, mm, by name.

    Raises:
        Mistakes: all that could be found wrong in one go, with their places.
    """
    data = scene.document.data
    space = _space(scene, Shared() if shared is None else shared)
    desk = space.desk
    desk.trace = Trace(taken or {})
    desk.general = _general(scene)
    nodes: dict[str, tuple[Node, Frame]] = {}
    with_mistakes = _try_all(space, nodes)
    rooms = _rooms(space, nodes)
    claims = _claims(space, rooms)
    parts = tuple(_parts(space, nodes, claims))
    if len(parts) > PARTS:
        raise Mistakes(
            [_mistake(scene, ("parts",), "parts", ValueMistake(f"{len(parts)} parts; the limit is {PARTS}"))]
        )
    names = Names(space, parts)
    rules = {} if with_mistakes else names.rules(scene.file.rules)
    wishes = () if with_mistakes or not runs else names.wishes(scene.file.runs, rules)
    loops = {} if with_mistakes or not runs else names.loops(scene.file.loops)
    views = names.views(data.get("views") or {})
    touches = names.touches(data.get("touches") or [])
    if desk.mistakes:
        raise Mistakes(map(scene.document.mended, desk.mistakes))
    return World(
        title=data.get("title") or scene.document.name,
        parts=parts,
        contacts=(*_contacts(space, nodes), *touches),
        compartments=rooms,
        rules=rules,
        views=views,
        uncertain=tuple(one for _, one in sorted(desk.uncertain.items())),
        parameters={name: _plain(space.parameter(name)) for name in data.get("parameters") or {}},
        lines=_lines(scene),
        wishes=wishes,
        loops=loops,
        elsewhere=partial(_elsewhere, scene, desk.shared),
        trace=desk.trace,
        answers=desk.shared.answers,
    )


def _elsewhere(scene: Scene, shared: Shared, taken: Mapping[str, float], runs: bool = False) -> World:
    """The scene at other values of its measurements; tubes are laid anew there only for who asks for them."""
    return resolve(scene, shared, runs, taken)


def _general(scene: Scene) -> General | None:
    """The general tolerances that the scene asks for."""
    rule = scene.file.rules.get("tolerance")
    grade = getattr(rule, "general", None)
    return None if grade is None else General(grade, tuple(map(str, getattr(rule, "of", ()))))


def second_look(scene: Scene) -> frozenset[Mistake]:
    """Mistakes of value and place among the sound entries of a scene that has others."""
    space = _space(scene, Shared())
    _try_all(space, {})
    return frozenset(map(scene.document.mended, space.desk.mistakes))


def _space(scene: Scene, shared: Shared) -> Space:
    data = scene.document.data
    return Space(
        Desk(models=scene.models, folder=scene.folder, shared=shared),
        scene.document,
        ("parts",),
        data.get("parts") or {},
        {},
        written=data.get("parameters") or {},
        broken=scene.broken,
    )


def _try_all(space: Space, nodes: dict[str, tuple[Node, Frame]]) -> bool:
    """Work out every parameter and part, so that all mistakes are noted; tell if any was."""
    for name in space.written:
        for _ in _noting(space, ("parameters", name), name, lambda n=name: space.parameter(n)):
            pass
    for name, key, _ in space.instances():
        for node in _noting(space, (*space.path, key), key, lambda n=name: space.node(n)):
            for frame in _noting(space, (*space.path, key), key, lambda n=name: space.frame(n)):
                nodes[name] = (node, frame)
    return bool(space.desk.mistakes)


def _noting(space: Space, path: tuple[str | int, ...], subject: str, work: Any) -> Iterator[Any]:
    """Yields what the work gives, or nothing when a mistake was (or now is) noted."""
    try:
        yield work()
    except PassedOver:
        return
    except ValueMistake as wrong:
        space.desk.note(space.document.mark(path, key=True), subject, replace_offset(wrong))


def replace_offset(wrong: ValueMistake) -> ValueMistake:
    """The same mistake, said of a whole key: an offset inside a value would point past it."""
    return ValueMistake(wrong.problem, wrong.mend)


def _parts(
    space: Space, nodes: Mapping[str, tuple[Node, Frame]], claims: Mapping[str, str]
) -> Iterator[Part]:
    """Leaves in scene order; an assembly's own solids come before its sub-parts."""
    made = space.desk.shared.parts
    for name, key, _ in space.instances():
        if name not in nodes:
            continue
        node, frame = nodes[name]
        line = space.document.mark((*space.path, key), key=True).line
        says = space.worked("rulers of", name, partial(_says, space, key, name))
        host = space.worked("host of", name, partial(_host, space, key, name))
        claim = claims.get(name, "")
        # The same parts for the same nodes and frames: what was found out about them holds by identity.
        of = name, id(node), id(frame), tuple(says.items()), host, line, claim
        yield from made.of(of, partial(_leaves, name, node, frame, says, host, line, claim)).parts


@dataclass(frozen=True, eq=False)
class _Made:
    """Parts of one entry, with what they were made of: as long as it is kept its identity is its own."""

    parts: tuple[Part, ...]
    of: tuple[Any, ...]


def _leaves(
    name: str, node: Node, frame: Frame, says: dict[str, float], host: str, line: int, claim: str
) -> _Made:
    parts = []
    for full, leaf, stands in node.leaves(name, frame):
        if leaf.shape.solids or leaf.shape.keep_clear or leaf.shape.compartments or full == name:
            values = {k: _plain(v) for k, v in leaf.values.items()}
            parts.append(Part(full, name, leaf.model, stands, leaf.shape, values, claim, line, says, host))
    return _Made(tuple(parts), (node, frame))


def _says(space: Space, key: str, name: str) -> dict[str, float]:
    """The rulers a part was placed with, as numbers."""
    place = space.entry(key).get("place") or {}
    _, indices = space.instance(name)
    return {
        side: space.number(
            place[side], "length", (*space.path, key, "place", side), indices, f"{name}.{side}"
        )
        for side in SIDES
        if side in place
    }


def _host(space: Space, key: str, name: str) -> str:
    """The part that the placement is measured from, and that so carries this one."""
    place = space.entry(key).get("place") or {}
    said = place.get("on") or place.get("to") or place.get("of") or ""
    _, indices = space.instance(name)
    return segments(space.spelled(said, indices))[0] if said else ""


def _rooms(space: Space, nodes: Mapping[str, tuple[Node, Frame]]) -> dict[str, Room]:
    """Every compartment of every part, by full name."""
    rooms = {}
    for name, (node, frame) in nodes.items():
        for full, leaf, stands in node.leaves(name, frame):
            for key, room in leaf.shape.compartments.items():
                if not _square(stands):
                    path = (*space.path, name.partition("[")[0])
                    wrong = ValueMistake(
                        f"has compartment {key} but stands askew; such a part turns by quarter turns only"
                    )
                    space.desk.note(space.document.mark(path, key=True), name, wrong)
                    continue
                rooms[f"{full}.{key}"] = _room(full, room, stands)
    return rooms


def _room(part: str, room: Compartment, stands: Frame) -> Room:
    faces = {
        wall: moved_face(wall_face(room, wall), stands)
        for wall in ("floor", "ceiling", "left_wall", "right_wall", "front_wall", "rear_wall")
    }
    return Room(f"{part}.{room.name}", part, box_bounds(room, stands), faces)


def _square(frame: Frame) -> bool:
    return bool(np.all(np.abs(np.abs(frame.rotation).max(axis=0) - 1) < SQUARE))


def _contacts(space: Space, nodes: Mapping[str, tuple[Node, Frame]]) -> Iterator[Contact]:
    """Contacts between the scene's parts, then those inside each assembly."""
    yield from space.contacts
    for name, (node, frame) in nodes.items():
        for full, leaf, stands in node.leaves(name, frame):
            for contact in leaf.contacts:
                zone = contact.zone
                if zone is not None:
                    zone = replace(zone, at=stands.point(zone.at), inward=stands.direction(zone.inward))
                a, b = (f"{full}.{end}" if end else full for end in (contact.a, contact.b))
                yield replace(contact, a=a, b=b, zone=zone)


def _claims(space: Space, rooms: Mapping[str, Room]) -> dict[str, str]:
    """Compartment claimed by each part that claims one."""
    found = {}
    for name, key, _ in space.instances():
        claimed = space.entries[key].get("inside")
        if claimed in rooms:
            found[name] = claimed
        elif claimed is not None:
            noted(space, (*space.path, key, "inside"), claimed, rooms, "compartment")
    return found


def _mistake(scene: Scene, path: tuple[str | int, ...], subject: str, wrong: ValueMistake) -> Any:
    desk = Desk(models={})
    desk.note(scene.document.mark(path), subject, wrong)
    return next(iter(desk.mistakes))


def _lines(scene: Scene) -> dict[str, int]:
    """Line of each rule, and of each item of a rule that is or holds a list; of `runs.x`, `loops.x`."""
    lines: dict[str, int] = {}

    def walk(path: tuple[str | int, ...], name: str, value: Any) -> None:
        lines[name] = scene.document.mark(path, key=isinstance(path[-1], str)).line
        if isinstance(value, dict):
            for key, inner in value.items():
                if isinstance(inner, (list, dict)):
                    walk((*path, key), f"{name}.{key}", inner)
        elif isinstance(value, list):
            for at, inner in enumerate(value):
                walk((*path, at), f"{name}[{at + 1}]", inner)

    data = scene.document.data
    for name, value in (data.get("rules") or {}).items():
        walk(("rules", name), name, value)
    for section in ("runs", "loops"):
        for name in data.get(section) or {}:
            lines[f"{section}.{name}"] = scene.document.mark((section, name), key=True).line
    return lines


def _plain(value: Value | None) -> Any:
    """A value as plain data: a number in mm or degrees, a text, a flag."""
    return value.value if isinstance(value, Amount) else value
