"""The spaces inside a part that coolant fills, and how they open to each other."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.features import Port, PumpShaft, Wet
from fitcheck.parts.pieces import NOTHING, bounds, box_piece, cylinder_piece, frozen
from fitcheck.parts.reading import PassedOver, Path, Reading
from fitcheck.parts.solids import Piece
from fitcheck.scene.amounts import as_number
from fitcheck.scene.feature_entries import PortEntry
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.wet_entries import Channel, WetEntry


@dataclass(frozen=True, eq=False)
class Inside:
    """What wet spaces refer to.

    Args:
        port_entries: as written.
        ports: those made.
        entries: the wet spaces as written.
        made: those made so far.
    """

    port_entries: Mapping[str, PortEntry]
    ports: Mapping[str, Port]
    entries: Mapping[str, WetEntry]
    made: Mapping[str, Wet]

    def port(self, name: str) -> tuple[str, ...]:
        """The port of that name; none where `when` leaves it out.

        Raises:
            ValueMistake: the model has no such port.
        """
        if name in self.ports:
            return (name,)
        if name.partition("[")[0] not in self.port_entries:
            near = nearest(name, self.port_entries)
            raise ValueMistake(f"there is no port `{name}`", f"write {near}" if near else "")
        return ()

    def space(self, name: str) -> tuple[Wet, ...]:
        """The wide space of that name; none where `when` leaves it out.

        Raises:
            ValueMistake: no wet space has that name, or it comes later, or it is a channel.
        """
        if name in self.made:
            if self.made[name].piece is None:
                raise ValueMistake(f"`{name}` is a channel; only wide spaces meet")
            return (self.made[name],)
        base = name.partition("[")[0]
        if base not in self.entries:
            near = nearest(name, self.entries)
            raise ValueMistake(f"there is no wet space `{name}`", f"write {near}" if near else "")
        if not self.entries[base].when and not self.entries[base].repeat:
            raise ValueMistake(f"`{name}` comes later: let it name this one")
        return ()


def wet(name: str, entry: WetEntry, reading: Reading, path: Path, inside: Inside) -> Wet:
    """One wet space, read."""
    bore = reading.length(entry.bore, (*path, "bore"))
    with reading.at((*path, "bore"), name):
        if bore < NOTHING:
            raise ValueMistake(f"bore {bore:g} is not above 0")
    flow = _ports(entry.flow, "flow", reading, path, inside)
    pump = None
    if entry.pump is not None:
        shaft = reading.direction(entry.pump.shaft, (*path, "pump", "shaft"))
        pump = PumpShaft(shaft, tuple(entry.pump.may_point))
    metal = "" if entry.metal is None else reading.text(entry.metal)
    piece, line = None, None
    ports = _ports(entry.ports, "ports", reading, path, inside)
    if entry.channel is not None:
        line, ports = _channel(name, entry.channel, reading, path, inside)
    else:
        piece = _piece(name, entry, reading, path)
    return Wet(
        name=name,
        piece=piece,
        line=line,
        ports=ports,
        mouth=entry.channel is not None and entry.channel.mouth is not None,
        meets=() if piece is None else _meets(name, piece, entry, reading, path, inside),
        share=_share(name, entry, reading, path),
        bore=bore,
        unsure=entry.unsure,
        air=entry.air,
        metal=metal,
        flow=flow if len(flow) == 2 else (),
        pump=pump,
    )


def _ports(said: list[str], key: str, reading: Reading, path: Path, inside: Inside) -> tuple[str, ...]:
    found: list[str] = []
    for at, raw in enumerate(said):
        with reading.at((*path, key, at), key):
            found += inside.port(reading.reference(raw, (*path, key, at)))
    return tuple(found)


def _channel(
    name: str, channel: Channel, reading: Reading, path: Path, inside: Inside
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Its centre line, and the ports at its ends."""
    here = (*path, "channel")
    start = _one_port(channel.from_, (*here, "from"), reading, inside)
    points = [inside.ports[start].at]
    points += [reading.lengths(point, (*here, "by", at)) for at, point in enumerate(channel.by)]
    ports = [start]
    if channel.to is not None:
        ports.append(_one_port(channel.to, (*here, "to"), reading, inside))
        points.append(inside.ports[ports[-1]].at)
    else:
        assert channel.mouth is not None
        points.append(reading.lengths(channel.mouth, (*here, "mouth")))
    line = np.array(points, float)
    with reading.at(here, name):
        if np.linalg.norm(np.diff(line, axis=0), axis=1).min() < NOTHING:
            raise ValueMistake("a channel has the same point twice in a row")
    return frozen(line), tuple(ports)


def _one_port(raw: str, path: Path, reading: Reading, inside: Inside) -> str:
    with reading.at(path):
        found = inside.port(reading.reference(raw, path))
        if not found:
            raise ValueMistake(
                f"the port `{raw}` is not made with these values",
                "give the channel the same when as the port",
            )
        return found[0]
    raise PassedOver


def _piece(name: str, entry: WetEntry, reading: Reading, path: Path) -> Piece:
    if entry.box is not None:
        low = reading.lengths(entry.box.low, (*path, "box", "low"))
        high = reading.lengths(entry.box.high, (*path, "box", "high"))
        with reading.at((*path, "box"), name):
            return box_piece(low, high)
    rod = entry.cylinder
    assert rod is not None
    start = reading.lengths(rod.from_, (*path, "cylinder", "from"))
    end = reading.lengths(rod.to, (*path, "cylinder", "to"))
    diameter = reading.length(rod.diameter, (*path, "cylinder", "diameter"))
    with reading.at((*path, "cylinder"), name):
        return cylinder_piece(start, end, diameter)
    raise PassedOver


def _share(name: str, entry: WetEntry, reading: Reading, path: Path) -> float:
    with reading.at((*path, "share"), name):
        share = as_number(reading.worked_out(entry.share))
        if not 0 < share <= 1:
            raise ValueMistake(f"{share:g} is no share; expected above 0 and up to 1")
        return share
    raise PassedOver


def _meets(
    name: str, piece: Piece, entry: WetEntry, reading: Reading, path: Path, inside: Inside
) -> tuple[tuple[str, np.ndarray], ...]:
    """The spaces that it is open to, with the corners of what their bounds share."""
    found = []
    own = bounds([piece])
    for at, raw in enumerate(entry.meets):
        place = (*path, "meets", at)
        with reading.at(place, name):
            for other in inside.space(reading.reference(raw, place)):
                assert other.piece is not None
                theirs = bounds([other.piece])
                low, high = np.maximum(own[0], theirs[0]), np.minimum(own[1], theirs[1])
                if (low - high).max() > NOTHING:
                    raise ValueMistake(f"{name} and {other.name} lie {(low - high).max():.4g} mm apart")
                corners = np.array(list(itertools.product(*zip(low, np.maximum(low, high), strict=True))))
                # With the indices: without them numpy loads its masked arrays, 10 ms.
                found.append((other.name, frozen(np.unique(corners, axis=0, return_index=True)[0])))
    return tuple(found)
