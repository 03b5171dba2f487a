"""Which values are meant, against asking each by itself; mistakes of a layouts file and of its scene together."""

import pytest
import small_layouts
from hypothesis import given
from hypothesis import strategies as st

from fitcheck.layouts.meant import Values
from fitcheck.layouts.read import read_layouts
from fitcheck.scene.amounts import is_equal
from fitcheck.scene.choices import spelled
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.mistakes import Mistakes, ValueMistake
from fitcheck.scene.quantity import arithmetic


def same(value, written):
    """Whether two values are one, by the two alone."""
    if spelled(value) == spelled(written):
        return True
    if isinstance(value, bool) or isinstance(written, bool):
        return False
    try:
        one, other = (evaluate(arithmetic(v), from_table({})) for v in (value, written))
        return is_equal(one, other)
    except ValueMistake:
        return False


FIGURES = st.sampled_from([0.0, 0.1, 1.0, 2.54, 25.4, 45.0, 45.0 + 4e-10, 45.0 + 3e-9, -1.0, 999.999999, 1e6])
UNITS = st.sampled_from(["", " mm", " cm", " in", " deg", " m"])
VALUES = st.one_of(
    FIGURES,
    st.integers(-2, 50),
    st.booleans(),
    st.sampled_from(["low", "tall", "yes", "1/2", "1 1/2 in", "45.0 mm", "450e-1"]),
    st.builds(lambda figure, unit: f"{figure:.12g}{unit}", FIGURES, UNITS),
)


@given(st.lists(VALUES, max_size=30), VALUES)
def test_those_that_are_one_by_the_two_alone(values, written):
    found = Values(values).meant(written)
    expected = [value for value in values if same(value, written)]
    assert [(type(value), value) for value in found] == [(type(value), value) for value in expected]


@pytest.mark.parametrize(
    ("layouts", "of_layouts"),
    [
        (small_layouts.LAYOUTS.replace("most least,", "most lest,"), ["there is no figure `lest`"]),
        (small_layouts.LAYOUTS.replace("figures:", "figure:"), ["figure"]),
    ],
)
def test_mistakes_of_a_layouts_file_and_of_its_scene_come_together(tmp_path, layouts, of_layouts):
    scene = small_layouts.SCENE.replace("width: wide", "width: wyde").replace("margin: 1 mm", "margn: 1 mm")
    path = small_layouts.written(tmp_path, layouts, scene)
    with pytest.raises(Mistakes) as wrong:
        read_layouts(path)
    told = [str(one) for one in wrong.value.items]
    for expected in (*of_layouts, "wyde", "margn"):
        assert sum(expected in one for one in told) >= 1
    assert len(told) == len(set(told))
    assert {one.mark.file for one in wrong.value.items} == {str(path), str(tmp_path / "scene.yaml")}


def test_a_scene_that_cannot_be_read_is_told_once(tmp_path):
    path = small_layouts.written(tmp_path, small_layouts.LAYOUTS, "parts: {first: [}\n")
    with pytest.raises(Mistakes) as wrong:
        read_layouts(path)
    assert len(wrong.value.items) == 1
