"""Worst cases, spreads and probabilities against stacks and closed forms worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tolerance_scenes import asked, found, of_range, placed, summary

import fitcheck
from fitcheck.checks.tolerance import check_tolerance
from fitcheck.finding import Verdict
from fitcheck.scene.general import plus_minus
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.likely import wilson
from fitcheck.world.world import Measurement, World

# A gap above a stack: own numbers; 62 - 27 - 25 - 2 = 8, worst case 0.3 + 0.2 + 0.2 + 0.1 = 0.8, root of the sum of squares
# sqrt(0.09 + 0.04 + 0.04 + 0.01) = sqrt(0.18). Status: own example.
GAP, WORST, RSS = 8.0, 0.8, math.sqrt(0.18)
STACK = """
parameters: {{roof_height: 62 ± 0.3 mm, radiator: 27 ± 0.2 mm, fan: 25 ± 0.2 mm, pad: 2 ± 0.1 mm}}
parts:
  low: {{model: block, with: {{height: radiator}}}}
  middle: {{model: block, with: {{height: fan}}, place: {{rest: base, on: low.top_face, centre: both}}}}
  high: {{model: block, with: {{height: pad}}, place: {{rest: base, on: middle.top_face, centre: both}}}}
  roof: {{model: block, place: {{at: [0, 0, roof_height]}}}}
rules:
  clearance: {{pairs: [{{between: high, and: roof, at_least: {demand}}}]}}
  {tolerance}
"""

# Centres 12 mm apart, both 10 ± 0.1 mm wide: each width takes half of its deviation from the gap of 2 mm. Worst case
# 2 - 0.1 = 1.9; uniform widths have 0.1 / sqrt 3 each, the gap 0.1 / sqrt 6 = 0.0408.
TWO = """
parameters: {{one: 10 ± 0.1 mm, other: 10 ± 0.1 mm}}
parts:
  a: {{model: block, with: {{length: one}}}}
  b: {{model: block, with: {{length: other}}, place: {{at: [12, 0, 0]}}}}
rules: {{clearance: {{default: {demand}}}, tolerance: {{samples: 20000}}}}
"""


def is_likely(told, exact):
    """Samples of one seed may lie off by chance: four standard deviations, 1 in 16,000."""
    return abs(told["share"] - exact) <= 4 * math.sqrt(exact * (1 - exact) / told["samples"])


def test_worst_case_of_a_stack(tmp_path):
    finding = found(asked(tmp_path, STACK.format(demand=7.5, tolerance="")), "clearance")
    assert finding.verdict == Verdict.TIGHT
    assert finding.measured == pytest.approx(GAP - WORST, abs=1e-9)
    assert finding.details["proved"] == pytest.approx(GAP - WORST, abs=1e-9)
    assert finding.details["at"] == {"fan": 25.2, "pad": 2.1, "radiator": 27.2, "roof_height": 61.7}
    assert finding.sentence == (
        "high.body and roof.body are 7.2 mm apart at the worst end (fan 25.2 mm, pad 2.1 mm, radiator 27.2 mm, "
        "roof_height 61.7 mm), 7.5 mm are demanded; as drawn they are 8.0 mm apart"
    )


def test_the_best_end_is_the_other_side_of_the_stack(tmp_path):
    # Turned upside down the same stack is a gap that is too small by what it was too large: 8.8 at the most.
    text = STACK.format(demand=7.5, tolerance="").replace("[0, 0, roof_height]", "[0, 0, 124 - roof_height]")
    text = text.replace("height: radiator", "height: 54 - radiator").replace(
        "height: fan", "height: 50 - fan"
    )
    finding = found(asked(tmp_path, text.replace("height: pad", "height: 4 - pad")), "clearance")
    assert finding.measured == pytest.approx(GAP - WORST, abs=1e-9)
    assert finding.details["at"] == {"fan": 24.8, "pad": 1.9, "radiator": 26.8, "roof_height": 62.3}


@pytest.mark.parametrize(
    ("tolerance", "sigma"),
    [
        ("", math.sqrt(0.18 / 3)),  # uniform: tolerance / sqrt 3, 0.244949
        ("tolerance: {sigmas: 3}", math.sqrt(0.18) / 3),  # 0.141421
    ],
)
def test_spread_of_a_stack(tmp_path, tolerance, sigma):
    details = found(asked(tmp_path, STACK.format(demand=7.5, tolerance=tolerance)), "clearance").details
    assert details["linear"]
    assert details["sigma"] == pytest.approx(sigma, abs=1e-9)
    assert details["root_sum_square"] == pytest.approx(RSS, abs=1e-9)
    assert details["statistical_margin"] == pytest.approx(GAP - 3 * sigma - 7.5, abs=1e-9)
    shares = {"roof_height": 0.5, "radiator": 2 / 9, "fan": 2 / 9, "pad": 1 / 18}
    assert details["shares"] == pytest.approx(shares)


def test_the_longest_tolerance_of_a_stack_helps_most(tmp_path):
    ranked = summary(asked(tmp_path, STACK.format(demand=7.5, tolerance=""))).details["ranking"]
    assert [one["name"] for one in ranked] == ["roof_height", "fan", "radiator", "pad"]
    assert [one["gain"] for one in ranked] == pytest.approx([0.15, 0.1, 0.1, 0.05])


def test_two_boxes(tmp_path):
    finding = found(asked(tmp_path, TWO.format(demand=2)), "clearance")
    assert finding.measured == pytest.approx(1.9, abs=1e-9)
    assert finding.details["sigma"] == pytest.approx(0.1 / math.sqrt(6), abs=1e-9)


@pytest.mark.parametrize("short", [0.02, 0.05, 0.08])
def test_probability_of_two_uniform_lengths(tmp_path, short):
    # The gap is 2 - (u + v) / 2 with u, v uniform within ± 0.1: a triangle. It is at least 2 - short when the sum is at
    # most 2 short: 1 - (0.2 - 2 short)^2 / (2 * 0.2^2).
    answer = asked(tmp_path, TWO.format(demand=2 - short))
    exact = 1 - (0.2 - 2 * short) ** 2 / (2 * 0.2**2)
    told = summary(answer).details["probability"]
    assert is_likely(told, exact)
    assert told["high"] - told["low"] < 0.015


def test_intervals_hold_the_true_share_as_often_as_they_say():
    # Shares of 1,000 samples, binomial: at 95 % some 5 % of 2,000 intervals miss, 4.3 standard deviations are 2.1 %.
    random = np.random.default_rng(7)
    for share in (0.03, 0.5, 0.9):
        ends = np.array([wilson(int(hits), 1000) for hits in random.binomial(1000, share, 2000)])
        missed = np.mean((ends[:, 0] > share) | (ends[:, 1] < share))
        assert 0.029 < missed < 0.071


def test_a_uniform_length_fits_by_its_share(tmp_path):
    text = """
parameters: {place: 12 ± 0.5 mm}
parts: {a: {model: block}, b: {model: block, place: {at: [place, 0, 0]}}}
rules: {clearance: {default: 1.8}, tolerance: {samples: 20000}}
"""
    told = summary(asked(tmp_path, text)).details["probability"]
    assert is_likely(told, 0.7)  # from 1.8 to 2.5 of 1.5 to 2.5


def test_a_normal_length_fits_by_its_distribution(tmp_path):
    text = """
parameters: {place: 12 ± 0.6 mm}
parts: {a: {model: block}, b: {model: block, place: {at: [place, 0, 0]}}}
rules: {clearance: {default: 1.8}, tolerance: {samples: 20000, sigmas: 2}}
"""
    told = summary(asked(tmp_path, text)).details["probability"]
    exact = 0.5 * (1 + math.erf(0.2 / 0.3 / math.sqrt(2)))  # sigma 0.3; 1.8 lies 0.2 below the middle
    assert is_likely(told, exact)


def test_one_measurement_moves_all_its_parts_together(tmp_path):
    text = """
parameters: {place: 12 ± 3 mm}
parts: {a: {model: block, place: {at: [place, 0, 0]}}, b: {model: block, place: {at: [place + 12, 0, 0]}}}
rules: {clearance: {default: 2}}
"""
    answer = asked(tmp_path, text)
    assert [f.verdict for f in answer.findings] == [Verdict.FITS]


def test_what_fits_at_the_worst_end_needs_no_samples(tmp_path):
    told = summary(asked(tmp_path, TWO.format(demand=1.9)))
    assert told.verdict == Verdict.FITS
    assert told.details["probability"] == {"share": 1.0, "low": 1.0, "high": 1.0, "samples": 0}


RANGE = """
parameters: {{tall: 30 .. 45 mm{more}}}
parts: {{a: {{model: block, with: {{height: tall}}}}, roof: {{model: block, place: {{at: [0, 0, {roof}]}}}}}}
"""


@pytest.mark.parametrize(
    ("roof", "said"),
    [
        ("31.4", "fits below 31.4 mm, fails above"),
        ("46", "fits at every value"),
        ("29", "fails at every value"),
    ],
)
def test_a_range_says_up_to_where_it_fits(tmp_path, roof, said):
    finding = of_range(asked(tmp_path, RANGE.format(more="", roof=roof)), "tall")
    assert finding.sentence.startswith(f"tall (30 .. 45 mm, not measured yet) {said}")


def test_a_range_also_holds_at_the_worst_end_of_the_others(tmp_path):
    finding = of_range(asked(tmp_path, RANGE.format(more=", roof_at: 31.4 ± 0.5 mm", roof="roof_at")), "tall")
    assert (
        "fits below 31.4 mm, fails above; at the worst end of the others it fits below 30.9 mm"
        in finding.sentence
    )
    (drawn,), (worst,) = finding.details["fits"], finding.details["fits_at_worst"]
    # A contact of 0.01 mm is none.
    assert drawn["to"] == pytest.approx(31.41, abs=0.003)
    assert worst["to"] == pytest.approx(30.91, abs=0.003)


def test_a_range_between_two_others_fits_in_the_middle(tmp_path):
    text = """
parameters: {slid: 0 .. 40 mm}
parts:
  a: {model: block, place: {at: [slid, 0, 0]}}
  near: {model: block, place: {at: [0, 0, 0]}}
  far: {model: block, place: {at: [40, 0, 0]}}
rules: {clearance: {default: 3}}
"""
    finding = of_range(asked(tmp_path, text), "slid")
    assert "fits from 13.0 mm to 27.0 mm, fails elsewhere" in finding.sentence


def test_a_range_that_changes_a_mesh_is_decided(tmp_path):
    text = """
parameters: {{slope: 15 .. 25 mm}}
parts: {{a: {{model: wedge, with: {{length: slope}}}}, b: {{model: block, place: {{at: [{at}, 0, 0]}}}}}}
"""
    assert of_range(asked(tmp_path, text.format(at=31)), "slope").verdict == Verdict.FITS
    finding = of_range(asked(tmp_path, text.format(at=26)), "slope")
    assert "fits below 21.0 mm, fails above (a.body and b.body)" in finding.sentence
    # A plate with a hole: half of its length reaches the block at 33 - 5 = 28.
    plate = text.replace("15 .. 25", "40 .. 60").replace("wedge", "plate")
    finding = of_range(asked(tmp_path, plate.format(at=33)), "slope")
    (fits,) = finding.details["fits"]
    assert fits["from"] == 40
    assert fits["to"] == pytest.approx(56, abs=0.03)


def test_verdict_of_the_whole_scene(tmp_path):
    world = placed(tmp_path, TWO.format(demand=2))
    report = fitcheck.check_world(world, facts=False)
    assert report.verdict == Verdict.TIGHT
    assert not [line for line in report.not_checked if "worst end" in line]


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (Measurement("core", 53.5, 54.0, 54.5), "core 54 ± 0.5 mm"),
        (Measurement("core", 53.8, 54.0, 55.0), "core 54 +1/-0.2 mm"),
        (Measurement("core", 30.0, 45.0, 45.0, measured=False), "core 30 .. 45 mm"),
        (Measurement("core", 0.0, 146.0, 146.0, measured=False), "core at most 146 mm"),
    ],
)
def test_what_cannot_be_followed_is_said(one, said):
    (line,) = check_tolerance(World("t", (), uncertain=(one,))).not_checked
    assert line == f"{said} was taken at {one.nominal:g} mm; the worst end was not examined"


def test_an_end_that_nobody_knows_is_said():
    one = Measurement("core", 146.0, 146.0, np.inf, measured=False)
    (line,) = check_tolerance(World("t", (), uncertain=(one,))).not_checked
    assert line == "core at least 146 mm was taken at 146 mm; it has no upper end that could be examined"


BENT = """
parameters: {{wide: 10 ± {by} mm}}
parts:
  a: {{model: block, with: {{length: wide * wide / 10 mm}}}}
  b: {{model: block, place: {{at: [11, 0, 0]}}}}
"""


def test_what_is_not_linear_is_tried_at_its_ends(tmp_path):
    # 11 * 11 / 10 = 12.1: half of it reaches 6.05, the other block begins at 6.
    answer = asked(tmp_path, BENT.format(by=1))
    (finding,) = answer.findings
    assert (finding.verdict, finding.parts) == (Verdict.TIGHT, ("a", "b"))
    assert finding.sentence.startswith("with wide 11 mm a.body and b.body overlap 0.1 mm deep")
    assert finding.measured == pytest.approx(0.05)
    assert answer.not_checked == (
        "wide 10 ± 1 mm was taken at 10 mm; what follows it is not linear: its ends were tried alone, "
        "the worst is not proved",
    )
    assert asked(tmp_path, BENT.format(by=0.5)).findings == ()


def test_parts_that_come_and_go_are_tried_at_the_ends(tmp_path):
    text = """
parameters: {wide: 19 ± 2 mm}
parts:
  a: {repeat: {i: floor(wide / 10 mm)}, model: block, place: {at: [i * 20, 0, 0]}}
  b: {model: block, place: {at: [45, 0, 0]}}
"""
    (finding,) = asked(tmp_path, text).findings
    assert finding.parts == ("a[2]", "b")
    assert finding.sentence.startswith("with wide 21 mm a[2].body and b.body overlap 5.0 mm deep")


def test_an_end_that_cannot_be_built_is_said(tmp_path):
    text = """
parameters: {wide: {value: 10 ± 1 mm, range: [8 mm, 10.5 mm]}}
parts: {a: {model: block, with: {length: wide}}}
"""
    (line,) = asked(tmp_path, text).not_checked
    assert "the scene cannot be built with another" in line
    assert "is above 10.5 mm, the end of its range" in line


def test_a_demand_that_follows_the_measurement_is_asked_anew(tmp_path):
    text = """
parameters: {wide: 10 ± 1 mm}
parts: {a: {model: block, with: {length: wide}}, b: {model: block, place: {at: [14, 0, 0]}}}
rules: {clearance: {default: wide - 7 mm}}
"""
    # 4 mm apart as drawn and 3 demanded; at 11 mm 3.5 apart and 4 demanded.
    (finding,) = asked(tmp_path, text).findings
    assert finding.sentence == "with wide 11 mm a.body and b.body are 3.5 mm apart, 4.0 mm are demanded"


GENERAL = """
parameters: {{place: {place}, count: 3}}
parts:
  a: {{model: block, with: {{length: 40, height: 20}}}}
  b: {{model: block, with: {{length: 40.5}}, place: {{at: [place, 0, 0]}}}}
rules: {{tolerance: {{general: {grade}{of}}}}}
"""


@pytest.mark.parametrize(
    ("grade", "place", "of", "off"),
    [
        ("m", "41", "", {"a.length": 0.3, "a.height": 0.2, "b.length": 0.3}),  # a bare parameter has no kind
        ("m", "41 mm", "", {"place": 0.3, "a.length": 0.3, "a.height": 0.2, "b.length": 0.3}),
        ("c", "41 mm", ", of: [a]", {"a.length": 0.8, "a.height": 0.5}),
        ("m", "41 ± 0.05 mm", "", {"place": 0.05, "a.length": 0.3, "a.height": 0.2, "b.length": 0.3}),
    ],
)
def test_general_tolerances_are_taken_by_class(tmp_path, grade, place, of, off):
    world = placed(tmp_path, GENERAL.format(grade=grade, place=place, of=of))
    assert {m.name: pytest.approx(m.high - m.nominal) for m in world.uncertain} == off


def test_worst_case_with_general_tolerances(tmp_path):
    finding = found(asked(tmp_path, GENERAL.format(grade="m", place="40.5 mm", of="")), "interference")
    # 40.5 - 20 - 20.25 = 0.25, less 0.3 of the place and half of 0.3 for each width.
    assert finding.measured == pytest.approx(0.25 - 0.3 - 0.15 - 0.15)


# ISO 2768-1:1989 table 1; status published, seen in secondary sources only: middle and upper end of each range, plus and minus.
ROWS = {
    "f": (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, None),
    "m": (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0),
    "c": (0.2, 0.3, 0.5, 0.8, 1.2, 2.0, 3.0, 4.0),
    "v": (None, 0.5, 1.0, 1.5, 2.5, 4.0, 6.0, 8.0),
}


@pytest.mark.parametrize("grade", ROWS)
def test_general_tolerances_of_the_table(grade):
    ends = (3, 6, 30, 120, 400, 1000, 2000, 4000)
    for low, high, off in zip((0.5, *ends), ends, ROWS[grade], strict=False):
        assert plus_minus(grade, (low + high) / 2) == off
        assert plus_minus(grade, high) == off
        assert plus_minus(grade, -high) == off
    assert plus_minus(grade, 0.5) == ROWS[grade][0]
    assert plus_minus(grade, 0.4) is None
    assert plus_minus(grade, 4001) is None


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (
            "{genral: m}",
            "3:21: genral: unknown key; allowed here: general, of, sigmas, tried, samples; write general",
        ),
        ("{general: x}", "3:30: general: expected f, m, c or v, found `x`"),
        ("{sigmas: many}", "3:29: sigmas: there is no `many` here"),
        ("{sigmas: 0}", "3:29: sigmas: 0 is not from 0.5 to 10: half a tolerance in sigmas; write 3"),
        ("{samples: 5}", "3:30: samples: 5 is not from 100 to 200,000; write 2000"),
        (
            "{of: [a]}",
            "3:25: of: says whose lengths take a general tolerance, but no class is given; add general: m",
        ),
        ("{general: m, of: [b]}", "3:38: of: there is no part `b` (there are a, a.body)"),
    ],
)
def test_wrong_rules_are_said(tmp_path, rule, said):
    with pytest.raises(Mistakes) as wrong:
        placed(tmp_path, f"parts: {{a: {{model: block}}}}\nrules: {{tolerance: {rule}}}\n")
    (one,) = wrong.value.items
    assert str(one) == f"{tmp_path}/scene.yaml:{said}"


def test_no_uncertain_length_asks_nothing(tmp_path):
    answer = asked(tmp_path, "parts: {a: {model: block}, b: {model: block, place: {at: [12, 0, 0]}}}\n")
    assert (answer.findings, answer.facts, answer.not_checked) == ((), {}, ())


def test_what_fails_as_drawn_leads(tmp_path):
    report = fitcheck.check_world(placed(tmp_path, TWO.format(demand=2.05)), facts=False)
    first, second = report.findings
    assert (first.check, first.verdict) == ("clearance", Verdict.FAILS)
    assert (second.check, second.verdict, second.follows) == ("tolerance", Verdict.FAILS, first.id)
    # The sum of both deviations is at most -0.1: 0.1^2 / 2 of 0.2^2.
    assert is_likely(second.details["probability"], 0.125)
    assert second.sentence.startswith(
        "not even as drawn is every demand met; all are met with a probability of"
    )


def test_a_margin_that_is_not_linear_is_sampled(tmp_path):
    # A rod slid past the corner of a block, 7.071 from its middle: hypot(15 - 7.071, y) - 2 apart, y from -0.5 to 5.5.
    text = """
parameters: {slid: 2.5 ± 3 mm}
parts:
  a: {model: block, with: {length: 10, width: 10}, place: {at: [0, 0, 0], turn: 45}}
  b: {model: rod, with: {diameter: 4, length: 60}, place: {at: [15, slid, 5]}}
rules: {clearance: {default: 6}, tolerance: {samples: 20000}}
"""
    answer = asked(tmp_path, text)
    details = found(answer, "clearance").details
    across = 15 - math.sqrt(50)
    assert not details["linear"]
    assert details["proved"] == pytest.approx(across - 2, abs=0.011)
    # 3 sigmas of a normal distribution leave 0.135 % below: |y| < 0.00405 of the 6 mm.
    exact = math.hypot(across, 0.00405) - 2 - 6
    assert details["statistical_low"] - 1e-4 <= exact <= details["statistical_high"] + 1e-4
    y = np.linspace(-0.5, 5.5, 100_001)
    assert details["sigma"] == pytest.approx(np.hypot(across, y).std(), rel=0.02)
    near = math.sqrt(64 - across**2)  # 8 from the corner's edge
    assert is_likely(summary(answer).details["probability"], 1 - (near + 0.5) / 6)


def test_at_most_is_searched_down_to_where_it_can_be_built(tmp_path):
    text = """
parameters: {tall: at most 30 mm}
parts: {a: {model: block, with: {height: tall}}, roof: {model: block, place: {at: [0, 0, 20]}}}
"""
    finding = of_range(asked(tmp_path, text), "tall")
    assert "tall (at most 30 mm, not measured yet) fits below 20.0 mm, fails above" in finding.sentence
    assert finding.verdict == Verdict.UNKNOWN


def test_many_uncertain_lengths_wait_for_a_rule(tmp_path):
    parts = "".join(
        f"  p{k}: {{model: block, place: {{at: [{k * 12} ± 0.1 mm, 0, 0]}}}}\n" for k in range(21)
    )
    answer = asked(tmp_path, f"parts:\n{parts}")
    (line,) = answer.not_checked
    assert line.startswith("tolerance: 21 uncertain lengths were taken as drawn")
    assert summary(asked(tmp_path, f"parts:\n{parts}rules: {{tolerance: {{}}}}\n")).measured == pytest.approx(
        1.8
    )
