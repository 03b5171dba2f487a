"""Written values: units against pint, arithmetic against fractions, and what is refused."""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.scene.expression import Amount, as_angle, as_length, as_number, evaluate, from_table
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import Expression, Uncertain, arithmetic, parse

REGISTRY = pint.UnitRegistry()
# Our units as pint names them; pint's own reading of text is not used (it takes 5 1/4 in for 1.25 in).
PINT = {
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "in": "inch",
    '"': "inch",
    "deg": "degree",
    "°": "degree",
}
NAMES = {
    "core": Amount(54.0, length=1), "setback": Amount(16.0, length=1), "fans": Amount(4.0),
    "case.plinth.depth": Amount(600.0, length=1), "lean": Amount(30.0, angle=1),
}  # fmt: skip


def value(text) -> Amount:
    got = parse(text)
    assert isinstance(got, Expression)
    return evaluate(got, from_table(NAMES))


def in_pint(figure: float, unit: str) -> float:
    kind = "degree" if unit in ("deg", "°") else "millimeter"
    return REGISTRY.Quantity(figure, PINT[unit]).to(kind).magnitude


# --- units and figures ---------------------------------------------------------------------


@pytest.mark.parametrize("unit", PINT)
@pytest.mark.parametrize("figure", [0.001, 0.5, 1, 3, 25.4, 90])
@pytest.mark.parametrize("space", ["", " "])
def test_units_agree_with_pint(figure, unit, space):
    got = value(f"{figure}{space}{unit}")
    assert got.value == pytest.approx(in_pint(figure, unit), rel=1e-15)
    assert got.kind == ((0, 1) if unit in ("deg", "°") else (1, 0))
    assert not got.bare


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("16 mm", 16),
        ("1.6 cm", 16),
        ("0.016 m", 16),
        ("5 1/4 in", Fraction(21, 4) * Fraction(254, 10)),  # 133.35
        ('3/8"', Fraction(3, 8) * Fraction(254, 10)),  # 9.525
        ("5 1/4in", Fraction(13335, 100)),
        ("5  1/4  in", Fraction(13335, 100)),
        ("1.1 in", Fraction(2794, 100)),  # in binary 1.1 * 25.4 is 27.940000000000005
        ("2e1 mm", 20),
        (".5 mm", Fraction(1, 2)),
        ("-3/8 in", Fraction(-9525, 1000)),
        ("014 mm", 14),
    ],
)
def test_lengths_are_right_to_the_last_digit(text, mm):
    assert as_length(value(text)) == float(mm)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.integers(0, 99), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_whole_and_fraction_of_an_inch(whole, over, under):
    over = over % under or 1
    exact = float((whole + Fraction(over, under)) * Fraction(254, 10))
    assert as_length(value(f"{whole} {over}/{under} in")) == exact
    assert as_length(value(f"{over + whole * under}/{under} in")) == exact


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.decimals("-3000", "3000", places=4, allow_nan=False), st.sampled_from(["mm", "cm", "in"]))
def test_decimals_of_a_unit(number, unit):
    exact = Fraction(str(number)) * {"mm": 1, "cm": 10, "in": Fraction(254, 10)}[unit]
    assert as_length(value(f"{number:f} {unit}")) == float(exact)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.floats(-100_000, 100_000, allow_nan=False))
def test_a_length_printed_and_read_again_is_itself(mm):
    assert as_length(value(repr(mm))) == mm
    assert as_length(value(mm)) == mm
    assert as_length(value(f"{mm!r} mm")) == mm


@pytest.mark.parametrize(("number", "text"), [(16, "16"), (16.5, "16.5"), (-3, "-3"), (1e3, "1000.0")])
def test_a_number_from_yaml_is_bare(number, text):
    got = value(number)
    assert got == Amount(float(number), bare=True) == value(text)
    assert as_length(got) == as_angle(got) == as_number(got) == number


# --- arithmetic ----------------------------------------------------------------------------


@st.composite
def sums(draw) -> tuple[str, Fraction]:
    """Arithmetic over bare numbers as text, and what it comes to exactly."""
    whole = st.integers(0, 30).map(lambda n: (str(n), Fraction(n)))
    tenths = st.integers(0, 300).map(lambda n: (f"{n // 10}.{n % 10}", Fraction(n, 10)))

    def grown(inner):
        def joined(three):
            (a, x), sign, (b, y) = three
            if sign == "/" and y == 0:
                return f"({a}) * ({b})", x * y
            got = {"+": x + y, "-": x - y, "*": x * y, "/": x / y if y else None}[sign]
            return f"({a}) {sign} ({b})", got

        signs = st.sampled_from("+-*/")
        return st.one_of(
            st.tuples(inner, signs, inner).map(joined),
            inner.map(lambda one: (f"-({one[0]})", -one[1])),
            inner.map(lambda one: (f"abs({one[0]})", abs(one[1]))),
            st.tuples(inner, inner).map(lambda t: (f"max({t[0][0]}, {t[1][0]})", max(t[0][1], t[1][1]))),
            st.tuples(inner, inner).map(lambda t: (f"min({t[0][0]}, {t[1][0]})", min(t[0][1], t[1][1]))),
        )

    return draw(st.recursive(whole | tenths, grown, max_leaves=6))


@settings(max_examples=400, deadline=None, derandomize=True)
@given(sums())
def test_arithmetic_agrees_with_fractions(pair):
    text, exact = pair
    if len(text) <= 200 and text.count("(") < 14:
        got = value(text)
        # Differences cancel: compare against the size of what went in, at most 30 ** 6.
        assert got.value == pytest.approx(float(exact), rel=1e-9, abs=1e-6)
        assert got.bare


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 - 3 - 4", -5), ("24 / 4 / 2", 3), ("2 + 3 * 4", 14), ("(2 + 3) * 4", 20), ("-2 * -3", 6),
        ("2 - -3", 5), ("7 - 2 * 3 + 1", 2), ("6 / 3 * 2", 4), ("max(1, 5, 3) - min(4, 2)", 3),
        ("sqrt(16) + abs(-2)", 6),
        ("floor(7 / 2)", 3), ("ceil(7 / 2)", 4), ("floor(-7 / 2)", -4), ("ceil(-7 / 2)", -3),
        ("floor(0.3 / 0.1)", 3),
        ("sin(90)", 1), ("cos(180°)", -1), ("sin(-90 deg)", -1), ("tan(45 deg)", 1), ("sin(30)", 0.5),
    ],
)  # fmt: skip
def test_precedence_and_functions(text, expected):
    assert value(text).value == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("case.plinth.depth - setback - 20 mm", 600 - 16 - 20),
        ("core + 2", 56),
        ("fans * 120 mm / 2", 240),
        ("10 + (fans - 1) * 75", 235),
        ("max(core, 60)", 60),
        ("sqrt(core * core)", 54),
        ("-(core) / 2", -27),
        ("core * sin(lean)", 27),
        ("floor(core / 20 mm) * 20 mm", 40),
    ],
)
def test_lengths_by_arithmetic(text, mm):
    assert as_length(value(text)) == pytest.approx(mm, rel=1e-15)


def test_names_are_listed_once_in_order():
    got = arithmetic("b - a + b * case.hall.width + fan[2].x + radiator.fan_screws[i + k][1].y")
    assert got.names == ("b", "a", "case.hall.width", "fan[2].x", "i", "k", "radiator.fan_screws")
    assert (arithmetic("core").only_name, arithmetic("core + 1").only_name) == ("core", None)
    assert (arithmetic("fan[1].x").only_name, arithmetic("fan[i].x").only_name) == ("fan[1].x", None)


# --- how sure a value is -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "low", "nominal", "high"),
    [
        ("54 ± 0.5 mm", 53.5, 54, 54.5),
        ("54 mm ± 0.5 mm", 53.5, 54, 54.5),
        ("54 mm ± 0.5", 53.5, 54, 54.5),
        ("54±0.5mm", 53.5, 54, 54.5),
        ("54 +/- 0.5 mm", 53.5, 54, 54.5),
        ("54 +1/-0.2 mm", 53.8, 54, 55),
        ("54 mm +1/-0.2", 53.8, 54, 55),
        ("54 + 1 / - 0.2 mm", 53.8, 54, 55),
        ("at most 146 mm", 0, 146, 146),
        ("at least 30 mm", 30, 30, None),
        ("30 .. 45 mm", 30, 45, 45),
        ("30..45 mm", 30, 45, 45),
        ("30 mm .. 4.5 cm", 30, 45, 45),
        # Two and a half inches, a sixteenth off at most: 63.5 and 1.5875 mm.
        ("2 1/2 ± 1/16 in", 61.9125, 63.5, 65.0875),
        ("1 .. 2 in", 25.4, 50.8, 50.8),
        ("2 in ± 1 mm", 49.8, 50.8, 51.8),
        ("-5 .. 5 mm", -5, 5, 5),
        ("at most 5 1/4 in", 0, 133.35, 133.35),
    ],
)
def test_uncertain_lengths(text, low, nominal, high):
    got = parse(text)
    assert isinstance(got, Uncertain)
    for part, mm in ((got.low, low), (got.nominal, nominal), (got.high, high)):
        if mm is None:
            assert part is None
        else:
            assert part.kind == (1, 0)
            assert as_length(part) == pytest.approx(mm, rel=1e-14)


@pytest.mark.parametrize("text", ["54 ± 0.5", "54 +1/-0.5", "at most 54", "at least 54", "30 .. 54"])
def test_uncertain_without_unit_is_bare(text):
    got = parse(text)
    assert isinstance(got, Uncertain)
    assert got.nominal == Amount(54.0, bare=True)
    assert all(part is None or part.bare for part in (got.low, got.high))


def test_an_uncertain_angle():
    got = parse("90 ± 0.5 deg")
    assert isinstance(got, Uncertain)
    assert (got.low, got.high) == (Amount(89.5, angle=1), Amount(90.5, angle=1))


def test_arithmetic_has_no_place_for_doubt():
    with pytest.raises(ValueMistake, match="uncertain value cannot stand here"):
        arithmetic("54 ± 0.5 mm")


# --- what is refused -----------------------------------------------------------------------

UNITS = 'the units are mm, cm, m, in, " and deg, °'
ALONE = "an uncertain value stands alone, in figures, without names or arithmetic"
BY_NAME = "give it a name under parameters, and calculate with the name"
OWN_NAMES = "give parts of it names of their own"
SIGNS = "write + - * or / between them"
FUNCTIONS = "there are min, max, abs, sqrt, sin, cos, tan, floor, ceil"

# Text, offset of the offender, problem, mend, and what the (first) mend comes to, mm.
WRONG = [
    ("", 0, "nothing is written; a value is due, such as 30 mm", "", None),
    ("   ", 0, "nothing is written; a value is due, such as 30 mm", "", None),
    # decimal commas
    ("10,5 mm", 2, "a decimal comma; numbers take a decimal point", "write 10.5 mm", 10.5),
    ("core + 1,5", 8, "a decimal comma; numbers take a decimal point", "write core + 1.5", 55.5),
    ("2,5 + 3,5", 1, "a decimal comma; numbers take a decimal point", "write 2.5 + 3.5", 6),
    ("1,000 mm", 1, "a decimal comma; numbers take a decimal point", "write 1.000 mm, or 1000 mm", 1),
    ("sqrt(2,25) * 1 mm", 0, "sqrt takes one value, and here are 2", "write sqrt(2.25) * 1 mm", 1.5),
    ("54 ± 0,5 mm", 6, "a decimal comma; numbers take a decimal point", "write 54 ± 0.5 mm", 54),
    # units
    ("10 MM", 3, f"unknown unit `MM`; {UNITS}", "write 10 mm", 10),
    ("10 Mm", 3, f"unknown unit `Mm`; {UNITS}", "write 10 mm", 10),
    ("2 inches", 2, f"unknown unit `inches`; {UNITS}", "write 2 in", 50.8),
    ("2 millimeters", 2, f"unknown unit `millimeters`; {UNITS}", "write 2 mm", 2),
    ("10 ft", 3, f"unknown unit `ft`; {UNITS}", "write 120 in", 3048),
    ("5'", 1, f"unknown unit `'`; {UNITS}", "write 60 in", 1524),
    ("250 mil", 4, f"unknown unit `mil`; {UNITS}", "write 0.25 in", 6.35),
    ("5 thou", 2, f"unknown unit `thou`; {UNITS}", "write 0.005 in", 0.127),
    ("800 µm", 4, f"unknown unit `µm`; {UNITS}", "write 0.8 mm", 0.8),
    ("10 mn", 3, f"unknown unit `mn`; {UNITS}", "", None),
    ("5 kg", 2, f"unknown unit `kg`; {UNITS}", "", None),
    ("3 core", 2, f"unknown unit `core`; {UNITS}; a name takes a sign before it", "write 3 * core", 162),
    ("3”", 1, "`”` is not the inch or degree sign", 'write 3"', 76.2),
    ("setback mm", 8, "a name carries its own unit", "write setback", 16),
    ("(3 + 4) mm", 8, "a unit stands behind figures only", "write (3 + 4) * 1 mm", 7),
    ("mm", 0, "`mm` is a unit without a number", "write 1 mm", 1),
    ("core + in", 7, "`in` is a unit without a number", "write core + 1 in", 79.4),
    ("mm 5", 0, "the unit `mm` stands before its number", "write 5 mm", 5),
    ("5 mm mm", 5, "a second unit", "write 5 mm", 5),
    # fractions, and what can be read in two ways
    ("5 1/4", 0, "`5 1/4` needs a unit to be one length", "write 5 1/4 in", 133.35),
    ("5 5/4 in", 0, "the fraction 5/4 beside a whole number is not below 1", "", None),
    ("1/0 in", 0, "a fraction has zero below the line", "", None),
    ("5-1/4 in", 0, "`5` has no unit beside `1/4 in`", "write 5 1/4 in", 133.35),
    ("5 + 1/4 in", 0, "`5` has no unit beside `1/4 in`", "write 5 mm + 1/4 in, or 5 in + 1/4 in", 11.35),
    ("1 cm + 2", 7, "`2` has no unit beside `1 cm`", "write 1 cm + 2 mm, or 1 cm + 2 cm", 12),
    ("max(5, 2 in)", 4, "`5` has no unit beside `2 in`", "write max(5 mm, 2 in), or max(5 in, 2 in)", 50.8),
    ("core / 3/8 in", 7, "dividing by a fraction can be read in two ways", "write core / (3/8 in)", None),
    ("3 / 8 in", 0, "this divides by a length; a fraction has no spaces", "write 3/8 in", 9.525),
    ("54 +-0.5 mm", 3, "+- can be read in two ways", "write 54 ± 0.5 mm, or 54 - 0.5 mm", 54),
    # signs and brackets
    ("5 +", 3, "the value ends after `+`; a number or name is missing", "", None),
    ("5 * * 3", 4, "`*` stands where a value is due", "", None),
    ("/ 3", 0, "`/` stands where a value is due", "", None),
    ("+5 mm", 0, "a plus sign stands where a value is due", "write 5 mm", 5),
    ("core ** 2", 5, "powers are not read", "write core * core", None),
    ("core^2", 4, "powers are not read", "write core * core", None),
    ("2 ** 3", 2, "powers are not read", "", None),
    ("(core", 0, "the ( opened here is not closed", "write (core)", 54),
    ("core)", 4, "this ) closes nothing", "write core", 54),
    ("()", 1, "a value is missing before this )", "", None),
    ("case[1", 4, "the [ opened here is not closed", "write case[1]", None),
    ("2 (3 + 4)", 2, "a sign is missing before `(`", SIGNS, None),
    ("core setback", 5, "a sign is missing before `setback`", SIGNS, None),
    ("fan[1]2", 6, "a sign is missing before `2`", SIGNS, None),
    ("1 000 mm", 1, "a space stands inside a number", "write 1000 mm", 1000),
    ("1_000 mm", 1, "an underscore stands inside a number", "write 1000 mm", 1000),
    ("1 2", 2, "two numbers without a sign between them", SIGNS, None),
    ("1.2.3", 3, "a number with two points", "", None),
    ("5.", 1, "`.` stands after the value", "write 5", 5),
    ("10 mm.", 5, "`.` stands after the value", "write 10 mm", 10),
    ("case..plinth.depth", 4, "two dots in a name", "write case.plinth.depth", 600),
    ("case.1", 4, "a sign is missing before `.1`", SIGNS, None),
    # characters
    ("10 mm;", 5, "`;` cannot stand in a value", "write 10 mm", 10),
    ("２０ mm", 0, "`２` (U+FF12) cannot stand in a value", "write 20 mm", 20),
    ("١٠ mm", 0, "`١` (U+0661) cannot stand in a value", "write 10 mm", 10),
    ("5¼ in", 1, "`¼` (U+00BC) cannot stand in a value", "write 5 1/4 in", 133.35),
    ("5 × 3 mm", 2, "`×` (U+00D7) cannot stand in a value", "write 5 * 3 mm", 15),
    ("5 − 3 mm", 2, "`−` (U+2212) cannot stand in a value", "write 5 - 3 mm", 2),
    ("16\u00a0mm", 2, "`\u00a0` (U+00A0) cannot stand in a value", "write 16 mm", 16),
    ("'abc'", 0, "`'` cannot stand in a value", "", None),
    ("core if fans else 3", 5, "a sign is missing before `if`", SIGNS, None),
    ("fans == 3", 5, "`=` cannot stand in a value", "", None),
    # functions and indices
    ("squrt(4) * 1 mm", 0, f"there is no function `squrt`; {FUNCTIONS}", "write sqrt(4) * 1 mm", 2),
    ("min(5)", 0, "min takes two or more values, and here are 1", "", None),
    ("abs(1, 2)", 0, "abs takes one value, and here are 2", "", None),
    ("fan[0].x", 4, "the index is 0; indices count from 1", "", None),
    ("fan[1.5].x", 4, "an index counts: 1.5 is not a whole number", "", None),
    ("fan[1 mm].x", 4, "an index counts: a length stands where a whole number is due", "", None),
    # uncertain values
    ("core ± 0.5 mm", 0, ALONE, BY_NAME, None),
    ("core + (54 ± 0.5 mm)", 0, ALONE, BY_NAME, None),
    ("54 ± -0.5 mm", 4, "a tolerance has no minus sign of its own", "write 54 ± 0.5 mm", 54),
    ("45 .. 30 mm", 0, "the range runs down from 45 to 30 mm", "write 30 .. 45 mm", 45),
    ("2 in .. 1 in", 0, "the range runs down from 2 in to 1 in", "write 1 in .. 2 in", 50.8),
    ("2 in ± 1", 6, "`1` has no unit beside `in`", "write 2 in ± 1 in, or 2 in ± 1 mm", 50.8),
    ("30 mm .. 4 deg", 8, "lengths and angles in one uncertain value", "", None),
    ("at most -5 mm", 8, "at most a value below zero; what is measured is at least 0", "", None),
    ("max 146 mm", 0, "`max` is not a word of ours", "write at most 146 mm", 146),
    ("<= 146 mm", 0, "`<=` is not a word of ours", "write at most 146 mm", 146),
    ("min. 30 mm", 0, "`min.` is not a word of ours", "write at least 30 mm", 30),
    ("about 30 mm", 0, "`about` is not a word of ours; say how far it may be off", "write 30 ± 1 mm", 30),
    ("~30 mm", 0, "`~` is not a word of ours; say how far it may be off", "write 30 ± 1 mm", 30),
    # limits
    ("200 m", 0, "200,000 mm; the limit is 100,000 mm (100 m)", "", None),
    ("40000 deg", 0, "40,000 degrees; the limit is 36,000", "", None),
    ("1e999", 0, "`1e999` is too large; the limit of a length is 100 m", "", None),
    ("(" * 17 + "1" + ")" * 17, 17, "nested deeper than 16 levels; that is the limit", "", None),
    ("-" * 17 + "1", 17, "nested deeper than 16 levels; that is the limit", "", None),
    ("1+" * 100 + "1", 200, "201 characters in one value; the limit is 200", OWN_NAMES, None),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "offset", "problem", "mend", "mends_to"), WRONG, ids=[row[0][:20] for row in WRONG]
)
def test_says_what_is_wrong(text, offset, problem, mend, mends_to):
    with pytest.raises(ValueMistake) as caught:
        parse(text)
    assert (caught.value.problem, caught.value.mend, caught.value.offset) == (problem, mend, offset)


@pytest.mark.parametrize(
    ("text", "mend", "mends_to"), [(row[0], row[3], row[4]) for row in WRONG if row[4] is not None]
)
def test_each_mend_works_when_typed_in(text, mend, mends_to):
    for k, typed in enumerate(mend.removeprefix("write ").split(", or ")):
        got = parse(typed)
        amount = got.nominal if isinstance(got, Uncertain) else evaluate(got, from_table(NAMES))
        if k == 0:
            assert as_length(amount) == pytest.approx(mends_to, rel=1e-14)


def test_every_mend_to_type_reads():
    """Also those whose names this file does not know."""
    typed = [row[3] for row in WRONG if row[3].startswith("write ") and row[3] != SIGNS]
    assert len(typed) > 40
    for mend in typed:
        for one in mend.removeprefix("write ").split(", or "):
            parse(one)


@pytest.mark.parametrize(
    ("wrong", "problem"),
    [
        (True, "yes or no stands where a number is due"),
        (False, "yes or no stands where a number is due"),
        (None, "nothing is written where a number is due"),
        ([1], "no number stands where a number is due"),
        (math.nan, "the number is not finite, or too large to calculate with"),
        (math.inf, "the number is not finite, or too large to calculate with"),
        (10**400, "the number is not finite, or too large to calculate with"),
    ],
)
def test_only_numbers_and_text_are_values(wrong, problem):
    with pytest.raises(ValueMistake) as caught:
        parse(wrong)
    assert caught.value.problem == problem


def test_a_value_at_its_limits_reads():
    assert value("(" * 16 + "1" + ")" * 16).value == 1
    assert value("-" * 16 + "1").value == 1
    assert as_length(value("100 m")) == 100_000
    assert value("1+" * 99 + "10").value == 109


@settings(max_examples=500, deadline=None, derandomize=True)
@given(st.text(max_size=30) | st.text("0123456789.,/+-*() []±mincdeg\"°'_xat ", max_size=30))
def test_any_text_is_a_value_or_a_mistake_inside_it(text):
    problem, offset = fate(text)
    assert (problem is None) or (problem and 0 <= offset <= len(text))


def fate(text):
    """What becomes of a text: problem and offset, or None where it reads."""
    try:
        parse(text)
    except ValueMistake as wrong:
        return wrong.problem, wrong.offset
    return None, 0
