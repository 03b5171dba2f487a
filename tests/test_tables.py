"""Interference by look-up: every layout of a shelf of crates by arithmetic, and demos by asking each alone."""

import itertools

import numpy as np
import pytest
from small_layouts import CRATE

from fitcheck.layouts.asked import Asker
from fitcheck.layouts.batch import Batch
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.tables import FREE, UNSURE, Tables

# Crates 20 wide stand 30 apart and are moved by their steps; one hangs on two of them, one may be left out.
STEPS = 7
SHELF = """\
title: a shelf
model_folders: [models]
parameters: {a: 0 mm, b: 0 mm, c: 0 mm, d: 0 mm, e: 20 mm}
parts:
  one: {model: crate, with: {width: 20}, place: {at: [a, 0, 0]}}
  two: {model: crate, with: {width: 20}, place: {at: [30 + b, 0, 0]}}
  three: {model: crate, with: {width: 20}, place: {at: [60 + c, 0, 0]}}
  four: {model: crate, with: {width: e}, place: {at: [three.right + d, 0, 0]}}
  five: {model: crate, with: {width: 20}, place: {at: [140, 0, 0]}}
"""
LAYOUTS = """\
scene: scene.yaml
vary:
  a: {from: 0 mm, to: 30 mm, step: 5 mm}
  b: {from: 0 mm, to: 30 mm, step: 5 mm}
  c: {from: 0 mm, to: 30 mm, step: 5 mm}
  d: {from: 0 mm, to: 30 mm, step: 5 mm}
  e: [20 mm, 40 mm]
alternatives:
  last: {as_drawn: {}, none: {without: [five]}, low: {parts: {five: {place: {at: [90, 0, 0]}}}}}
"""


def shelf(folder, more=""):
    (folder / "models").mkdir()
    (folder / "models" / "crate.yaml").write_text(CRATE)
    (folder / "scene.yaml").write_text(SHELF)
    (folder / "layouts.yaml").write_text(LAYOUTS + more)
    return read_layouts(folder / "layouts.yaml")


def overlapping(a, b, c, d, e, last):
    """Names of the first two crates that overlap, by their ends along the shelf."""
    ends = {"one": (a, a + 20), "two": (30 + b, 50 + b), "three": (60 + c, 80 + c)}
    ends["four"] = (80 + c + d, 80 + c + d + e)
    if last != "none":
        ends["five"] = (140, 160) if last == "as_drawn" else (90, 110)
    for one, other in itertools.combinations(ends, 2):
        if ends[one][0] < ends[other][1] and ends[other][0] < ends[one][1]:
            return one, other
    return None


def test_every_layout_of_a_shelf_by_arithmetic(tmp_path):
    layouts = shelf(tmp_path)
    tables = Tables(Asker(layouts))
    assert tables.fill()
    assert layouts.choices.count == STEPS**4 * 6
    # The largest table is over c, d, e and b or a or last; many cells are filled from one layout.
    assert tables.worked_out < layouts.choices.count / 8
    found = tables.first_clashes(np.arange(layouts.choices.count))
    assert (found == FREE).sum() > 300
    for number, rank in enumerate(found.tolist()):
        values = layouts.choices.values(number)
        steps = [float(str(values[name]).removesuffix(" mm")) for name in "abcde"]
        expected = overlapping(*steps, values["last"])
        assert (None if rank == FREE else tables.pairs[rank].names) == expected


def test_not_where_most_layouts_would_have_to_be_worked_out(tmp_path):
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "crate.yaml").write_text(CRATE)
    (tmp_path / "scene.yaml").write_text(
        "parameters: {a: 0 mm, b: 0 mm}\nmodel_folders: [models]\nparts:\n"
        "  one: {model: crate, place: {at: [a + b, 0, 0]}}\n"
    )
    (tmp_path / "layouts.yaml").write_text("scene: scene.yaml\nvary: {a: [0 mm, 1 mm], b: [0 mm, 1 mm]}\n")
    tables = Tables(Asker(read_layouts(tmp_path / "layouts.yaml")))
    assert not tables.fill()
    assert tables.worked_out == 1


def test_what_cannot_be_built_is_left_to_be_asked(tmp_path):
    """A crate of width 0 is none: those layouts say so, the others are looked up."""
    layouts = shelf(tmp_path, "  first: {as_drawn: {}, none: {parts: {one: {with: {width: 0 mm}}}}}\n")
    tables = Tables(Asker(layouts))
    assert tables.fill()
    numbers = np.arange(layouts.choices.count)
    found = tables.first_clashes(numbers)
    broken = np.array([layouts.choices.values(int(n))["first"] == "none" for n in numbers])
    assert (found[broken] == UNSURE).all()
    assert not (found[~broken] == UNSURE).any()


@pytest.mark.parametrize("more", ["", "measure: fitting\n"])
def test_a_layout_ruled_out_is_told_by_its_first_interference(tmp_path, more):
    layouts = shelf(tmp_path, more)
    said = Asker(layouts).ask(layouts.choices.count - 1)
    values = said["values"]
    steps = [float(str(values[name]).removesuffix(" mm")) for name in "abcde"]
    assert overlapping(*steps, values["last"]) is not None
    assert said["verdict"] == "fails"
    assert (said["figures"]["least_distance"] is None) == bool(more)
    if more:
        assert said["worst"] == "interference:" + "~".join(overlapping(*steps, values["last"]))


def test_a_batch_looks_up_what_it_can_and_answers_the_same(tmp_path):
    layouts = shelf(
        tmp_path, "measure: fitting\nexclude: [{a: [10 mm, 15 mm, 20 mm, 25 mm, 30 mm]}, {e: 40 mm}]\n"
    )
    path = tmp_path / "layouts.yaml"
    told = []
    journal = Batch(layouts, path, None, tmp_path / "out.jsonl", 1).run(lambda *count: told.append(count))
    records = list(journal)
    asker = Asker(layouts)
    assert [record["layout"] - 1 for record in records] == list(layouts.choices.numbers())
    for record in records[::7]:
        assert record == asker.ask(record["layout"] - 1)
    assert told[-1] == (len(records), len(records), len(records))
    assert len({record["verdict"] for record in records}) == 2


def test_a_batch_that_is_not_worth_tables_asks_one_by_one_even_if_the_first_layout_interferes(tmp_path):
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "crate.yaml").write_text(CRATE)
    (tmp_path / "scene.yaml").write_text(
        "parameters: {a: 0 mm, b: 0 mm}\nmodel_folders: [models]\nparts:\n"
        "  one: {model: crate, place: {at: [0, 0, 0]}}\n  two: {model: crate, place: {at: [a + b, 0, 0]}}\n"
    )
    (tmp_path / "layouts.yaml").write_text(
        "scene: scene.yaml\nmeasure: fitting\nvary: {a: [0 mm, 15 mm], b: [0 mm, 15 mm]}\n"
    )
    layouts = read_layouts(tmp_path / "layouts.yaml")
    batch = Batch(layouts, tmp_path / "layouts.yaml", None, tmp_path / "out.jsonl", 1)
    found = [record["verdict"] for record in batch.run(lambda *count: None)]
    # 20 wide: 0 and 15 mm aside they overlap, 30 mm aside they do not.
    assert found == ["fails", "fails", "fails", "fits"]
