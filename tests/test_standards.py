"""The built-in models against published sizes and hole positions (`published.py` names each source)."""

import numpy as np
import published
import pytest
from shapes import bounds, shape, size

# Published coordinates have two decimals.
EXACT = 1e-6
FORMS = list(published.OUTLINES)


def hole_positions(form: str) -> dict[str, np.ndarray]:
    """Board holes by the standard's letter, from hole C in the model's own frame."""
    holes = shape("board", form=form).holes
    return {name.removeprefix("hole_"): hole.at for name, hole in holes.items() if name.startswith("hole_")}


@pytest.mark.parametrize("form", FORMS)
def test_board_outline(form):
    across, along, thick = size(shape("board", form=form), "pcb")
    assert (across, along) == pytest.approx(published.OUTLINES[form], abs=EXACT)
    assert thick == pytest.approx(published.BOARD_THICKNESS, abs=EXACT)


@pytest.mark.parametrize("form", FORMS)
def test_board_holes_seen_from_the_component_side(form):
    made = shape("board", form=form)
    (low_x, _, _), (_, rear_y, _) = bounds(made, "pcb")
    # The component side is up, so the viewer sees x to the right and y away from him: the standard's y, counted from
    # the rear edge down, is rear_y - y.
    seen = {letter: (at[0] - low_x, rear_y - at[1]) for letter, at in hole_positions(form).items()}
    assert seen == {
        letter: pytest.approx(place, abs=EXACT) for letter, place in published.BOARD_HOLES[form].items()
    }
    assert {hole.diameter for name, hole in made.holes.items() if name.startswith("hole_")} == {
        published.BOARD_HOLE_DIAMETER
    }


def turning(a, b, c) -> float:
    """Twice the signed area of a triangle in a plane with x right and y up: > 0 counter-clockwise."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


@pytest.mark.parametrize("form", FORMS)
def test_board_is_not_mirrored(form):
    drawn = published.BOARD_HOLES[form]
    held = hole_positions(form)
    # In the drawing y is down: its triangle C F J turns the other way round than its numbers say.
    published_turn = -turning(drawn["c"], drawn["f"], drawn["j"])
    assert turning(held["c"], held["f"], held["j"]) == pytest.approx(published_turn, abs=1e-3)
    # microATX 1.2, figure 2 (rear of the board at the top, component side): what ATX is wider lies to the LEFT.
    atx, micro = bounds(shape("board", form="atx"), "pcb"), bounds(shape("board", form="micro_atx"), "pcb")
    assert (atx[0][0] < micro[0][0], atx[1][0]) == (True, pytest.approx(micro[1][0], abs=EXACT))
    # Components on the side their holes are screwed from, slots left of the rear connectors.
    made = shape("board", form=form)
    assert bounds(made, "slot_body[1]")[0][2] == pytest.approx(0, abs=EXACT)
    assert bounds(made, "slot_body[1]")[1][0] < bounds(made, "rear_block")[0][0]


def test_rear_aperture():
    tray = shape("board_tray")
    aperture = tray.openings["aperture"]
    tall, wide = aperture.size
    assert (wide, tall) == (published.APERTURE["width"], published.APERTURE["height"])
    assert (aperture.at[0] - wide / 2, aperture.at[0] + wide / 2) == pytest.approx(
        published.APERTURE_FROM_HOLE_C, abs=0.001
    )
    board_top = published.BOARD_THICKNESS  # the tray counts from where the board rests
    lower, upper = aperture.at[2] - tall / 2, aperture.at[2] + tall / 2
    assert abs(board_top - lower) == pytest.approx(published.APERTURE["board_top_to_lower_edge"], abs=EXACT)
    # The standard gives that distance without a side; the zone of the connectors, which stand on the board, tells:
    # it must lie inside the aperture with room all round.
    zone = board_top + published.CONNECTOR_ZONE[1]
    assert lower < board_top
    assert upper - zone == pytest.approx(44.45 - 3.81 - 37.34, abs=EXACT)
    thick = size(tray, "rear_plate")[1]
    assert published.APERTURE_PANEL[0] <= thick <= published.APERTURE_PANEL[1]


@pytest.mark.parametrize("form", FORMS)
def test_rear_connectors_fill_their_zone(form):
    made = shape("board", form=form)
    low, high = bounds(made, "rear_block")
    assert (high[0] - low[0], high[2] - low[2]) == pytest.approx(published.CONNECTOR_ZONE, abs=EXACT)
    assert high[1] - made.holes["hole_c"].at[1] == pytest.approx(published.CONNECTOR_FACE, abs=EXACT)
    left, right = published.APERTURE_FROM_HOLE_C
    # 158.75 - 152.15 = 6.60: 3.30 at either side.
    assert (low[0] - left, right - high[0]) == pytest.approx((3.30, 3.30), abs=0.001)


def test_slots_and_card():
    made = shape("board")
    xs = [made.ports[f"slot[{k}]"].at[0] for k in range(1, 8)]
    assert np.diff(xs) == pytest.approx([-published.SLOT_PITCH] * 6, abs=EXACT)
    connector = published.SLOT_CONNECTOR
    assert size(made, "slot_body[1]") == pytest.approx(
        [connector["width"], connector["length"], connector["height"]], abs=EXACT
    )
    # A card stands 11.25 - 3.40 = 7.85 deep in its slot.
    stroke = connector["height"] - connector["card_seat"]
    card = shape("card")
    assert made.ports["slot[1]"].depth == card.ports["edge"].depth == pytest.approx(stroke, abs=EXACT)


def test_card_sizes():
    card = shape("card", length=published.CARD_FULL_LENGTH)
    low, high = bounds(card, "pcb", "tongue")
    assert high[2] - low[2] == pytest.approx(published.CARD_HEIGHT, abs=EXACT)
    bracket_low, bracket_high = bounds(card, "bracket")
    assert bracket_high[1] - low[1] == pytest.approx(published.CARD_FULL_LENGTH, abs=EXACT)
    assert size(card, "pcb")[0] == pytest.approx(published.CARD_THICKNESS, abs=EXACT)
    for slots in (1, 2, 3):
        # One pitch more for each further slot.
        wide, thick, tall = size(shape("card", slots=slots), "bracket")
        expected = published.BRACKET["width"] + (slots - 1) * published.SLOT_PITCH
        assert (wide, thick, tall) == pytest.approx(
            (expected, published.BRACKET["thickness"], published.BRACKET["height"]), abs=EXACT
        )
    assert card.holes["bracket_screw"].diameter == published.BRACKET["screw_slot"]
    # The tongue holds both sections and the key's gap between them.
    length = size(card, "tongue")[1]
    gap = length - published.TONGUE["long"] - published.TONGUE["short"]
    assert 1.5 < gap < 2.5


@pytest.mark.parametrize("name", list(published.DRIVES))
def test_drives(name):
    made, standard = shape(name), published.DRIVES[name]
    across, along, tall = size(made, "body")
    assert (across, along) == pytest.approx((standard["width"], standard["length"]), abs=EXACT)
    if "height" in standard:
        assert tall == pytest.approx(standard["height"], abs=EXACT)
    half = standard["width"] / 2
    side = {
        (x, y, z) for x in (-half, half) for y in standard["side_y"] for z in standard["side_z"]
    }  # fmt: skip
    below = {(x * standard["bottom_x"] / 2, y, 0.0) for x in (-1, 1) for y in standard["bottom_y"]}
    for prefix, expected in (("side", side), ("bottom", below)):
        found = {
            tuple(np.round(hole.at, 6))
            for key, hole in made.holes.items()
            if key.startswith(f"{prefix}_screws")
        }
        assert found == {tuple(np.round(point, 6)) for point in expected}
    outward = {np.sign(h.at[0]) * h.axis[0] for key, h in made.holes.items() if key.startswith("side")}
    assert outward == {1.0}


def test_2_5_heights_are_allowed():
    for height in published.DRIVE_2_5_HEIGHTS:
        assert size(shape("drive_2_5", height=height))[2] == pytest.approx(height)


def test_5_25_bezel():
    made = shape("drive_5_25")
    expected = (published.BEZEL["width"], published.BEZEL["depth"], published.BEZEL["height"])
    assert size(made, "bezel") == pytest.approx(expected, abs=EXACT)


def seen_from_outside(made, height: float, wide: float) -> set[tuple[float, float]]:
    """Screws of a rear face as (x, z) from its lower left corner, seen from behind: left is +x."""
    return {
        (round(wide / 2 - hole.at[0], 6), round(float(hole.at[2]), 6))
        for hole in made.holes.values()
        if hole.axis[1] == 1
    }


def test_atx_supply():
    made = shape("power_supply_atx")
    wide, tall, deep = published.SUPPLY_ATX
    assert size(made, "body") == pytest.approx((wide, deep, tall), abs=EXACT)
    assert seen_from_outside(made, tall, wide) == set(published.SUPPLY_ATX_SCREWS)
    low, high = bounds(made, "body")
    assert high[1] == 0
    intake = made.keep_clear["intake"].piece
    assert 2 * intake.half[2] == pytest.approx(published.SUPPLY_AIR, abs=EXACT)


def test_sfx_supply():
    wide, tall, deep = published.SUPPLY_SFX
    assert size(shape("power_supply_sfx"), "body") == pytest.approx((wide, deep, tall), abs=EXACT)


@pytest.mark.parametrize(("frame", "pitch"), published.TRADE_FAN_PITCH.items())
def test_fan_pitch(frame, pitch):
    holes = shape("fan", size=frame).holes
    assert len(holes) == 8
    across = holes["screws[2][1]"].at - holes["screws[1][1]"].at
    assert across == pytest.approx([pitch, 0, 0], abs=EXACT)
    assert holes["screws[1][2]"].at - holes["screws[1][1]"].at == pytest.approx([0, pitch, 0], abs=EXACT)


@pytest.mark.parametrize("name", ["radiator", "radiator_mount"])
def test_hole_row_of_three_120(name):
    holes = shape(name, fans=3, fan_size=120).holes
    xs = sorted(holes[f"fan_screws[{fan}][{i}][1]"].at[0] for fan in (1, 2, 3) for i in (1, 2))
    assert np.subtract(xs, xs[0]) == pytest.approx(published.TRADE_ROW_3_120, abs=EXACT)


def test_slots_of_a_rail_stand_at_the_same_row():
    slots = shape("radiator_rail", fans=3, fan_size=120).openings
    xs = sorted(slots[f"fan_slots[{fan}][{i}]"].at[0] for fan in (1, 2, 3) for i in (1, 2))
    assert np.subtract(xs, xs[0]) == pytest.approx(published.TRADE_ROW_3_120, abs=EXACT)


@pytest.mark.parametrize(
    ("name", "solids"),
    [
        ("straight_fitting", ["thread"]),
        ("angled_fitting", ["thread"]),
        ("drain", ["thread"]),
        ("nipple", ["near_thread", "far_thread"]),
    ],
)
def test_male_threads_have_the_major_diameter(name, solids):
    made = shape(name)
    for solid in solids:
        (piece,) = made.solids[solid].pieces
        assert 2 * piece.half[0] == pytest.approx(published.G1_4_MAJOR, abs=EXACT)
        # A thread holds by two pitches at least (shop rule, common practice).
        assert 2 * piece.half[2] > 2 * published.G1_4_PITCH


@pytest.mark.parametrize("thread", list(published.STUD_MAJOR))
def test_stand_off_threads(thread):
    made = shape("standoff", thread=thread)
    (stud,) = made.solids["stud"].pieces
    assert 2 * stud.half[0] == pytest.approx(published.STUD_MAJOR[thread], abs=EXACT)
    assert made.holes["tapped"].diameter == pytest.approx(published.TAP_DRILLS[thread], abs=EXACT)


# Where a screw goes through, by model, hole and the screw meant.
THROUGH = [
    ("floor_tower", "rear_fan_screws[1][1]", published.CLEARANCE["M4"]["medium"]),
    ("floor_tower", "supply_hole_a", published.CLEARANCE_NO_6),
    ("small_cube", "front_fan_screws[1][1]", published.CLEARANCE["M4"]["medium"]),
    ("small_cube", "supply_sfx[1][1]", published.CLEARANCE_NO_6),
    ("wall_cabinet", "roof_fan_screws[1][1][1]", published.CLEARANCE["M4"]["medium"]),
    ("flat_panel", "grid[1][1]", published.CLEARANCE["M4"]["medium"]),
    ("corner_bracket", "holes_y[1]", published.CLEARANCE["M4"]["medium"]),
    ("radiator_mount", "fan_screws[1][1][1]", published.CLEARANCE["M3"]["medium"]),
    ("radiator_mount", "corner_screws[1][1]", published.CLEARANCE["M4"]["medium"]),
    ("cooling_block", "screws[1][1]", published.CLEARANCE["M4"]["medium"]),
    ("drive_bay_column", "low_screws[1][1]", published.CLEARANCE_NO_6),
    ("drive_bay_column", "base_screws[1][1]", published.CLEARANCE["M4"]["medium"]),
]


@pytest.mark.parametrize(("name", "hole", "diameter"), THROUGH)
def test_clearance_holes(name, hole, diameter):
    assert shape(name).holes[hole].diameter == pytest.approx(diameter, abs=EXACT)


def test_tapped_holes_are_drilled_to_the_published_size():
    from fitcheck.scene.read import library

    seen = 0
    for name in library():
        for hole in shape(name).holes.values():
            if hole.thread == "6-32":
                low, high = published.MINOR_6_32
                assert low <= hole.diameter <= high, (name, hole.name)
            elif hole.thread:
                assert hole.diameter == pytest.approx(published.TAP_DRILLS[hole.thread]), (name, hole.name)
            seen += bool(hole.thread)
    assert seen > 50


def test_24_way_plug_and_its_socket():
    plug, board = shape("plug"), shape("board")
    # 4.2 x (24 / 2 - 1) + 5.4 = 51.6
    assert 4.2 * 11 + 5.4 == pytest.approx(published.TRADE_24_WAY)
    assert size(plug, "body")[0] == pytest.approx(published.TRADE_24_WAY)
    assert size(board, "main_header")[0] == pytest.approx(published.TRADE_24_WAY)
