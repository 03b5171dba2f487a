"""Built-in models placed together: what is meant to meet does meet, hole on hole and the right way round."""

import numpy as np
import published
import pytest
from shapes import bounds, placed

EXACT = 1e-6
# Where each case has its supply.
ROOMS = {"tower": "back_room", "cube": "lower", "cabinet": "duct"}
FORMS = list(published.OUTLINES)

IN_TOWER = """  case: {model: floor_tower}
  rail: {model: tray_rail, place: {rest: underside, on: case.hall.floor, turn: 0, rear: 2, ruler: [{mine: centre, theirs: case.tray_opening, apart: 0, towards: left}]}}
  tray: {model: board_tray, place: {at: [0, 0, 0], turns: [{about: y, by: -90}]}}
  board: {model: board, place: {rest: underside, on: tray.board_face, match: {mine: hole_c, theirs: tray.hole_c}}}
  card: {model: card, place: {join: edge, to: "board.slot[1]"}}
"""


def test_board_in_a_tower_stands_as_boards_stand():
    world = placed(IN_TOWER)
    board, card = world.by_name["board"], world.by_name["card"]
    assert np.linalg.det(board.pose.rotation) == pytest.approx(1)
    # Common practice, seen from the front, window at the left: components look left, the rear connectors are at
    # the rear above the slots, and a card's cooler looks down.
    assert board.pose.direction(np.array([0.0, 0, 1])) == pytest.approx([-1, 0, 0], abs=1e-12)
    slots = board.pose.point(board.shape.ports["slot[1]"].at)
    connectors = board.pose.point(board.shape.faces["rear_connectors"].centre)
    assert connectors[2] > slots[2]
    assert connectors[1] == pytest.approx(board.bounds[1][1])
    cooler = card.pose.point(bounds(card.shape, "cooler").mean(axis=0))
    assert cooler[2] < card.pose.point(bounds(card.shape, "pcb").mean(axis=0))[2]


@pytest.mark.parametrize("form", [*FORMS, "eatx"])
def test_tray_has_just_the_stand_offs_of_the_form(form):
    world = placed(
        f"  tray: {{model: board_tray, with: {{form: {form}}}}}\n"
        f"  board: {{model: board, with: {{form: {form}}}, place: {{rest: underside, on: tray.board_face, match: {{mine: hole_c, theirs: tray.hole_c}}}}}}\n"
    )
    tray, board = world.by_name["tray"], world.by_name["board"]
    posts = sorted(
        tuple(np.round(bounds(tray.shape, name).mean(axis=0)[:2], 6))
        for name in tray.shape.solids
        if name.startswith("post_")
    )
    holes = sorted(
        tuple(np.round(board.pose.point(hole.at)[:2], 6))
        for name, hole in board.shape.holes.items()
        if name.startswith("hole_")
    )
    assert posts == holes
    # The board's underside lies the published 6.35 above the plate.
    plate = bounds(tray.shape, "plate")
    assert board.bounds[0][2] - plate[1][2] == pytest.approx(published.UNDER_BOARD, abs=EXACT)


@pytest.mark.parametrize("name", list(published.DRIVES))
def test_drive_bays_meet_the_drives_holes(name):
    drives = "".join(
        f"  drive_{bay}: {{model: {name}, place: {{rest: low_side, on: bays.low_inside, lift: 0.25, "
        f'match: {{mine: "side_screws[1][1]{"[1]" * (name == "drive_5_25")}", theirs: "bays.low_screws[{bay}][1]"}}}}}}\n'
        for bay in (1, 2)
    )
    world = placed(f"  bays: {{model: drive_bay_column, with: {{form: {name}}}}}\n{drives}")
    bays = world.by_name["bays"]
    screws = np.array([bays.pose.point(h.at) for key, h in bays.shape.holes.items() if "screws" in key])
    for bay in (1, 2):
        drive = world.by_name[f"drive_{bay}"]
        mine = [
            h.at
            for key, h in drive.shape.holes.items()
            if key.startswith("side") and not key.endswith("][2][2]")
        ]
        points = drive.pose.point(np.array([at for at in mine if name != "drive_5_25" or at[2] < 15]))
        # Every side hole has its hole in a plate, 0.25 off at either side.
        off = np.abs(points[:, None] - screws[None]).max(axis=2).min(axis=1)
        assert off == pytest.approx(np.full(len(points), 0.25), abs=EXACT)


@pytest.mark.parametrize(
    ("case", "supply", "turn"),
    [
        ("{model: floor_tower}", "power_supply_atx", 90),
        ("{model: small_cube}", "power_supply_sfx", 180),
        ("{model: small_cube, with: {supply: atx, lower_height: 110}}", "power_supply_atx", 180),
        ("{model: wall_cabinet}", "power_supply_atx", 180),
    ],
)
def test_supply_meets_the_holes_of_its_case(case, supply, turn):
    world = placed(
        f"  case: {case}\n"
        f"  supply: {{model: {supply}, place: {{rest: rear_face, on: case.supply_seat, turn: {turn}, centre: both}}}}\n"
    )
    inner, outer = world.by_name["supply"], world.by_name["case"]

    seat = np.abs(outer.shape.faces["supply_seat"].normal) < 0.5

    def places(part, start):
        return sorted(
            tuple(np.round(part.pose.point(h.at)[seat], 6))
            for key, h in part.shape.holes.items()
            if key.startswith(start)
        )

    assert places(inner, "screw") == places(outer, "supply_")
    # The published 12.7 of air stays inside the case.
    intake = inner.shape.keep_clear["intake"].piece
    reach = inner.pose.point(intake.centre) + inner.pose.direction(intake.rotation[:, 2]) * intake.half[2]
    other = inner.pose.point(intake.centre) - inner.pose.direction(intake.rotation[:, 2]) * intake.half[2]
    room = world.compartments[next(f"case.{r}" for m, r in ROOMS.items() if m in case)].bounds
    for point in (reach, other):
        assert np.all(point > room[0] - 1e-9)
        assert np.all(point < room[1] + 1e-9)


@pytest.mark.parametrize(
    ("form", "host", "port"),
    [
        ("power 24-way", "board", "main_power"),
        ("power 8-way", "board", "processor_power"),
        ("serial data", "board", "data[1]"),
        ("card power", "card", "power"),
        ("power 24-way", "power_supply_atx", "main_socket"),
        ("power 8-way", "power_supply_sfx", "processor_socket"),
        ("drive power", "power_supply_atx", "drive_socket[2]"),
        ("serial power", "drive_3_5", "power"),
        ("serial data", "drive_2_5", "data"),
        ("serial data", "drive_5_25", "data"),
        ("fan 4-way", "pump", "power"),
        ("fan 4-way", "pump_reservoir", "power"),
    ],
)
def test_plugs_go_into_their_sockets(form, host, port):
    world = placed(
        f"  host: {{model: {host}}}\n"
        f'  plug: {{model: plug, with: {{form: {form}}}, place: {{join: base, to: "host.{port}"}}}}\n'
    )
    (contact,) = world.contacts
    assert contact.zone is not None
    plug = world.by_name["plug"].shape.ports["base"]
    assert plug.depth <= contact.zone.depth + EXACT


def test_radiator_with_fans_sits_hole_on_hole():
    world = placed("  stack: {model: radiator_with_fans, with: {fans: 4, pull: fans}}\n")
    radiator = world.by_name["stack.radiator"]
    for k in range(1, 5):
        for fan, mine, theirs in (
            (world.by_name[f"stack.fan[{k}]"], "screws", "fan_screws"),
            (world.by_name[f"stack.pull_fan[{k}]"], "intake_screws", "back_screws"),
        ):
            for i, j in ((1, 1), (1, 2), (2, 1), (2, 2)):
                here = fan.pose.point(fan.shape.holes[f"{mine}[{i}][{j}]"].at)
                there = [radiator.pose.point(radiator.shape.holes[f"{theirs}[{k}][{a}][{b}]"].at)
                         for a in (1, 2) for b in (1, 2)]  # fmt: skip
                assert min(np.abs(here - point).max() for point in there) < 1e-9
    # Stack: 25 + 30 + 25 (fans, radiator, fans), four fans long.
    low = np.min([part.bounds[0] for part in world.parts], axis=0)
    high = np.max([part.bounds[1] for part in world.parts], axis=0)
    assert high[2] - low[2] == pytest.approx(80)


def test_fan_row_is_as_long_as_its_fans():
    world = placed("  row: {model: fan_row, with: {fans: 3, size: 140, gap: 4}}\n")
    low = np.min([part.bounds[0] for part in world.parts], axis=0)
    high = np.max([part.bounds[1] for part in world.parts], axis=0)
    # 3 x 140 + 2 x 4 = 428, in the middle.
    assert (low[0], high[0]) == pytest.approx((-214, 214))
