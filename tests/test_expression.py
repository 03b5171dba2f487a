"""What arithmetic comes to: dimensions against pint, limits, names."""

from __future__ import annotations

import inspect
import math
import re
import sys

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.scene import limits
from fitcheck.scene.amounts import describe
from fitcheck.scene.expression import (
    Amount,
    as_angle,
    as_count,
    as_length,
    as_number,
    evaluate,
    from_table,
)
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import arithmetic

TABLE = {
    "core": Amount(54.0, length=1),
    "depth": Amount(600.0, length=1),
    "area": Amount(12.0, length=2),
    "fans": Amount(4.0),
    "lean": Amount(30.0, angle=1),
    "side": "near",
    "open": True,
    "fan[2].hole[1].x": Amount(33.0, length=1),
    "fan_screws[2][1][1].x": Amount(7.0, length=1),
}  # fmt: skip
REGISTRY = pint.UnitRegistry()
LENGTH, ANGLE = REGISTRY.millimeter, REGISTRY.degree


def value(text: str) -> Amount:
    return evaluate(arithmetic(text), from_table(TABLE))


def mistake(text: str) -> tuple[str, str, int]:
    with pytest.raises(ValueMistake) as caught:
        value(text)
    return caught.value.problem, caught.value.mend, caught.value.offset


# --- dimensions ----------------------------------------------------------------------------


@st.composite
def declared_sums(draw) -> str:
    """Arithmetic over declared lengths, areas, angles and counts; no bare numbers."""

    def grown(inner):
        return st.one_of(
            st.tuples(inner, st.sampled_from("+-*/"), inner).map(lambda t: f"({t[0]} {t[1]} {t[2]})"),
            inner.map("-{}".format),
            inner.map("abs({})".format),
            inner.map("sqrt(abs({}))".format),
            st.tuples(st.sampled_from(("min", "max")), inner, inner).map(lambda t: f"{t[0]}({t[1]}, {t[2]})"),
        )

    return draw(st.recursive(st.sampled_from(("core", "depth", "area", "fans", "lean")), grown, max_leaves=5))


def in_pint(text: str):
    """The value by pint and Python, as (magnitude, exponents); the error where there is none.

    The text is one that `declared_sums` made, so Python may run it.
    """
    names = {
        name: REGISTRY.Quantity(one.value, LENGTH**one.length * ANGLE**one.angle)
        for name, one in TABLE.items()
        if isinstance(one, Amount) and name.isidentifier()
    }
    try:
        got = eval(text, {"abs": abs, "min": min, "max": max, "sqrt": lambda x: x**0.5, **names})
    except (pint.DimensionalityError, ZeroDivisionError) as error:
        return type(error)
    # pint takes a degree for a pure number when it checks dimensions; its unit still carries it.
    powers = {str(unit): power for unit, power in got.unit_items()}
    return got.magnitude, powers.get("millimeter", 0), powers.get("degree", 0)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(declared_sums())
def test_dimensions_agree_with_pint(text):
    expected = in_pint(text)
    try:
        got = value(text)
    except ValueMistake as wrong:
        # pint knows no limit, takes roots of any unit, and lets an angle pass for a number.
        stricter = re.search(r"limit|square root|an angle|deg", wrong.problem)
        agrees = bool(stricter) or isinstance(expected, type)
    else:
        agrees = (*got.kind, got.value) == pytest.approx((*expected[1:], expected[0]), rel=1e-12)
    assert agrees, text


@pytest.mark.parametrize(
    ("text", "kind", "bare"),
    [
        ("2", (0, 0), True),
        ("2 * 3", (0, 0), True),
        ("fans", (0, 0), False),
        ("fans * 120", (0, 0), True),  # 120 mm each
        ("(fans - 1) * 75", (0, 0), True),
        ("120 / fans", (0, 0), True),
        ("fans / 2", (0, 0), False),
        ("fans + 1", (0, 0), False),
        ("max(fans, 1)", (0, 0), False),
        ("core / 2 mm", (0, 0), False),
        ("core + 2", (1, 0), False),
        ("2 - core", (1, 0), False),
        ("min(1, core, 2)", (1, 0), False),
        ("core * core", (2, 0), False),
        ("2 / core", (-1, 0), False),
        ("sqrt(core * core)", (1, 0), False),
        ("sqrt(2)", (0, 0), True),
        ("lean + 15", (0, 1), False),
        ("sin(lean)", (0, 0), False),
        ("sin(30)", (0, 0), False),
        ("floor(2.5)", (0, 0), True),
        ("lean * core", (1, 1), False),
    ],
)
def test_dimension_and_bareness(text, kind, bare):
    got = value(text)
    assert (got.kind, got.bare) == (kind, bare)


LENGTH_AND_NUMBER = "`core` is a length and `fans` a number; they cannot be"


@pytest.mark.parametrize(
    ("text", "problem", "mend", "offset"),
    [
        ("core + fans", f"{LENGTH_AND_NUMBER} added", "write core + fans * 1 mm", 7),
        ("core - fans", f"{LENGTH_AND_NUMBER} subtracted", "write core - fans * 1 mm", 7),
        ("min(core, fans)", f"{LENGTH_AND_NUMBER} compared", "write min(core, fans * 1 mm)", 10),
        (
            "2 * (fans + core)",
            "`fans` is a number and `core` a length; they cannot be added",
            "write 2 * (fans * 1 mm + core)",
            12,
        ),
        (
            "core + (fans - 1) / 2",
            "`core` is a length and `(fans - 1) / 2` a number; they cannot be added",
            "write core + ((fans - 1) / 2) * 1 mm",
            7,
        ),
        ("lean + fans", "`lean` is an angle and `fans` a number; they cannot be added",
         "write lean + fans * 1 deg", 7),
        ("core + lean", "`core` is a length and `lean` an angle; they cannot be added", "", 7),
        ("core + area", "`core` is a length and `area` an area; they cannot be added", "", 7),
        ("sqrt(core)", "`core` is a length; its square root has no unit of ours", "", 5),
        ("sqrt(1 - fans)", "`1 - fans` is negative and has no square root", "", 5),
        ("sin(core)", "`core` is a length; sin takes an angle", "", 4),
        ("cos(fans)", "`fans` is a number; cos takes an angle", "", 4),
        ("tan(3 * 90)", "tan has no value at 270 degrees", "", 4),
        ("floor(core)", "`core` is a length; floor takes a number", "write floor(core / 1 mm)", 6),
        ("2 * ceil(core + 1)", "`core + 1` is a length; ceil takes a number",
         "write 2 * ceil((core + 1) / 1 mm)", 9),
        ("2 / (fans - 4)", "`(fans - 4)` is zero, and nothing can be divided by it", "", 4),
        ("core / 0", "`0` is zero, and nothing can be divided by it", "", 7),
        ("1e300 * 1e300", "`1e300 * 1e300` is too large to calculate", "", 0),
        ("2 + core * 2000", "`core * 2000` comes to 108,000 mm; the limit is 100,000 mm (100 m)", "", 4),
        ("2 + cor", "there is no `cor`", "write core", 4),
        ("2 + xyzzy.__class__", "there is no `xyzzy.__class__`", "", 4),
        ("2 * side", "`side` is text, not a number", "", 4),
        ("2 * open", "`open` is yes or no, not a number", "", 4),
        ("fan[fans / 3].x", "1.333333333 is not a whole number", "write 1, or 2", 0),
        ("fan[fans - 4].x", "the index in `fan[fans - 4].x` is 0; indices count from 1", "", 0),
        ("1 + fan[core].x", "a length stands where a whole number is due", "", 4),
    ],
)  # fmt: skip
def test_says_what_does_not_go_together(text, problem, mend, offset):
    assert mistake(text) == (problem, mend, offset)


@pytest.mark.parametrize(
    ("typed", "kind"),
    [
        ("core + fans * 1 mm", (1, 0)),
        ("min(core, fans * 1 mm)", (1, 0)),
        ("2 * (fans * 1 mm + core)", (1, 0)),
        ("core + ((fans - 1) / 2) * 1 mm", (1, 0)),
        ("lean + fans * 1 deg", (0, 1)),
        ("floor(core / 1 mm)", (0, 0)),
        ("2 * ceil((core + 1) / 1 mm)", (0, 0)),
    ],
)
def test_each_mend_works_when_typed_in(typed, kind):
    assert value(typed).kind == kind


# --- what a value may be used as -----------------------------------------------------------


@pytest.mark.parametrize(
    ("use", "amount", "problem"),
    [
        (as_length, Amount(4.0), "a number stands where a length is due"),
        (as_length, Amount(4.0, length=2), "an area stands where a length is due"),
        (as_length, Amount(4.0, length=3), "a volume stands where a length is due"),
        (as_length, Amount(4.0, length=-1), "one over a length stands where a length is due"),
        (as_length, Amount(4.0, angle=1), "an angle stands where a length is due"),
        (as_length, Amount(4.0, length=1, angle=2), "in mm·deg^2 stands where a length is due"),
        (as_angle, Amount(4.0, length=1), "a length stands where an angle is due"),
        (as_angle, Amount(4.0), "a number stands where an angle is due"),
        (as_number, Amount(4.0, length=1), "a length stands where a number without unit is due"),
        (as_count, Amount(4.0, angle=1), "an angle stands where a whole number is due"),
        (as_count, Amount(2.5), "2.5 is not a whole number"),
        (as_count, Amount(2e6), "2,000,000 is too many; the limit is 1,000,000"),
        (as_length, Amount(1e5 + 1, bare=True), "100,001 mm; the limit is 100,000 mm (100 m)"),
        (as_length, Amount(-1e5 - 1, length=1), "-100,001 mm; the limit is 100,000 mm (100 m)"),
        (as_angle, Amount(36_001.0, angle=1), "36,001 degrees; the limit is 36,000"),
        (as_length, Amount(math.nan, length=1), "the value is not finite"),
        (as_count, Amount(math.inf), "the value is not finite"),
    ],
)
def test_a_value_of_the_wrong_kind(use, amount, problem):
    with pytest.raises(ValueMistake) as caught:
        use(amount)
    assert caught.value.problem == problem


@pytest.mark.parametrize("use", [as_length, as_angle, as_number, as_count])
def test_a_bare_number_serves_everywhere(use):
    assert use(Amount(3.0, bare=True)) == 3


def test_a_value_of_its_own_kind():
    assert as_length(Amount(limits.LENGTH, length=1)) == 100_000
    assert as_angle(Amount(-90.0, angle=1)) == -90
    assert as_number(Amount(0.5)) == 0.5
    assert as_count(Amount(3.0)) == 3
    assert isinstance(as_count(Amount(3.0)), int)
    # 0.3 / 0.1 is 2.9999999999999996 in binary; whoever divides so means three.
    assert as_count(value("0.3 / 0.1")) == 3


def test_kinds_have_words():
    assert [describe(Amount(1.0, n)) for n in (-1, 0, 1, 2, 3)] == [
        "one over a length", "a number", "a length", "an area", "a volume",
    ]  # fmt: skip
    assert describe(Amount(1.0, 4, -1)) == "in mm^4·deg^-1"


# --- functions -----------------------------------------------------------------------------


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.floats(-36_000, 36_000))
def test_turns_agree_with_pint_and_the_library(degrees):
    radians = REGISTRY.Quantity(degrees, "degree").to("radian").magnitude
    assert value(f"sin({degrees!r})").value == pytest.approx(math.sin(radians), abs=1e-11)
    assert value(f"cos({degrees!r} deg)").value == pytest.approx(math.cos(radians), abs=1e-11)


@pytest.mark.parametrize("quarter", range(-8, 9))
def test_quarter_turns_are_exact(quarter):
    sine, cosine = [(0, 1), (1, 0), (0, -1), (-1, 0)][quarter % 4]
    assert value(f"sin({quarter * 90})").value == sine
    assert value(f"cos({quarter * 90})").value == cosine
    # No negative zero: it would print as -0.
    assert math.copysign(1, value(f"cos({quarter * 90})").value or 0.0) == (-1 if cosine < 0 else 1)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.integers(-10_000, 10_000), st.integers(1, 100))
def test_floor_and_ceiling_agree_with_whole_number_division(over, under):
    assert value(f"floor(({over}) / {under})").value == over // under
    assert value(f"ceil(({over}) / {under})").value == -(-over // under)


# --- names ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("fan[2].hole[1].x", 33),
        ("fan[fans / 2].hole[fans - 3].x", 33),
        ("fan_screws[fans - 2][1][fans / 4].x * 2", 14),
        ("fan[min(2, 7)].hole[1].x + fan_screws[2][1][1].x", 40),
    ],
)
def test_indices_are_worked_out(text, expected):
    assert value(text).value == expected


def test_names_are_asked_for_by_their_full_name_in_order():
    asked = []

    def lookup(name):
        asked.append(name)
        return Amount(1.0)

    evaluate(arithmetic("b + case.depth * fan[k + 1].hole[2].x - b"), lookup)
    assert asked == ["b", "case.depth", "k", "fan[2].hole[2].x", "b"]


def test_errors_of_a_lookup():
    def missing(name):
        raise KeyError(name)

    def refusing(name):
        raise ValueMistake("depends on itself", "", 0)

    class Other(Exception):
        pass

    def other(name):
        raise Other

    with pytest.raises(ValueMistake, match="there is no `a`") as caught:
        evaluate(arithmetic("2 + a"), missing)
    assert caught.value.offset == 4
    with pytest.raises(ValueMistake, match="depends on itself") as caught:
        evaluate(arithmetic("2 + a"), refusing)
    assert caught.value.offset == 4
    with pytest.raises(Other):
        evaluate(arithmetic("2 + a"), other)


def test_the_longest_chain_needs_no_recursion():
    """A left-deep and a right-deep value at the limits, with hardly any stack left."""
    depth = len(inspect.stack())
    left, right = arithmetic("+".join(["1"] * 100)), arithmetic("1-(" * 16 + "1" + ")" * 16)
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(depth + 40)
    try:
        got = [evaluate(left, from_table({})).value, evaluate(right, from_table({})).value]
    finally:
        sys.setrecursionlimit(before)
    assert got == [100, 1]
