"""Every built-in model: it builds wherever its ranges reach, its places lie on it, its solids do not overlap.

Nothing here asks fitcheck's engine: see `shapes.py` for how inside and overlap are decided.
"""

from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from shapes import body, bounds, inside, model, overlap, settings, shape, values

from fitcheck.parts.features import Face, Port, Shape
from fitcheck.scene.amounts import Amount
from fitcheck.scene.read import library
from fitcheck.world.world import piece_bounds

NAMES = list(library())
# Assemblies have no solids of their own.
ASSEMBLIES = {"fan_row", "radiator_with_fans"}
# A place may lie off its solid by this, mm: the contact tolerance.
CONTACT = 0.01
# How far in front of a place and behind it the material is looked for, mm.
STEP = 0.02
# Parameters without a dimension, a choice, or a default worked out from others need no source.
SOURCED = ("length", "angle", "number")
KNOWN_SOURCES = (
    "ASME", "ATX", "ISO", "Mini-ITX", "PCI Express", "SFF-", "SFX12V", "microATX",
    "common practice", "invented for the demo", "measure yours", "from memory",
)  # fmt: skip


def cases() -> list[Any]:
    """Each model as it comes, with every choice, and at both ends of every range."""
    found = []
    for name in NAMES:
        found.append(pytest.param(name, {}, id=name))
        found += [
            pytest.param(name, {key: value}, id=f"{name}-{key}-{value}") for key, value in settings(name)
        ]
    return found


@cache
def _built(name: str, given: tuple[tuple[str, Any], ...]) -> Shape:
    return shape(name, **dict(given))


def built(name: str, given: dict[str, Any]) -> Shape:
    return _built(name, tuple(given.items()))


CASES = cases()


@pytest.mark.parametrize("name", NAMES)
def test_tells_what_it_is(name):
    file = model(name).file
    assert file.summary
    assert file.frame.count("+") >= 1, "the frame names no direction"
    for key, parameter in file.parameters.items():
        assert parameter.meaning, key
        assert parameter.range or parameter.choices or parameter.type in ("flag", "text"), f"{key}: no limits"


@pytest.mark.parametrize("name", NAMES)
def test_plain_defaults_name_their_source(name):
    for key, parameter in model(name).file.parameters.items():
        worked_out = isinstance(parameter.default, str) and any(
            word in parameter.default for word in model(name).file.parameters | model(name).file.derive
        )
        if parameter.type in SOURCED and not worked_out:
            assert any(known in parameter.source for known in KNOWN_SOURCES), f"{key}: {parameter.source!r}"


@pytest.mark.parametrize(("name", "given"), CASES)
def test_solids_are_closed_and_apart(name, given):
    made = built(name, given)
    assert bool(made.solids) == (name not in ASSEMBLIES)
    for solid in made.solids.values():
        for piece in solid.pieces:
            low, high = piece_bounds_of(piece)
            # Closed, outward, and not larger than its bounds.
            assert 0 < body(piece).volume() <= np.prod(high - low) * (1 + 1e-9), solid.name
    for one, other in combinations(made.solids.values(), 2):
        assert overlap(one, other) <= CONTACT, (one.name, other.name)


def piece_bounds_of(piece: Any) -> np.ndarray:
    from shapes import HERE

    return piece_bounds(piece, HERE)


@pytest.mark.parametrize(("name", "given"), CASES)
def test_ports_stand_on_their_solids_and_look_out(name, given):
    made = built(name, given)
    for port in made.ports.values():
        owners = [made.solids[owner] for owner in port.owners]
        assert owners, port.name
        behind, before = port.at - STEP * port.axis, port.at + STEP * port.axis
        assert any(inside(owner, behind[None])[0] for owner in owners), f"{port.name}: nothing behind"
        assert not any(inside(owner, before[None])[0] for owner in owners), f"{port.name}: looks in"
        assert abs(port.axis @ port.up) < 1e-12
        if port.reach:
            _reaches(made, port)


def _reaches(made: Shape, port: Port) -> None:
    """What goes into the other part begins at the shoulder and is as long as the port says."""
    along = (made_corners(made, port.reach) - port.at) @ port.axis
    assert along.min() == pytest.approx(0, abs=1e-9), port.name
    assert along.max() == pytest.approx(port.depth, abs=1e-9), port.name


def made_corners(made: Shape, solid: str) -> np.ndarray:
    low, high = bounds(made, solid)
    return np.array(
        [[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )


@pytest.mark.parametrize(("name", "given"), CASES)
def test_faces_lie_on_their_solids_and_look_out(name, given):
    made = built(name, given)
    for face in made.faces.values():
        owners = [made.solids[owner] for owner in face.owners]
        points = _spread(face, [bounds(made, one.name).mean(axis=0) for one in owners])
        behind = np.any([inside(one, points - STEP * face.normal) for one in owners], axis=0)
        before = np.any([inside(one, points + STEP * face.normal) for one in owners], axis=0)
        assert np.any(behind & ~before), f"{face.name}: no material ends there"


def _spread(face: Face, middles: list[np.ndarray]) -> np.ndarray:
    """Points of a face's rectangle: a grid, denser at the edges, and where the middles of its solids fall on it."""
    across = np.cross(face.normal, face.along)
    u = np.concatenate([[-0.48], (np.arange(9) + 0.5) / 9 - 0.5, [0.48]])
    a, b = np.meshgrid(u * face.size[0], u * face.size[1])
    grid = face.centre + a.reshape(-1, 1) * face.along + b.reshape(-1, 1) * across
    fallen = [middle - face.normal * (face.normal @ (middle - face.centre)) for middle in middles]
    return np.vstack([face.centre, *fallen, grid])


@pytest.mark.parametrize("name", NAMES)
def test_holes_are_drilled_from_a_surface_of_their_part(name):
    made = built(name, {})
    for hole in made.holes.values():
        # On a ring around the mouth there is material just behind, and none of the same solid just before.
        turns = np.linspace(0, 2 * np.pi, 17)[:-1]
        u = np.eye(3)[int(np.argmin(np.abs(hole.axis)))]
        u = np.cross(hole.axis, u) / np.linalg.norm(np.cross(hole.axis, u))
        v = np.cross(hole.axis, u)
        ring = hole.at + (hole.diameter / 2 + 0.1) * (np.outer(np.cos(turns), u) + np.outer(np.sin(turns), v))
        behind = np.array([inside(solid, ring - STEP * hole.axis) for solid in made.solids.values()])
        before = np.array([inside(solid, ring + STEP * hole.axis) for solid in made.solids.values()])
        assert np.any(behind & ~before), hole.name
        if hole.cuts:
            middle = hole.at - STEP * hole.axis
            assert not inside(made.solids[hole.cuts], middle[None])[0], f"{hole.name} is not open"


@pytest.mark.parametrize("name", NAMES)
def test_openings_are_open(name):
    made = built(name, {})
    for opening in made.openings.values():
        if opening.cuts:
            middle = opening.at - STEP * opening.axis
            assert not inside(made.solids[opening.cuts], middle[None])[0], opening.name


@pytest.mark.parametrize("name", ["floor_tower", "small_cube", "wall_cabinet"])
def test_compartments_are_empty_and_walled(name):
    made = built(name, {})
    assert len(made.compartments) >= 2
    for room in made.compartments.values():
        for wall, solid in room.walls.items():
            axis, end = {"l": (0, 0), "r": (0, 1)}.get(wall[0], (2, 0 if wall == "floor" else 1))
            if wall in ("front_wall", "rear_wall"):
                axis, end = 1, int(wall == "rear_wall")
            at = (room.low, room.high)[end][axis]
            # The wall's inner surface is where the room ends.
            assert bounds(made, solid)[1 - end][axis] == pytest.approx(at, abs=1e-9), (room.name, wall)
        for solid in made.solids.values():
            for piece in solid.pieces:
                low, high = piece_bounds_of(piece)
                inner = np.minimum(high, room.high) - np.maximum(low, room.low)
                # Only what belongs there may stand inside: the beam, grommets and the supply's strip.
                if np.all(inner > CONTACT):
                    assert solid.name.partition("[")[0] in {"beam", "grommet", "supply_strip"}, solid.name


def test_a_looked_up_pitch_follows_the_fan():
    # One parameter changed: the holes must follow (124.5, not the 105 of a 120 mm fan).
    holes = built("radiator", {"fan_size": 140}).holes
    assert holes["fan_screws[1][2][1]"].at[0] - holes["fan_screws[1][1][1]"].at[0] == pytest.approx(124.5)
    pitch = values("radiator", fan_size=140)["hole_pitch"]
    assert isinstance(pitch, Amount)
    assert (pitch.value, pitch.length) == (124.5, 1)


def test_radiator_ports_at_either_end():
    def xs(**given: Any) -> dict[str, tuple[float, float]]:
        ports = built("radiator", given).ports
        return {key: (float(port.at[0]), float(port.axis[0])) for key, port in ports.items()}

    # 3 x 120 = 360: ends at 180; tanks 25 and 14; bosses 2 proud.
    near = {"port_low": (-207, -1), "port_high": (-207, -1)}
    far = {"far_low": (196, 1), "far_high": (196, 1)}
    assert xs() == near
    assert xs(port_side="far") == far
    assert xs(port_side="both") == near | far
