"""Room for heads, keys and nuts: what is in the way against the engine's depths, corridors of known width."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from worlds import box, part, rod, world

from fitcheck.fasteners.envelopes import (
    HANDLE,
    SHANK,
    SHANK_LONG,
    SOCKET,
    first_hit,
    head_room,
    in_the_way,
    key_way,
    nut_hold,
    tip_way,
)
from fitcheck.fasteners.envelopes import rod as envelope
from fitcheck.fasteners.tables import THREADS, key_arms
from fitcheck.parts.outline import extruded
from fitcheck.parts.polygon import Cutout
from fitcheck.world.bodies import with_probe
from fitcheck.world.engine import bodies, measure

UP = np.array([0.0, 0.0, 1.0])
M4 = THREADS["M4"]
CAP = M4.heads["cap"]


def sheet_with_hole():
    return extruded(
        np.array([[-40, -40], [40, -40], [40, 40], [-40, 40]], float), 2, -2, 0, [Cutout("h", "round", (5, 5), (24, 24))]
    )[0]  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=120)
@given(seed=st.integers(0, 100_000))
def test_what_is_in_the_way_is_what_overlaps(seed):
    random = np.random.default_rng(seed)
    low = random.uniform(-30, 20, 3)
    start = random.uniform(-30, 30, 3)
    held = bodies(
        world(
            part("box", box(low, low + random.uniform(3, 20, 3))),
            part("rod", rod(start, start + random.uniform(-20, 20, 3), random.uniform(2, 12))),
            part("sheet", sheet_with_hole()),
        )
    )
    way = random.normal(size=3)
    piece = envelope(
        random.uniform(-25, 25, 3), way / np.linalg.norm(way), random.uniform(2, 12), random.uniform(3, 40)
    )
    among = with_probe(held, piece)
    depths = np.array([m.depth for m in measure(among, [(k, len(held)) for k in range(len(held))])])
    # Near the contact tolerance either may be right: the envelope is asked a hundredth smaller all around.
    assume(not ((depths > 0) & (depths < 0.05)).any())
    names = [held.all[k].name for k in np.flatnonzero(depths > 0)]
    assert in_the_way(held, piece) == (names[0] if names else "")
    if names:
        first = next(k for k, body in enumerate(held.all) if body.name == names[0])
        assert in_the_way(held, piece, [first]) == (names[1] if len(names) > 1 else "")


def shaft(width, depth=400.0):
    """Four walls around a square shaft on a floor."""
    half, out = width / 2, width / 2 + 5
    return bodies(
        world(
            part("floor", box([-out, -out, -5], [out, out, 0])), part("left", box([-out, -out, 0], [-half, out, depth])),
            part("right", box([half, -out, 0], [out, out, depth])), part("front", box([-half, -out, 0], [half, -half, depth])),
            part("rear", box([-half, half, 0], [half, out, depth])),
        )
    )  # fmt: skip


@pytest.mark.parametrize(
    ("width", "turned"), [(HANDLE + 0.1, "driver"), (HANDLE - 0.1, ""), (300.0, "driver")]
)
def test_a_driver_needs_a_shaft_as_wide_as_its_handle(width, turned):
    assert key_way(shaft(width), CAP, np.array([0, 0, 4.0]), UP)[0] == turned


def test_a_shaft_as_deep_as_the_shank_is_long_lets_its_handle_stay_out():
    # A shaft of 10: the shank of 7 goes in; deeper than the shank is long the handle meets its rim.
    top = np.array([0, 0, 4.0])
    assert key_way(shaft(SHANK + 3, 4 + SHANK_LONG - 1), CAP, top, UP)[0] == "driver"
    assert key_way(shaft(SHANK + 3, 4 + SHANK_LONG + 1), CAP, top, UP) == ("", "left.body")


def test_a_driver_is_as_thick_as_its_shank_or_as_a_small_head():
    # M6 cap: 10 wide (ISO 4762), the shank 7; M2.5 cap: 4.5 wide, and so is what goes down to it.
    top = np.array([0, 0, 4.0])
    m6, m2 = THREADS["M6"].heads["cap"], THREADS["M2.5"].heads["cap"]
    low = 4 + SHANK_LONG - 1
    assert [key_way(shaft(width, low), m6, top, UP)[0] for width in (7.1, 6.9)] == ["driver", ""]
    assert [key_way(shaft(width, low), m2, top, UP)[0] for width in (4.6, 4.4)] == ["driver", ""]


def test_a_key_swings_over_a_low_wall_only():
    # M4 cap: key 3, short arm 20, long arm 63 (ISO 2936). Under a roof at 30 no driver; its long arm lies from
    # 20 less its thickness (3 / cos 30 = 3.46) to 20 above the head's top at 4: from 20.5 to 24.
    short, long = key_arms(CAP.key)
    assert (short, long) == (20, 63)
    roof = part("roof", box([-99, -99, 30], [99, 99, 33]))

    def turned(wall):
        walls = [part(f"w{k}", box(*ends)) for k, ends in enumerate(around(wall))]
        return key_way(bodies(world(roof, *walls)), CAP, np.array([0, 0, 4.0]), UP)[0]

    def around(top):
        """Four walls 1 thick about a square of 60."""
        for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            half = np.array([0.5 if x else 30.5, 0.5 if y else 30.5])
            middle = np.array([30.5 * x, 30.5 * y])
            yield [*(middle - half), 0.0], [*(middle + half), top]

    assert turned(20.4) == "key"
    assert turned(20.7) == ""


def test_a_nut_by_socket_and_by_spanner():
    # ISO 4032: 7 over flats, so a socket of 10.5 in this trade's proportion.
    seat = np.zeros(3)
    wide, narrow = shaft(SOCKET * 7 + 0.1), shaft(SOCKET * 7 - 0.1)
    assert nut_hold(wide, M4, seat, UP)[0] == "socket"
    assert nut_hold(narrow, M4, seat, UP) == ("", "left.body")
    lid = bodies(world(part("lid", box([-99, -99, 5], [99, 99, 6]))))
    assert nut_hold(lid, M4, seat, UP) == ("spanner", "lid.body")


def test_head_room_is_washers_and_head():
    washer, head = head_room(M4, CAP, 2, np.array([0, 0, 1.0]), UP)
    # ISO 7089: 9.0 wide, 0.8 thick; ISO 4762: 7 wide, 4 high.
    assert (2 * washer.half[0], washer.centre[2], 2 * washer.half[2]) == pytest.approx((9.0, 1.8, 1.6))
    assert (2 * head.half[0], head.centre[2], 2 * head.half[2]) == pytest.approx((7.0, 1 + 1.6 + 2, 4.0))
    beside = bodies(world(part("wall", box([4, -9, 0], [6, 9, 9]))))
    assert first_hit(beside, head_room(M4, CAP, 1, np.zeros(3), UP)) == "wall.body"  # the washer's 4.5
    assert first_hit(beside, head_room(M4, CAP, 0, np.zeros(3), UP)) == ""


@pytest.mark.parametrize("gap", [0.5, 7.25, 30.0])
def test_how_far_a_tip_gets(gap):
    wall = bodies(world(part("wall", box([-9, -9, gap], [9, 9, gap + 5]))))
    length, what = tip_way(wall, np.zeros(3), UP, 4.0)
    assert (length, what) == (pytest.approx(gap, abs=0.03), "wall.body")
    assert tip_way(wall, np.zeros(3), -UP, 4.0) == (float("inf"), "")
