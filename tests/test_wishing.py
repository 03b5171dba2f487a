"""Places that a run names: a wrong one is said once, of what it must be, with the nearest of those."""

from __future__ import annotations

import pytest

import fitcheck
from fitcheck.scene.mistakes import Mistakes

SCENE = """\
parts:
  case: {{model: floor_tower}}
  a: {{model: straight_fitting, place: {{at: [50, 50, 50]}}}}
  b: {{model: straight_fitting, place: {{at: [150, 50, 50]}}}}
runs:
  one:
    {{kind: soft tube, outside: 16 mm, bore: 10 mm, from: {start}, to: b.tube_end, through: {through}}}
"""


def column(word, **given):
    """Where a word stands in the line of the run, counted from 1."""
    return SCENE.format(**{"start": "a.tube_end", "through": "[]"} | given).splitlines()[6].index(word) + 1


def refused(start="a.tube_end", through="[]"):
    with pytest.raises(Mistakes) as wrong:
        fitcheck.load(SCENE.format(start=start, through=through), name="s")
    return [str(one) for one in wrong.value.items]


@pytest.mark.parametrize(
    "through",
    ["[case.tray_openin]", "[[case.tray_openin, case.floor_air]]", "[case.floor_air, [case.tray_openin]]"],
)
def test_a_wrong_opening_is_said_once_however_deep_it_is_named(through):
    (said,) = refused(through=through)
    at = column("tray_openin", through=through)
    assert said.startswith(f"s:7:{at}: through: floor_tower has no opening or hole `tray_openin` (it has ")
    assert said.endswith("; write case.tray_opening")


def test_a_wrong_port_is_said_once_with_the_ports_there_are():
    at = column("tube_nd", start="a.tube_nd")
    assert refused(start="a.tube_nd") == [
        f"s:7:{at}: from: straight_fitting has no port `tube_nd` (it has base, tube_end); write a.tube_end"
    ]


def test_an_unknown_part_is_said_once():
    at = column("aa.", start="aa.tube_end")
    assert refused(start="aa.tube_end") == [f"s:7:{at}: from: there is no `aa` here; write a"]


def test_a_feature_of_another_kind_is_said_once():
    (said,) = refused(through="[[a.tube_end]]")
    assert "a.tube_end is no opening or hole" in said


def test_a_part_alone_is_no_port():
    assert [one.partition("from: ")[2] for one in refused(start="a")] == [
        "`a` is a part; a port of it is due (it has base, tube_end)"
    ]
    assert [one.partition("from: ")[2] for one in refused(start="case")] == [
        "`case` is a part; a port of it is due (it has none)"
    ]
