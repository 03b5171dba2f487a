"""What a `place` in a file asks for: its faces, ports and rulers looked up, its frame worked out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from functools import partial
from typing import Any, Protocol

import numpy as np

from fitcheck.parts.features import Face, Feature, Port
from fitcheck.parts.threads import major_diameter
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.desk import Keys
from fitcheck.world.frames import IDENTITY, SIDES, Frame
from fitcheck.world.node import Found, Node, Value, anchor, find, segments, unknown
from fitcheck.world.place import (
    Ruler,
    absolute_frame,
    centre_ruler,
    centre_rulers,
    check_link,
    edge_point,
    edge_ruler,
    in_plane,
    join_frame,
    leaned,
    moved_face,
    moved_port,
    rest_frame,
    rest_rotation,
)
from fitcheck.world.world import Contact, Zone

# A male thread lies inside a hole cut for it; half a tenth covers how the two are drawn.
THREAD_PLAY = 0.05


class Standing(Protocol):
    """What placing asks of the parts that stand in one frame; `Space` in `space.py` answers it."""

    path: Keys

    def entry(self, name: str) -> Mapping[str, Any]:
        """The entry of a part, as written."""

    def means(self, name: str, contact: Contact) -> None:
        """Note a contact that the placement of a part means."""

    def instance(self, name: str) -> tuple[str, dict[str, Value]]:
        """Entry of a part, and its indices."""

    def node(self, name: str) -> Node:
        """The part, not yet placed."""

    def number(self, raw: Any, kind: str, path: Keys, indices: Mapping[str, Value], name: str) -> float:
        """A value of one kind, mm or degrees."""

    def turn(
        self, raw: Any, path: Keys, indices: Mapping[str, Value], name: str, leg: Callable[[], float]
    ) -> float:
        """Degrees that a part is turned by; `leg` tells the shorter leg of that angle, mm, if it is asked."""

    def frame(self, name: str) -> Frame:
        """Where a part stands."""

    def spelled(self, said: str, indices: Mapping[str, Value]) -> str:
        """A path with its indices worked out."""

    def feature(
        self, said: str, indices: Mapping[str, Value], wanted: type[Feature] | None = None
    ) -> tuple[str, Feature, Frame]:
        """A feature of any part: leaf name, feature, space_from_leaf."""

    def walk(self, path: tuple[str, ...], said: str) -> tuple[Found, Callable[[], Frame]]:
        """What a path leads to, and a way to ask where its part stands."""

    def noting(self, path: Keys, subject: str = "") -> AbstractContextManager[None]:
        """Within this, a wrong value is noted at a path."""


def place_part(space: Standing, name: str) -> Frame:
    """Where a part stands in its space; notes the contacts that the placement means.

    Raises:
        PassedOver: a mistake was noted.
    """
    key, indices = space.instance(name)
    node = space.node(name)
    place = space.entry(key).get("place")
    if place is None:
        return IDENTITY
    path = (*space.path, key, "place")
    asked = _Asked(space, name, node, indices, place, path)
    if "rest" in place:
        return _rest(asked)
    if "join" in place:
        return _join(asked)
    return _absolute(asked)


class _Asked:
    """One placement as written, with ways to read its keys and to note their mistakes."""

    def __init__(
        self,
        space: Standing,
        name: str,
        node: Node,
        indices: Mapping[str, Value],
        place: Mapping[str, Any],
        path: Keys,
    ) -> None:
        self.space, self.name, self.node, self.indices = space, name, node, indices
        self.place, self.path = place, path

    def number(self, *keys: str | int, kind: str = "length", default: float = 0.0) -> float:
        """The value at keys of the placement, mm or degrees."""
        raw: Any = self.place
        for key in keys:
            if isinstance(raw, dict) and key not in raw:
                return default
            raw = raw[key]
        words = ".".join(str(k) for k in keys)
        return self.space.number(raw, kind, (*self.path, *keys), self.indices, f"{self.name}.place.{words}")

    def turn(self, *keys: str | int, host: str, axes: Callable[[], tuple[np.ndarray, np.ndarray]]) -> float:
        """The angle at keys of the placement, degrees; 0 if it is not written.

        Args:
            host: what the part is turned on, as written; empty for the room.
            axes: what it turns about, in the frames of the part and of the host.
        """
        raw: Any = self.place
        for key in keys:
            if isinstance(raw, dict) and key not in raw:
                return 0.0
            raw = raw[key]

        def leg() -> float:
            axis, host_axis = axes()
            own = _leg(self.node, axis)
            if not host:
                return own
            name = segments(self.space.spelled(host, self.indices))[0]
            return min(own, _leg(self.space.node(name), host_axis))

        words = ".".join(str(k) for k in keys)
        return self.space.turn(raw, (*self.path, *keys), self.indices, f"{self.name}.place.{words}", leg)

    def into(self, host: str, direction: np.ndarray) -> np.ndarray:
        """A direction of the space in the frame of the part that a written path begins with."""
        name = segments(self.space.spelled(host, self.indices))[0]
        return np.asarray(self.space.frame(name).rotation.T @ direction)

    def mine(self, *keys: str | int, wanted: type[Feature] | None = None) -> tuple[str, Feature, Frame]:
        """A feature of the part itself: (relative leaf, feature, part_from_leaf)."""
        said = self._raw(keys)
        with self.noting(*keys):
            written = self.space.spelled(said, self.indices)
            found = find(self.node, segments(written), written)
            word = {Face: "face", Port: "port"}.get(wanted, "feature") if wanted else "feature"
            if found.feature is None or found.rest or (wanted and not isinstance(found.feature, wanted)):
                raise unknown(found.node, ".".join(found.rest) or segments(written)[-1], written, word)
            return found.leaf, found.feature, found.frame

    def theirs(self, *keys: str | int, wanted: type[Feature] | None = None) -> tuple[str, Feature, Frame]:
        """A feature of another part: (full leaf name, feature, space_from_leaf)."""
        said = self._raw(keys)
        with self.noting(*keys):
            return self.space.feature(said, self.indices, wanted)

    def _raw(self, keys: tuple[str | int, ...]) -> str:
        raw: Any = self.place
        for key in keys:
            raw = raw[key]
        return str(raw)

    def noting(self, *keys: str | int) -> AbstractContextManager[None]:
        """Within this, a wrong value is noted at the key it was written under."""
        return self.space.noting((*self.path, *keys))

    def leaf(self, relative: str) -> str:
        """Full name of one of my leaves."""
        return f"{self.name}.{relative}" if relative else self.name


def _axes_of_turn(about: str, before: Sequence[tuple[str, float]]) -> tuple[np.ndarray, np.ndarray]:
    """The axis of a further turn, in the frames of the part as turned before, and of its host."""
    axis = np.eye(3)["xyz".index(about)]
    return absolute_frame(np.zeros(3), before, np.zeros(3)).rotation.T @ axis, axis


def _leg(node: Node, axis: np.ndarray) -> float:
    """The longest side of a part's bounds as seen along an axis of its own frame, mm."""
    sides = np.ptp(node.bounds(IDENTITY), axis=0)
    return float((sides * np.sqrt(np.maximum(1 - axis**2, 0.0))).max())


def _rest(asked: _Asked) -> Frame:
    leaf, feature, inner = asked.mine("rest", wanted=Face)
    host_leaf, host_feature, host_frame = asked.theirs("on", wanted=Face)
    assert isinstance(feature, Face) and isinstance(host_feature, Face)
    mine, host = moved_face(feature, inner), moved_face(host_feature, host_frame)
    on = asked.place["on"]
    turn = asked.turn("turn", host=on, axes=lambda: (mine.normal, asked.into(on, host.normal)))
    lift = asked.number("lift")
    rotation = rest_rotation(mine, host, turn)
    rulers = _rulers(asked, mine, host, rotation)
    with asked.noting("rest"):
        frame = rest_frame(mine, host, rotation, rulers, lift)
    if "lean" in asked.place:
        to, stands = asked.place["lean"]["to"], frame

        def axes() -> tuple[np.ndarray, np.ndarray]:
            axis = np.cross(host.normal, in_plane(to, host))
            return stands.rotation.T @ axis, asked.into(on, axis)

        by = asked.turn("lean", "by", host=on, axes=axes)
        with asked.noting("lean", "to"):
            frame = leaned(frame, mine, host, to, by)
    elif lift <= 0:
        _meant(asked, leaf, feature, host_leaf, host_feature)
    also = asked.place.get("also_on") or []
    for at in range(len(also if isinstance(also, list) else [also])):
        keys = ("also_on", at) if isinstance(also, list) else ("also_on",)
        other_leaf, other, _ = asked.theirs(*keys, wanted=Face)
        assert isinstance(other, Face)
        _meant(asked, leaf, feature, other_leaf, other, whole=True)
    return frame


def _meant(asked: _Asked, leaf: str, mine: Face, host_leaf: str, host: Face, whole: bool = False) -> None:
    """Note that my face may touch the host's."""
    if host.owners == ("",):  # a compartment's wall with no solid behind it
        return
    asked.space.means(
        asked.name,
        Contact(
            kind="rest",
            a=asked.leaf(leaf),
            b=host_leaf,
            solids_a=() if whole else mine.owners,
            solids_b=host.owners,
            gives=mine.gives + host.gives,
        ),
    )


def _rulers(asked: _Asked, mine: Face, host: Face, rotation: np.ndarray) -> list[Ruler]:
    """All that fixes the part in the plane of the host face."""
    rulers = []
    for side in SIDES:
        if side in asked.place:
            offset = asked.number(side)
            with asked.noting(side):
                rulers.append(edge_ruler(side, offset, mine, host, rotation))
    for at, _ in enumerate(asked.place.get("ruler") or []):
        rulers.append(_long_ruler(asked, at, mine, host, rotation))
    if "match" in asked.place:
        _, own, own_frame = asked.mine("match", "mine")
        _, other, other_frame = asked.theirs("match", "theirs")
        point = rotation @ (own_frame.point(anchor(own)) - mine.centre)
        there = other_frame.point(anchor(other)) - host.centre
        across = np.cross(host.normal, host.along)
        rulers += [Ruler(host.along, point, there, 0.0), Ruler(across, point, there, 0.0)]
    centre = asked.place.get("centre")
    if centre == "both":
        rulers += centre_rulers(host)
    elif centre == "across" and rulers:
        rulers.append(centre_ruler(host, rulers[0]))
    return rulers


def _long_ruler(asked: _Asked, at: int, mine: Face, host: Face, rotation: np.ndarray) -> Ruler:
    written = asked.place["ruler"][at]
    with asked.noting("ruler", at, "towards"):
        towards = in_plane(written["towards"], host)
    ends = []
    for key, own in (("mine", True), ("theirs", False)):
        said = written[key]
        with asked.noting("ruler", at, key):
            if said == "centre":
                ends.append(np.zeros(3))
            elif said in SIDES:
                face = mine if own else host
                ends.append(edge_point(said, face, host, rotation if own else np.eye(3)))
            elif own:
                _, feature, frame = asked.mine("ruler", at, key)
                ends.append(rotation @ (frame.point(anchor(feature)) - mine.centre))
            else:
                _, feature, frame = asked.theirs("ruler", at, key)
                ends.append(frame.point(anchor(feature)) - host.centre)
    return Ruler(towards, ends[0], ends[1], asked.number("ruler", at, "apart"))


def _join(asked: _Asked) -> Frame:
    leaf, mine, inner = asked.mine("join", wanted=Port)
    host_leaf, host, host_frame = asked.theirs("to", wanted=Port)
    assert isinstance(mine, Port) and isinstance(host, Port)
    my_port, host_port = moved_port(mine, inner), moved_port(host, host_frame)
    to = asked.place["to"]
    turn = asked.turn("turn", host=to, axes=lambda: (my_port.axis, asked.into(to, host_port.axis)))
    with asked.noting("join"):
        check_link(mine.link, host.link)
    frame = join_frame(my_port, host_port, turn)
    full = asked.leaf(leaf)
    if host.link.gender == "male":
        placed = moved_port(my_port, frame)
        asked.space.means(asked.name, _joined(host_leaf, host, full, mine, placed))
    else:
        asked.space.means(asked.name, _joined(full, mine, host_leaf, host, host_port))
    return frame


def _joined(male_leaf: str, male: Port, female_leaf: str, female: Port, mouth: Port) -> Contact:
    """The contact of two joined ports; `mouth` is the female one in the space's frame."""
    radius = float("inf")
    if male.link.kind == "thread":
        radius = major_diameter(male.link.size) / 2 + THREAD_PLAY
    return Contact(
        kind="join",
        a=male_leaf,
        b=female_leaf,
        solids_a=male.owners,
        solids_b=female.owners,
        reach=male.reach,
        zone=Zone(mouth.at, -mouth.axis, radius, female.depth),
    )


def _absolute(asked: _Asked) -> Frame:
    at = np.array([asked.number("at", k) for k in range(3)])
    point = np.zeros(3)
    if "put" in asked.place:
        _, feature, frame = asked.mine("put")
        point = frame.point(anchor(feature))
    of = asked.place.get("of", "")
    turns: list[tuple[str, float]] = []
    written: list[tuple[str, tuple[str | int, ...]]] = [("z", ("turn",))] if "turn" in asked.place else []
    written += [(step["about"], ("turns", k, "by")) for k, step in enumerate(asked.place.get("turns") or [])]
    for about, keys in written:
        turns.append((about, asked.turn(*keys, host=of, axes=partial(_axes_of_turn, about, tuple(turns)))))
    placed = absolute_frame(at, turns, point)
    if "of" not in asked.place:
        return placed
    with asked.noting("of"):
        host = asked.space.spelled(asked.place["of"], asked.indices)
        found, stands = asked.space.walk(segments(host), host)
        if found.feature is not None or found.rest:
            raise ValueMistake(f"`{host}` is no part; `of` takes the part whose frame is meant")
        return stands() @ found.frame @ placed
