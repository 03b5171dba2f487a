"""Uncertain angles against circles, corners and closed forms worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from tolerance_scenes import asked, found, of_range, placed, summary

from fitcheck.checks.demanded import demands_of
from fitcheck.finding import Verdict
from fitcheck.scene.general import plus_minus_angle
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.margins import margins
from fitcheck.tolerances.movement import movement

# Between a bound and what is met, mm: the check's own promise; and the engine's rounding.
TO, ROUNDING = 0.01, 1e-6


def reach(length: float, width: float, degrees: float) -> float:
    """How far along x a rectangle about the origin reaches when it is turned: |l cos| / 2 + |w sin| / 2."""
    turn = math.radians(degrees)
    return abs(length * math.cos(turn)) / 2 + abs(width * math.sin(turn)) / 2


def is_likely(told, exact):
    """Samples of one seed may lie off by chance: four standard deviations, 1 in 16,000."""
    return abs(told["share"] - exact) <= 4 * math.sqrt(exact * (1 - exact) / told["samples"])


# A block 40 x 20 turned about its middle beside a wall whose face is at x = 25.
BESIDE = """
parts:
  a: {{model: block, with: {{length: 40, width: 20}}, place: {{at: [0, 0, 0], turn: {turn}}}}}
  wall: {{model: block, with: {{length: 10, width: 100, height: 50}}, place: {{at: [{wall}, 0, 0]}}}}
rules: {{clearance: {{default: {demand}}}, tolerance: {{samples: 20000{more}}}}}
"""


@pytest.mark.parametrize(
    ("drawn", "by", "worst"),
    [
        (0, 2, 2),  # either way the same: a corner comes up, no end is worse than the other
        (10, 5, 15),
        (20, 10, math.degrees(math.atan(0.5))),  # the corner on its circle passes the wall at atan(20 / 40)
        (90, 3, 87),
        (-90, 3, -93),
    ],
)
def test_a_turned_block_comes_nearest_to_a_wall_on_the_circle_of_its_corner(tmp_path, drawn, by, worst):
    exact = 25 - reach(40, 20, worst)
    text = BESIDE.format(turn=f"{drawn} ± {by} deg", wall=30, demand=exact + 0.05, more="")
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.measured == pytest.approx(exact, abs=TO)
    assert exact - TO - ROUNDING <= finding.details["proved"] <= exact + ROUNDING
    assert "(a.place.turn " in finding.sentence
    assert " deg)" in finding.sentence


def test_angle_and_length_come_together(tmp_path):
    exact = 25 - 0.5 - reach(40, 20, 15)
    text = BESIDE.format(turn="10 ± 5 deg", wall="30 ± 0.5 mm", demand=exact + 0.05, more="")
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.details["proved"] == pytest.approx(exact, abs=TO + ROUNDING)
    assert finding.details["at"] == {"a.place.turn": 15.0, "wall.place.at.0": 29.5}
    assert "(a.place.turn 15 deg, wall.place.at.0 29.5 mm)" in finding.sentence


def test_a_length_moves_what_an_angle_turns(tmp_path):
    # A block on a turned arm, 100 ± 1 mm out along it: its far corner is at hypot(105 + 1, 10) from the pivot.
    text = """
parts:
  arm: {model: block, with: {length: 20, width: 20}, place: {at: [0, 0, 0], turn: 0 ± 3 deg}}
  a: {model: block, place: {of: arm, at: [100 ± 1 mm, 0, 0]}}
  wall: {model: block, with: {length: 10, width: 100}, place: {at: [112.5, 0, 0]}}
rules: {clearance: {default: 2}}
"""
    # The corner (106, 10) turned by 3 degrees towards y = 0 reaches 106 cos 3 + 10 sin 3.
    turn = math.radians(3)
    exact = 107.5 - 106 * math.cos(turn) - 10 * math.sin(turn)
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.details["proved"] == pytest.approx(exact, abs=TO + ROUNDING)
    assert finding.details["at"]["a.place.at.0"] == 101.0
    assert abs(finding.details["at"]["arm.place.turn"]) == 3.0


def test_a_bar_that_tips_over_a_plate(tmp_path):
    # A bar 100 long, 4 thick, its middle 8 above the plate: its lower end is at 8 - 50 sin t - 2 cos t.
    text = """
parts:
  plate: {model: block, with: {length: 200, width: 60}, place: {at: [0, 0, -10]}}
  bar: {model: rod, with: {diameter: 4, length: 100}, place: {at: [0, 0, 8], turns: [{about: y, by: 90 ± 2 deg}]}}
rules: {clearance: {default: 5}}
"""
    turn = math.radians(2)
    exact = 8 - 50 * math.sin(turn) - 2 * math.cos(turn)
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.measured == pytest.approx(exact, abs=TO)
    assert exact - TO - ROUNDING <= finding.details["proved"] <= exact + ROUNDING


def test_parts_on_one_turned_parent_do_not_move_against_each_other(tmp_path):
    text = """
parts:
  base: {model: block, with: {length: 200, width: 100}, place: {at: [0, 0, 0], turn: 30 ± 10 deg}}
  a: {model: block, place: {of: base, at: [0, 0, 12]}}
  b: {model: block, place: {of: base, at: [11, 0, 12]}}
  c: {model: block, place: {of: base, at: [22 ± 0.3 mm, 0, 12]}}
rules: {clearance: {default: 1}}
"""
    answer = asked(tmp_path, text)
    # a and b keep their 1 mm; c comes 0.3 mm nearer to b, whatever the angle is.
    finding = found(answer, "clearance")
    assert finding.parts == ("b", "c")
    assert finding.measured == pytest.approx(0.7, abs=1e-6)
    assert finding.details["proved"] == pytest.approx(0.7, abs=1e-6)
    assert finding.details["at"] == {"c.place.at.0": 21.7}


def test_a_turn_on_a_turn(tmp_path):
    # Both turn about the same axis: together 20 ± 3 degrees.
    text = """
parts:
  base: {model: block, with: {length: 10, width: 10}, place: {at: [0, 0, 0], turn: 15 ± 2 deg}}
  a: {model: block, with: {length: 40, width: 20}, place: {rest: base, on: base.top_face, centre: both, turn: 5 ± 1 deg}}
  wall: {model: block, with: {length: 10, width: 100, height: 50}, place: {at: [30, 0, 0]}}
rules: {clearance: {default: 2.75}}
"""
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.details["proved"] == pytest.approx(25 - reach(40, 20, 23), abs=TO + ROUNDING)
    assert finding.details["at"] == {"a.place.turn": 6.0, "base.place.turn": 17.0}


def test_one_angle_turns_parent_and_child(tmp_path):
    text = """
parameters: {tilt: 10 ± 2 deg}
parts:
  base: {model: block, with: {length: 10, width: 10}, place: {at: [0, 0, 0], turn: tilt}}
  a: {model: block, with: {length: 40, width: 20}, place: {rest: base, on: base.top_face, centre: both, turn: tilt / 2}}
  wall: {model: block, with: {length: 10, width: 100, height: 50}, place: {at: [30, 0, 0]}}
rules: {clearance: {default: 3}}
"""
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.details["proved"] == pytest.approx(25 - reach(40, 20, 18), abs=TO + ROUNDING)


def test_a_corner_keeps_its_ruler(tmp_path):
    # The left edge stays 5 mm inside the floor's whatever the turn: the far corner is at -30 + 5 + 2 reach.
    text = """
parts:
  ground: {model: block, with: {length: 60, width: 60}, place: {at: [0, 0, -10]}}
  a: {model: block, with: {length: 40, width: 20}, place: {rest: base, on: ground.top_face, left: 5, centre: across, turn: 0 ± 3 deg}}
  wall: {model: block, with: {length: 10, width: 100, height: 50}, place: {at: [25, 0, 0]}}
rules: {clearance: {default: 5}}
"""
    finding = found(asked(tmp_path, text), "clearance")
    exact = 20 - (-25 + 2 * reach(40, 20, 3))
    assert finding.details["proved"] == pytest.approx(exact, abs=TO + ROUNDING)


def test_a_part_turns_out_of_its_compartment(tmp_path):
    # 39.2 x 10 in a room 60 x 40: turned by 90 ± 10 degrees it reaches across (39.2 cos 10 + 10 sin 10) / 2.
    text = """
parts:
  case: {model: tray}
  a: {model: block, with: {length: 39.2, width: 10}, place: {rest: base, on: case.room.floor, centre: both, turn: 90 ± 10 deg}, inside: case.room}
"""
    finding = found(asked(tmp_path, text), "containment")
    worst = max(reach(39.2, 10, t) for t in np.linspace(0, 10, 10001))
    assert finding.measured == pytest.approx(20 - worst, abs=TO)
    # Of what sticks out by 0.17 mm also 5 % of that.
    assert (20 - worst) * 1.05 - TO - ROUNDING <= finding.details["proved"] <= 20 - worst + ROUNDING
    assert finding.sentence.startswith("a sticks ")


def test_probability_of_a_uniform_angle(tmp_path):
    text = BESIDE.format(turn="10 ± 5 deg", wall=30, demand=3.3, more="")
    limit = brentq(lambda t: 25 - reach(40, 20, t) - 3.3, 5, 15)
    assert is_likely(summary(asked(tmp_path, text)).details["probability"], (limit - 5) / 10)


def test_probability_of_a_normal_angle(tmp_path):
    text = BESIDE.format(turn="10 ± 5 deg", wall=30, demand=3.3, more=", sigmas: 2")
    limit = brentq(lambda t: 25 - reach(40, 20, t) - 3.3, 5, 15)
    exact = 0.5 * (1 + math.erf((limit - 10) / 2.5 / math.sqrt(2)))
    assert is_likely(summary(asked(tmp_path, text)).details["probability"], exact)


def test_spread_of_an_angle(tmp_path):
    # The corner's way along x for a degree: (20 sin t - 10 cos t) pi / 180, here for 10 ± 0.2.
    text = BESIDE.format(turn="10 ± 0.2 deg", wall=30, demand=3.56, more="")
    details = found(asked(tmp_path, text), "clearance").details
    slope = (20 * math.sin(math.radians(10)) - 10 * math.cos(math.radians(10))) * math.pi / 180
    assert details["linear"]
    assert details["sigma"] == pytest.approx(abs(slope) * 0.2 / math.sqrt(3), rel=1e-6)
    assert details["root_sum_square"] == pytest.approx(abs(slope) * 0.2, rel=1e-6)
    assert details["shares"] == {"a.place.turn": pytest.approx(1.0)}


def test_the_angle_helps_more_than_the_length(tmp_path):
    # Half of 5 degrees off takes reach(12.5) instead of reach(15), half of 0.1 mm takes 0.05.
    text = BESIDE.format(turn="10 ± 5 deg", wall="30 ± 0.1 mm", demand=3.2, more="")
    ranked = summary(asked(tmp_path, text)).details["ranking"]
    assert [one["name"] for one in ranked] == ["a.place.turn", "wall.place.at.0"]
    assert ranked[0]["gain"] == pytest.approx(reach(40, 20, 15) - reach(40, 20, 12.5), abs=2 * TO)
    assert ranked[1]["gain"] == pytest.approx(0.05, abs=2 * TO)


def test_a_range_of_angles_says_where_it_fits(tmp_path):
    text = BESIDE.format(turn="5 .. 30 deg", wall=30, demand=3.3, more="")
    below = brentq(lambda t: 25 - reach(40, 20, t) - 3.3, 5, 25)
    finding = of_range(asked(tmp_path, text), "a.place.turn")
    assert finding.sentence.startswith(
        f"a.place.turn (5 .. 30 deg, not measured yet) fits below {math.floor(below * 10) / 10} deg, fails above"
    )
    (fits,) = finding.details["fits"]
    assert fits["to"] == pytest.approx(below, abs=0.01)


def test_a_range_fits_on_both_sides_of_where_it_does_not(tmp_path):
    text = BESIDE.format(turn="5 .. 60 deg", wall=30, demand=3.3, more="")
    below = brentq(lambda t: 25 - reach(40, 20, t) - 3.3, 5, 25)
    above = brentq(lambda t: 25 - reach(40, 20, t) - 3.3, 30, 60)
    finding = of_range(asked(tmp_path, text), "a.place.turn")
    assert [one for fits in finding.details["fits"] for one in (fits["from"], fits["to"])] == pytest.approx(
        [5, below, above, 60], abs=0.01
    )


# --- what does more than turn parts, or is written wrong ---


def test_an_angle_that_changes_a_size_is_tried(tmp_path):
    text = """
parameters: {tilt: 30 ± 2 deg}
parts:
  a: {model: block, with: {length: 40 mm * cos(tilt)}}
  b: {model: block, place: {at: [22.5, 0, 0]}}
"""
    answer = asked(tmp_path, text)
    # 40 cos 28 = 35.318: half of it reaches 17.659, the other block begins at 17.5.
    (finding,) = answer.findings
    assert finding.sentence.startswith("with tilt 28 deg a.body and b.body overlap 0.2 mm deep")
    assert answer.not_checked == (
        "tilt 30 ± 2 deg was taken at 30 deg; it does more than turn parts: its ends were tried alone, "
        "the worst is not proved",
    )


def test_an_edge_that_two_angles_turn_is_tried(tmp_path):
    # Which corner of a is the leftmost changes where the sum of both angles does its sign: no kink of one alone.
    text = """
parts:
  base: {model: block, with: {length: 60, width: 40}, place: {at: [0, 0, -10], turn: 0 ± 1 deg}}
  a: {model: block, place: {rest: base, on: base.top_face, left: 3, front: 2, turn: 0 ± 1 deg}}
"""
    lines = asked(tmp_path, text).not_checked
    assert sum("it does more than turn parts" in line for line in lines) == 2


def test_solids_turned_inside_a_model(tmp_path):
    models = tmp_path / "own"
    models.mkdir()
    (models / "lever.yaml").write_text(
        """model: lever
summary: a lever on its axle
frame: origin on the axle
parameters:
  set: {type: angle, default: 0, meaning: from the left to the rear}
solids:
  arm: {box: {low: [-20, -10, 0], high: [20, 10, 10]}, turn: {about: z, by: set}}
"""
    )
    text = """
parts:
  a: {model: lever, with: {set: 10 ± 5 deg}}
  wall: {model: block, with: {length: 10, width: 100, height: 50}, place: {at: [30, 0, 0]}}
rules: {clearance: {default: 3.2}}
"""
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.details["proved"] == pytest.approx(25 - reach(40, 20, 15), abs=TO + ROUNDING)
    assert finding.details["at"] == {"a.set": 15.0}


@pytest.mark.parametrize(
    ("turn", "said"),
    [
        ("30 ± 1 mm", "2:56: turn: a length stands where an angle is due"),
        ("30 deg ± 1 mm", "lengths and angles in one uncertain value"),
        ("40 .. 20 deg", "the range runs down from 40 to 20 deg"),
    ],
)
def test_wrong_angles_are_said(tmp_path, turn, said):
    with pytest.raises(Mistakes) as wrong:
        placed(tmp_path, f"parts: {{a: {{model: block, place: {{at: [0, 0, 0], turn: {turn}}}}}}}\n")
    (one,) = wrong.value.items
    assert said in str(one)


def test_an_angle_is_no_length(tmp_path):
    with pytest.raises(Mistakes) as wrong:
        placed(tmp_path, "parts: {a: {model: block, with: {length: 30 ± 1 deg}}}\n")
    (one,) = wrong.value.items
    assert "an angle stands where a length is due" in str(one)


def test_measurements_say_their_unit(tmp_path):
    world = placed(tmp_path, BESIDE.format(turn="10 ± 5", wall="30 ± 0.1 mm", demand=1, more=""))
    assert [(one.name, one.unit) for one in world.uncertain] == [
        ("a.place.turn", "deg"),
        ("wall.place.at.0", "mm"),
    ]
    move = movement(world)
    assert move is not None
    assert move.angles == {"a.place.turn"}


def test_what_fits_with_every_angle(tmp_path):
    answer = asked(tmp_path, BESIDE.format(turn="10 ± 5 deg", wall=30, demand=2, more=""))
    (finding,) = answer.findings
    assert finding.verdict == Verdict.FITS
    assert "a.place.turn 10 ± 5 deg" in finding.sentence
    assert finding.measured == pytest.approx(25 - reach(40, 20, 15) - 2, abs=TO + ROUNDING)


# --- general tolerances ---

# ISO 2768-1:1989 table 3, from memory (the reference file has it as `memory`, confirmed by nothing): upper end of the
# shorter leg, mm, and degrees and minutes of f and m, c, v.
ROWS = [
    (10, (1, 0), (1, 30), (3, 0)),
    (50, (0, 30), (1, 0), (2, 0)),
    (120, (0, 20), (0, 30), (1, 0)),
    (400, (0, 10), (0, 15), (0, 30)),
    (math.inf, (0, 5), (0, 10), (0, 20)),
]


@pytest.mark.parametrize("grade", "fmcv")
def test_general_tolerances_of_angles(grade):
    start = 0
    for end, *columns in ROWS:
        degrees, minutes = columns[{"f": 0, "m": 0, "c": 1, "v": 2}[grade]]
        inside = start + 1 if math.isinf(end) else (start + end) / 2
        for leg in (inside, end):
            if not math.isinf(leg):
                assert plus_minus_angle(grade, 30, leg) == pytest.approx(degrees + minutes / 60)
                assert plus_minus_angle(grade, -137.5, leg) == pytest.approx(degrees + minutes / 60)
        start = end


@pytest.mark.parametrize("quarter", [0, 90, -90, 180, 270, 360])
def test_a_quarter_turn_chooses_a_face(quarter):
    assert plus_minus_angle("m", quarter, 30) is None


GENERAL = """
parameters: {{tilt: 30 deg, sure: 30 ± 0.2 deg}}
parts:
  base: {{model: block, with: {{length: 300, width: 40}}, place: {{at: [0, 0, 0]}}}}
  a: {{model: block, with: {{length: 20, width: 80}}, place: {place}}}
rules: {{tolerance: {{general: {grade}{of}}}}}
"""


@pytest.mark.parametrize(
    ("place", "grade", "name", "minutes"),
    [
        ("{at: [0, 0, 20], turn: 30}", "m", "a.place.turn", 20),  # 80 across z
        ("{at: [0, 0, 20], turn: -30 deg}", "v", "a.place.turn", 60),
        ("{at: [0, 0, 20], turn: tilt}", "m", "a.place.turn", 20),
        ("{at: [0, 0, 20], turns: [{about: y, by: 30}]}", "m", "a.place.turns.0.by", 30),  # 20 x 10 across y
        # Upright first: across x then lies what was across z, 20 x 80.
        ("{at: [0, 0, 20], turns: [{about: y, by: 90}, {about: x, by: 30}]}", "c", "a.place.turns.1.by", 30),
        ("{rest: base, on: base.top_face, centre: both, turn: 30}", "m", "a.place.turn", 20),  # 80 on 300
        (
            "{rest: base, on: base.top_face, centre: both, lean: {to: right, by: 5}}",
            "m",
            "a.place.lean.by",
            30,
        ),
        (
            "{of: base, at: [0, 0, 12], turns: [{about: x, by: 5}]}",
            "m",
            "a.place.turns.0.by",
            30,
        ),  # 40 of the base
    ],
)
def test_an_angle_takes_its_general_tolerance_by_the_shorter_leg(tmp_path, place, grade, name, minutes):
    world = placed(tmp_path, GENERAL.format(place=place, grade=grade, of=""))
    (one,) = (one for one in world.uncertain if one.angle and one.name != "sure")
    assert (one.name, one.general) == (name, True)
    assert one.high - one.nominal == pytest.approx(minutes / 60)
    assert one.nominal - one.low == pytest.approx(minutes / 60)


@pytest.mark.parametrize(
    "place",
    [
        "{at: [0, 0, 20], turn: 90}",
        "{at: [0, 0, 20], turn: tilt * 2}",
        "{at: [0, 0, 20], turn: sure}",
        "{at: [0, 0, 20], turn: 30 ± 0.1 deg}",
    ],
)
def test_a_quarter_turn_a_sum_and_a_written_tolerance_take_none(tmp_path, place):
    world = placed(tmp_path, GENERAL.format(place=place, grade="m", of=""))
    assert [one.name for one in world.uncertain if one.angle and one.general] == []


def test_a_general_tolerance_of_some_parts_only(tmp_path):
    turned = "{at: [0, 0, 20], turn: 30}"
    for of, names in ((", of: [a]", ["a.place.turn"]), (", of: [base]", [])):
        world = placed(tmp_path, GENERAL.format(place=turned, grade="m", of=of))
        assert [one.name for one in world.uncertain if one.angle and one.general] == names


def test_worst_case_with_a_general_angle(tmp_path):
    # Its longer side is 40: 30 minutes of class m.
    text = BESIDE.format(turn="10", wall=30, demand=3.4, more=", general: m, of: [a]")
    finding = found(asked(tmp_path, text), "clearance")
    assert finding.details["at"]["a.place.turn"] == pytest.approx(10.5)
    # Both sizes are off by the lengths' own class: 40 ± 0.3 and 20 ± 0.2.
    assert finding.details["proved"] == pytest.approx(25 - reach(40.3, 20.2, 10.5), abs=TO + ROUNDING)


# --- rooms and gaps ---

ROOM = """
parts:
  a: {{model: block}}
  drain: {{model: block, with: {{width: 10}}, place: {{rest: base, on: a.top_face, centre: both}}}}
  wall: {{model: block, with: {{length: 10, width: 100, height: 50}}, place: {{at: [60, 0, 0], turn: {turn}}}}}
rules: {rules}
"""


@pytest.mark.parametrize(
    ("rules", "check", "least"),
    [
        # Bounds count: the wall's turned by 2 degrees begin at 60 - 5 cos 2 - 50 sin 2, the block ends at 5.
        ("{room: [{for: drain, side: right, of: a, at_least: 49}]}", "room", None),
        ("{gaps: [{part: a, side: right, at_least: 49}]}", "gaps", None),
    ],
)
def test_a_wall_that_turns_shortens_what_is_in_front_of_it(tmp_path, rules, check, least):
    text = ROOM.format(turn="0 ± 2 deg", rules=rules)
    world = placed(tmp_path, text)
    move = movement(world)
    assert move is not None
    (margin,) = (one for one in margins(move, demands_of(move), anew=True) if one.demand.check == check)
    bound = 60 - reach(10, 100, 2) - 5
    assert margin.bound == pytest.approx(bound, abs=TO + ROUNDING)
    # What the check itself measures is the way of the silhouette to the wall, never less than that of the bounds.
    asked_there = [margin.demand.ask(world.elsewhere({"wall.place.turn": t})) for t in np.linspace(-2, 2, 41)]
    assert min(asked_there) >= margin.bound - ROUNDING
    assert margin.met >= min(asked_there) - TO


def test_a_part_that_turns_reaches_farther(tmp_path):
    text = """
parts:
  a: {model: block, with: {length: 40, width: 20}, place: {at: [0, 0, 0], turn: 10 ± 5 deg}}
  wall: {model: block, with: {length: 10, width: 100, height: 50}, place: {at: [30 ± 0.2 mm, 0, 0]}}
rules: {gaps: [{part: a, side: right, at_least: 3}]}
"""
    finding = found(asked(tmp_path, text), "gaps")
    exact = 24.8 - reach(40, 20, 15)
    assert finding.measured == pytest.approx(exact, abs=TO)
    assert finding.details["proved"] == pytest.approx(exact, abs=TO + ROUNDING)
    assert finding.details["at"] == {"a.place.turn": 15.0, "wall.place.at.0": 29.8}


def test_a_mesh_that_turns_keeps_its_shape(tmp_path):
    # Tipped about y by t its foremost edge (20, 0) comes to 20 cos t along x.
    text = """
parts:
  a: {model: wedge, place: {at: [0, 0, 0], turns: [{about: y, by: 30 ± 10 deg}]}}
  wall: {model: block, with: {length: 10, width: 100, height: 200}, place: {at: [30, 0, -100]}}
rules: {clearance: {default: 6.5}}
"""
    finding = found(asked(tmp_path, text), "clearance")
    exact = 25 - 20 * math.cos(math.radians(20))
    assert finding.measured == pytest.approx(exact, abs=TO)
    assert exact - TO - ROUNDING <= finding.details["proved"] <= exact + ROUNDING


def test_a_keep_clear_volume_that_turns(tmp_path):
    models = tmp_path / "own"
    models.mkdir()
    (models / "knob.yaml").write_text(
        """model: knob
summary: a knob with room for a hand
frame: origin on the axle
parameters: {}
solids:
  body: {box: {low: [-5, -5, 0], high: [5, 5, 10]}}
keep_clear:
  hand: {box: {low: [-20, -10, 10], high: [20, 10, 40]}, why: room to turn it}
"""
    )
    text = """
parts:
  a: {model: knob, place: {at: [0, 0, 0], turn: 10 ± 5 deg}}
  wall: {model: block, with: {length: 10, width: 100, height: 50}, place: {at: [26.5, 0, 0]}}
"""
    finding = found(asked(tmp_path, text), "keep_clear")
    exact = 21.5 - reach(40, 20, 15)
    assert finding.measured == pytest.approx(exact, abs=TO)
    assert exact * 1.05 - TO - ROUNDING <= finding.details["proved"] <= exact + ROUNDING
