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
from fitcheck.scene.loop_entries import LoopEntry, written_names, wrong_values
from fitcheck.scene.mistakes import Mistake, Mistakes, ValueMistake, nearest
from fitcheck.scene.read import Scene
from fitcheck.scene.rules import walk_rule
from fitcheck.scene.run_entries import RunEntry
from fitcheck.world.desk import Desk, PassedOver, last_key
from fitcheck.world.frames import SIDES, Frame
from fitcheck.world.node import Node, Value, find, segments, unknown, wall_face
from fitcheck.world.place import moved_face
from fitcheck.world.shared import Shared
from fitcheck.world.space import Space, box_bounds
from fitcheck.world.wishes import RunWish
from fitcheck.world.wishing import Wishes
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
    names = _Names(space, parts)
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
        # Tubes are not laid anew there, and nothing else asks for them.
        elsewhere=partial(resolve, scene, desk.shared, False),
        trace=desk.trace,
        answers=desk.shared.answers,
    )


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
            _noted(space, (*space.path, key, "inside"), claimed, rooms, "compartment")
    return found


def _noted(space: Space, path: tuple[str | int, ...], said: str, known: Any, what: str) -> None:
    """Note an unknown name, unless what it belongs to already has a noted mistake."""
    if said.split(".")[0].partition("[")[0] in space.entries and space.desk.mistakes:
        return
    near = nearest(said, known)
    listed = ", ".join(sorted(known)[:12])
    problem = f"there is no {what} `{said}`" + (f" (there are {listed})" if len(known) <= 12 else "")
    wrong = ValueMistake(problem, f"write {near}" if near else "")
    space.desk.note(space.document.mark(path), last_key(path), wrong)


class _Names:
    """Names that rules, views and touches use, checked against what there is."""

    def __init__(self, space: Space, parts: tuple[Part, ...]) -> None:
        self.space, self.parts = space, parts
        self.known: set[str] = set()
        for part in parts:
            self.known |= {part.name, part.group} | {f"{part.name}.{s}" for s in part.shape.solids}
            pieces = part.name.split(".")
            self.known |= {".".join(pieces[:k]) for k in range(1, len(pieces))}
        self.known |= {name.partition("[")[0] for name in self.known if name.endswith("]")}
        self.known |= set(space.document.data.get("runs") or {})

    def part(self, path: tuple[str | int, ...], said: str) -> str:
        """A name of a part, an assembly, a solid, or a pattern; noted when nothing has it."""
        if said.endswith("*"):
            if not any(name.startswith(said[:-1]) for name in self.known):
                _noted(self.space, path, said, self.known, "part")
        elif said not in self.known:
            _noted(self.space, path, said, self.known, "part")
        return said

    def rules(self, written: Mapping[str, Any]) -> dict[str, Any]:
        """Rules with mm and degrees in place of what was written."""
        found: dict[str, Any] = {}
        for name, written_rule in written.items():
            known = len(self.space.desk.mistakes)
            rule = found[name] = walk_rule(written_rule, self._rule_value, ("rules", name))
            # What could not be worked out is 0 here: it is told of already.
            if len(self.space.desk.mistakes) > known:
                continue
            for at, one in enumerate(rule) if isinstance(rule, list) else [(None, rule)]:
                for key, said, mend in one.wrong():
                    path = ("rules", name, key) if at is None else ("rules", name, at, key)
                    self.space.desk.note(self.space.document.mark(path), key, ValueMistake(said, mend))
        return found

    def wishes(self, written: Mapping[str, RunEntry], rules: Mapping[str, Any]) -> tuple[RunWish, ...]:
        """What is demanded of every run; a scene's default clearance holds for its tubes too."""
        default = getattr(rules.get("clearance"), "default", None)
        reader = Wishes(self.space, self.parts, self._rule_value, self._members_of)
        return reader.all(written, default)

    def loops(self, written: Mapping[str, LoopEntry]) -> dict[str, LoopEntry]:
        """Loops with plain values in place of what was written, their names checked."""
        found = {}
        for name, entry in written.items():
            path: tuple[str | int, ...] = ("loops", name)
            for below, said in written_names(entry):
                self.part((*path, *below), said)
            plain = found[name] = walk_rule(entry, self._rule_value, path)
            for below, wrong in wrong_values(plain):
                mark = self.space.document.mark((*path, *below))
                self.space.desk.note(mark, last_key(below), ValueMistake(wrong))
        return found

    def _members_of(self, said: str) -> list[str]:
        return [name for name, _ in self._members(said)]

    def _rule_value(self, kind: str, raw: Any, path: tuple[str | int, ...]) -> Any:
        if kind == "part":
            return self.part(path, str(raw))
        if kind == "place":
            return self._feature(path, str(raw))
        if kind in ("length", "angle", "count", "number", "share"):
            try:
                kind = "number" if kind == "share" else kind
                return self.space.number(raw, kind, path, {}, ".".join(map(str, path)))
            except PassedOver:
                return 0.0
        return raw

    def _feature(self, path: tuple[str | int, ...], said: str) -> str:
        """A path to a feature, a compartment or a part, checked; given back as written."""
        try:
            node = self.space.node(segments(said)[0])
            found = find(node, segments(said)[1:], said)
            if found.rest and not (found.feature is None and found.rest[0] in found.node.shape.solids):
                raise unknown(found.node, found.rest[0], said)
        except PassedOver:
            return said
        except ValueMistake as wrong:
            self.space.desk.note(self.space.document.mark(path), last_key(path), wrong)
        return said

    def views(self, written: Mapping[str, Any]) -> dict[str, Any]:
        """Views with numbers worked out and names checked."""
        views = {}
        for name, view in written.items():
            view = dict(view or {})
            path = ("views", name)
            if isinstance(view.get("cut"), dict):
                view["cut"] = {
                    axis: self._rule_value("length", raw, (*path, "cut", axis))
                    for axis, raw in view["cut"].items()
                }
            if "explode" in view:
                view["explode"] = self._rule_value("number", view["explode"], (*path, "explode"))
            for key in ("hide", "show"):
                view[key] = [self.part((*path, key, at), said) for at, said in enumerate(view.get(key) or [])]
            views[name] = view
        return views

    def touches(self, written: list[Mapping[str, Any]]) -> list[Contact]:
        """Pairs that the scene lets touch."""
        contacts = []
        for at, touch in enumerate(written):
            path = ("touches", at)
            a = self.part((*path, "between"), touch["between"])
            b = self.part((*path, "and"), touch["and"])
            gives = self._rule_value("length", touch.get("gives", 0), (*path, "gives"))
            contacts += [
                Contact("touches", left, right, solids_a, solids_b, gives)
                for left, solids_a in self._members(a)
                for right, solids_b in self._members(b)
            ]
        return contacts

    def _members(self, said: str) -> list[tuple[str, tuple[str, ...]]]:
        """Leaves (and the one solid) that a name stands for."""
        found: list[tuple[str, tuple[str, ...]]] = []
        for part in self.parts:
            solid = next((s for s in part.shape.solids if f"{part.name}.{s}" == said), "")
            stem = part.name.partition("[")[0]
            if solid:
                found.append((part.name, (solid,)))
            elif (
                part.name == said
                or part.name.startswith((f"{said}.", f"{said}["))
                or (said.endswith("*") and part.name.startswith(said[:-1]))
                or stem == said
            ):
                found.append((part.name, ()))
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
