"""Values given beside the file: each wrong one is said of the option, with a mend that works."""

from __future__ import annotations

import re

import pytest

import fitcheck
from fitcheck.scene.mistakes import Mistakes

SCENE = """\
parameters:
  fans: {value: 3, range: [1, 5], meaning: fans of the radiator}
  core: 30 ± 0.5 mm
  setback: 10 mm
  quarter: 270 deg
  ports: {value: end, choices: [end, fan_side]}
  bare: {value: yes, type: flag}
parts:
  case: {model: floor_tower}
  radiator:
    model: radiator
    with: {fans: fans, thickness: core, port_facing: ports}
    place: {rest: back, on: case.plinth.floor, turn: quarter, front: setback, centre: across}
  row: {model: fan_row, with: {fans: fans}, place: {rest: "fan[1].back", on: radiator.fan_face, centre: both}}
"""


def refused(**given: str) -> list[str]:
    with pytest.raises(Mistakes) as wrong:
        fitcheck.load(SCENE, given, name="scene")
    return [str(one) for one in wrong.value.items]


def test_the_scene_as_written_is_sound():
    assert fitcheck.load(SCENE, name="scene").parameters["fans"] == 3


@pytest.mark.parametrize(
    ("name", "written", "said"),
    [
        # A whole number.
        ("fans", "six", "fans: there is no `six` here; write 3, as the scene has it, or another from 1 to 5"),
        ("fans", "3 +", "fans: the value ends after `+`; a number or name is missing; write 3, as the scene has it, or another from 1 to 5"),
        ("fans", "4,5", "fans: a decimal comma; numbers take a decimal point; write 4.5"),
        ("fans", "9", "fans: 9 is above 5, the end of its range; write 5"),
        ("fans", "", "fans: nothing is written after the =; write 3, as the scene has it, or another from 1 to 5"),
        # Used twice, said once, of the option and not of the lines that only name it.
        ("fans", "2 mm", "fans: a length stands where a whole number is due; write 3, as the scene has it, or another from 1 to 5"),
        # A length, as it is in the file or as the part that takes it has it.
        ("core", "thin", "core: there is no `thin` here; write 30 ± 0.5 mm, as the scene has it"),
        ("core", "5 kg", 'core: unknown unit `kg`; the units are mm, cm, m, in, " and deg, °; write 30 ± 0.5 mm, as the scene has it'),
        ("core", "200 mm", "thickness: 200 mm is outside 15 mm to 90 mm (radiator, models/radiator.yaml:12); write 90 mm"),
        ("setback", "30 deg", "front: an angle stands where a length is due; write 10 mm, as the scene has it"),
        # An angle.
        ("quarter", "left", "quarter: there is no `left` here; write 270 deg, as the scene has it"),
        ("quarter", "5 mm", "turn: a length stands where an angle is due; write 270 deg, as the scene has it"),
        # A choice: the nearest, or the one of the file.
        ("ports", "ends", "ports: `ends` is none of the choices end, fan_side; write end"),
        ("ports", "zzz", "ports: `zzz` is none of the choices end, fan_side; write end, as the scene has it"),
        ("bare", "perhaps", "bare: `perhaps` is neither yes nor no; write yes, as the scene has it"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_said_of_the_option_and_its_mend_works(name, written, said):
    assert refused(**{name: written}) == [f"--set {name}={written}: {said}"]
    mend = re.search(r"; write ([^,;]+)(, as the scene has it|$)", said)
    if "decimal comma" in said:
        # What is meant is half a fan: the mend is of the writing, what it leads to has its own.
        assert refused(**{name: mend[1]})[0].endswith("4.5 is not a whole number; write 4, or 5")
        return
    fitcheck.load(SCENE, {name: mend[1]}, name="scene")


def test_what_only_rests_on_an_option_keeps_its_own_place():
    """Arithmetic over the option stands in the file: the mistake may be of either."""
    scene = SCENE.replace("fans: fans, thickness", "fans: fans * 2, thickness")
    with pytest.raises(Mistakes) as wrong:
        fitcheck.load(scene, {"fans": "4"}, name="scene")
    assert [one.mark.line for one in wrong.value.items] == [12]
