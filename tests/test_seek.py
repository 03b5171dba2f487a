"""The best layout: by closed forms, and never worse than the best of all that were asked one by one."""

import json

import pytest
from small_layouts import CRATE, written
from typer.testing import CliRunner

import fitcheck.cli  # noqa: F401  (fills the app)
from fitcheck.console import app
from fitcheck.layouts.asked import Asker
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.seek import Seeker, axes_of
from fitcheck.layouts.summary import summary

# A crate 20 wide and deep between walls: west at 0, east at 100, south at 0, north at 70.
BETWEEN = """\
model_folders: [models]
parameters: {across: 10 mm, back: 10 mm, wide: 20 mm}
parts:
  west: {model: crate, with: {width: 10}, place: {at: [-10, 20, 0]}}
  east: {model: crate, with: {width: 10}, place: {at: [100, 20, 0]}}
  south: {model: crate, with: {width: 10}, place: {at: [40, -20, 0]}}
  north: {model: crate, with: {width: 10}, place: {at: [40, 70, 0]}}
  mover: {model: crate, with: {width: wide}, place: {at: [across, back, 0]}}
"""
LAYOUTS = """\
scene: scene.yaml
vary:
  across: {from: 0 mm, to: 80 mm, step: 16 mm}
  back: {from: 5 mm, to: 35 mm, step: 10 mm}
  wide: [76 mm, 80 mm, 98 mm, 120 mm]
figures: {least: {least_distance: yes}}
rank: [most least]
"""


def folder(tmp_path, scene=BETWEEN, layouts=LAYOUTS):
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "crate.yaml").write_text(CRATE)
    (tmp_path / "scene.yaml").write_text(scene)
    (tmp_path / "layouts.yaml").write_text(layouts)
    return tmp_path / "layouts.yaml"


def number(text):
    return float(str(text).partition(" ")[0])


def by_batch(layouts):
    asker = Asker(layouts)
    return summary(layouts, [asker.ask(n) for n in layouts.choices.numbers()])


def test_in_the_middle_between_walls(tmp_path):
    """80 wide between 0 and 100 leaves 10 to each side; 20 deep between 0 and 70 leaves more than that."""
    text = LAYOUTS.replace("wide: [76 mm, 80 mm, 98 mm, 120 mm]", "wide: [80 mm]")
    layouts = read_layouts(folder(tmp_path, layouts=text))
    found = Seeker(layouts, 600).seek()
    assert found.record["figures"]["least"] == pytest.approx(10.0, abs=0.01)
    assert number(found.record["values"]["across"]) == pytest.approx(10.0, abs=0.01)
    assert 10 - 0.01 <= number(found.record["values"]["back"]) <= 35.01
    assert not found.complete


def test_choices_and_ranges_together_beat_all_steps(tmp_path):
    layouts = read_layouts(folder(tmp_path))
    assert [axis.unit is None for axis in axes_of(layouts)] == [False, False, True]
    best = by_batch(layouts).best[0]
    found = Seeker(layouts, 600).seek()
    assert found.record["values"]["wide"] == "76 mm"
    assert found.record["figures"]["least"] > best["figures"]["least"]
    assert found.record["figures"]["least"] == pytest.approx(12.0, abs=0.01)


def test_without_ranges_every_combination_is_asked(tmp_path):
    layouts = read_layouts(written(tmp_path, SMALL))
    found = Seeker(layouts, 1000).seek()
    best = by_batch(layouts).best[0]
    assert found.complete
    assert found.asked == layouts.choices.count
    assert found.record["figures"] == best["figures"]
    assert {k: str(v) for k, v in found.record["values"].items()} == {
        k: str(v) for k, v in best["values"].items()
    }


SMALL = """\
scene: scene.yaml
vary: {wide: [10 mm, 20 mm, 26 mm], gap: [2 mm, 4.5 mm, 8 mm]}
alternatives: {upper: {as_drawn: {}, none: {without: [roof]}}}
figures: {least: {least_distance: yes}, price: {cost: {wide: {10: 3, 20 mm: 5, 26 mm: 9}}}}
rank: [most price, most least]
"""


def test_the_end_of_what_fits_is_followed_to_a_hundredth(tmp_path):
    """As thick as fits: a room of 31.37 mm less the demand of 2 mm."""
    scene = """\
model_folders: [models]
parameters: {thick: 5 mm}
parts:
  base: {model: crate, with: {width: 90, tall: 1}, place: {at: [0, 0, -1]}}
  roof: {model: crate, with: {width: 90}, place: {at: [0, 0, 31.37]}}
  core: {model: crate, with: {width: 80, tall: thick}, place: {at: [0, 0, 0]}}
rules:
  clearance: {pairs: [{between: core, and: roof, at_least: 2 mm}]}
  room: [{side: top, of: base, width: 5 mm, height: 5 mm, at: [85 mm, 10 mm, 0 mm], at_least: 1 mm}]
"""
    layouts = """\
scene: scene.yaml
vary: {thick: {from: 5 mm, to: 60 mm, step: 5 mm}}
figures: {gap: {check: clearance}}
rank: [least gap]
"""
    found = Seeker(read_layouts(folder(tmp_path, scene, layouts)), 400).seek()
    assert number(found.record["values"]["thick"]) == pytest.approx(29.37, abs=0.01)
    assert number(found.record["values"]["thick"]) <= 29.37 + 1e-9


def test_command_says_what_is_best_and_what_is_missing(tmp_path):
    path = folder(tmp_path)
    said = CliRunner().invoke(app, ["best", str(path), "--most", "150", "--json"])
    assert said.exit_code == 0
    assert json.loads(said.stdout)["layout"]["values"]["wide"] == "76 mm"
    (tmp_path / "layouts.yaml").write_text(LAYOUTS.replace("[76 mm, 80 mm, 98 mm, 120 mm]", "[120 mm]"))
    said = CliRunner().invoke(app, ["best", str(path), "--most", "150"])
    assert said.exit_code == 1
    assert "no layout holds" in said.stdout
    assert "interfere" in said.stdout


def test_same_question_same_answer(tmp_path):
    layouts = read_layouts(folder(tmp_path))
    assert Seeker(layouts, 150).seek() == Seeker(layouts, 150).seek()
