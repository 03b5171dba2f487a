"""Groups of parts that hang on different things: every layout by tables, and each worked out alone."""

import itertools
from pathlib import Path

import numpy as np
import pytest
import worlds

from fitcheck.layouts import tables as tabulated
from fitcheck.layouts.asked import Asker
from fitcheck.layouts.clashing import clashing_pairs
from fitcheck.layouts.mentioned import followed_elsewhere
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.tables import FREE, UNSURE, Tables
from fitcheck.scene.mistakes import Mistakes
from fitcheck.world.deep import interfering
from fitcheck.world.engine import measure
from fitcheck.world.frames import Frame, turn_about

SCENES = Path(__file__).resolve().parents[1] / "scenes"
BLOCK = """\
model: block
summary: a box, a rod and a plate with a window, which is a mesh
parameters:
  width: {type: length, default: 20, range: [5 mm, 200 mm], meaning: x, source: invented}
solids:
  foot: {box: {low: [0, 0, 0], high: [width, 20, 6]}}
  rod: {cylinder: {from: [8, 10, 6], to: [8, 10, 40], diameter: 9}}
  plate: {sheet: {low: [0, 0, 40], high: [width, 40, 42]}}
openings:
  window: {at: [10, 20, 42], axis: +z, up: +y, rectangle: [8, 18], cuts: plate}
"""


def folder_of(tmp_path, scene, layouts):
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "block.yaml").write_text(BLOCK)
    (tmp_path / "scene.yaml").write_text("title: blocks\nmodel_folders: [models]\n" + scene)
    (tmp_path / "layouts.yaml").write_text("scene: scene.yaml\nmeasure: fitting\n" + layouts)
    return read_layouts(tmp_path / "layouts.yaml")


def alone(asker, number):
    """What a layout worked out by itself says: its first pair, `FREE`, or `UNSURE` if it cannot be built."""
    try:
        found = clashing_pairs(asker.world(number), asker.layouts)
    except Mistakes:
        return UNSURE
    return found[0] if found else FREE


def compared(layouts, every=1, unsure=0.0):
    """Every layout, or every so many, by tables and alone; the tables."""
    tables = Tables(Asker(layouts))
    assert tables.fill()
    numbers = np.arange(0, layouts.choices.count, every)
    found = tables.first_clashes(numbers)
    asker = Asker(layouts)
    for number, rank in zip(numbers.tolist(), found.tolist(), strict=True):
        if rank != UNSURE:
            assert alone(asker, number) == (rank if rank == FREE else tables.pairs[rank]), number
    assert (found == UNSURE).mean() <= unsure
    return tables, found


def random_blocks(seed):
    """Three blocks, each on two wheels of its own: where it stands, and how it is turned or how wide it is."""
    chance = np.random.default_rng(seed)
    names = "abc"
    at = [np.sort(chance.uniform(0, 90, 4)).round(chance.integers(0, 3)) for _ in names]
    turned = [chance.choice([0, 90, 180, 33.5, 301], 3, replace=False) for _ in names]
    wide = [f"wide_{name}" if chance.random() < 0.4 else "24" for name in names]
    parameters = [f"{name}: 0 mm, turn_{name}: 0 deg, wide_{name}: 20 mm" for name in names]
    scene = f"parameters: {{{', '.join(parameters)}}}\nparts:\n"
    layouts = "vary:\n"
    for k, name in enumerate(names):
        place = [f"{name} - 40", f"{30 * k * chance.random():.1f}", f"{chance.choice([0, 5, 36]):.0f}"]
        scene += (
            f"  {name}_part: {{model: block, with: {{width: {wide[k]}}}, "
            f"place: {{at: [{', '.join(place)}], turn: turn_{name}}}}}\n"
        )
        layouts += f"  {name}: [{', '.join(f'{value:g} mm' for value in at[k])}]\n"
        if wide[k] != "24":
            layouts += f"  wide_{name}: [20 mm, 35 mm, 60 mm]\n"
        else:
            layouts += f"  turn_{name}: [{', '.join(f'{value:g} deg' for value in turned[k])}]\n"
    return scene, layouts


@pytest.mark.parametrize("kept", [True, False])
def test_three_blocks_as_each_layout_alone(tmp_path, monkeypatch, kept):
    if not kept:
        monkeypatch.setattr(tabulated, "CROSSED_CELLS", 0)
    tables, found = compared(folder_of(tmp_path, *random_blocks(4)), every=5)
    # Each block was seen at its 12 stands; what two do to each other was never worked out but to agree.
    assert tables.worked_out <= 12 + 9
    assert 0.05 < (found == FREE).mean() < 0.95


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10, 22))
def test_random_blocks_as_each_layout_alone(tmp_path, seed):
    compared(folder_of(tmp_path, *random_blocks(seed)))


TWO = """\
parameters: {a: 0 mm, b: 0 mm, c: 0 mm}
parts:
  one: {model: block, place: {at: [a, 0, 0]}}
  two: {model: block, place: {at: [26 - b, 0, 0]}}
"""
VARY = (
    "vary: {a: {from: 0 mm, to: 8 mm, step: 1 mm}, b: {from: 0 mm, to: 8 mm, step: 1 mm}, c: [0 mm, 1 mm]}\n"
)


def test_parts_that_may_touch_are_left_to_the_checks(tmp_path):
    """The scene lets the feet press 2 mm: no table says how deep they are, so where they meet is asked."""
    touches = "touches: [{between: one, and: two, gives: 2 mm}]\n"
    tables = Tables(Asker(folder_of(tmp_path, TWO + touches, VARY)))
    assert tables.fill()
    found = tables.first_clashes(np.arange(tables.choices.count)).reshape(9, 9, 2)
    a, b = np.meshgrid(np.arange(9), np.arange(9), indexing="ij")
    for c in range(2):
        np.testing.assert_array_equal(found[..., c] == FREE, a + b <= 6)
        assert set(found[..., c][a + b > 6].tolist()) == {UNSURE}


@pytest.mark.parametrize("read_before", [True, False])
def test_a_contact_of_two_options_is_known_or_found_before_it_is_told(tmp_path, monkeypatch, read_before):
    """Two that may touch: one there only with the second option of `p`, the other with the third of `q`."""
    scene = "parameters: {a: 0 mm, b: 0 mm}\nparts:\n  lamp: {model: block, place: {at: [900, 0, 0]}}\n"
    scene += (
        "  post: {model: block, place: {at: [0, 900, 0]}}\ntouches: [{between: l*, and: p*, gives: 2 mm}]\n"
    )
    layouts = (
        "vary: {a: {from: 0 mm, to: 9 mm, step: 1 mm}, b: {from: 0 mm, to: 9 mm, step: 1 mm}}\nalternatives:\n"
        "  p: {as_drawn: {}, second: {parts: {lid: {model: block, place: {at: [a, 0, 0]}}}}, third: {}}\n"
        "  q: {as_drawn: {}, second: {}, third: {parts: {pan: {model: block, place: {at: [26 - b, 0, 0]}}}}}\n"
    )
    layouts = folder_of(tmp_path, scene, layouts)
    if not read_before:
        monkeypatch.setattr(tabulated, "followed_elsewhere", lambda layouts: set())
    tables = Tables(Asker(layouts))
    assert tables.fill()
    found = tables.first_clashes(np.arange(layouts.choices.count)).reshape(10, 10, 3, 3)
    a, b = np.meshgrid(np.arange(10), np.arange(10), indexing="ij")
    # What brings a part in that the contact names is worked out together, whatever else it hangs on.
    assert followed_elsewhere(layouts) == {frozenset({2, 3})}
    np.testing.assert_array_equal(found[..., 1, 2] == UNSURE, a + b > 6)
    found[..., 1, 2] = FREE
    assert (found == FREE).all()


def test_what_fails_in_a_rule_is_no_verdict(tmp_path):
    """No part reads `gap`, yet with c at 1 mm and d at 1 mm it divides by nothing."""
    scene = TWO.replace("c: 0 mm", "c: 0 mm, d: 0 mm, e: 0 mm, gap: 5 mm * (3 mm / (2 mm - c - d))")
    layouts = folder_of(tmp_path, scene, VARY.replace("}\n", ", d: [0 mm, 1 mm], e: [0 mm, 1 mm]}\n"))
    assert followed_elsewhere(layouts) == {frozenset({2, 3})}
    tables = Tables(Asker(layouts))
    assert tables.fill()
    found = tables.first_clashes(np.arange(layouts.choices.count)).reshape(9, 9, 2, 2, 2)
    assert (found[:, :, 1, 1] == UNSURE).all()
    assert not (found[:, :, 0] == UNSURE).any()
    assert not (found[:, :, 1, 0] == UNSURE).any()


@pytest.mark.parametrize("seed", range(3))
def test_interfering_is_what_the_engine_says_of_each_alone(seed):
    chance = np.random.default_rng(seed)
    corners = np.array(list(itertools.product((-9.0, 9.0), repeat=3)))
    tetra, faces = corners[[0, 3, 5, 6]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    made = (
        lambda: worlds.box([-7, -5, -9], [7, 5, 9]),
        lambda: worlds.rod([0, 0, -10], [0, 0, 10], 11.0),
        lambda: worlds.mesh(tetra, faces),
        lambda: worlds.mesh(tetra, faces[:3], closed=False),
    )
    parts = []
    for k in range(40):
        turn = turn_about(np.eye(3)[k % 3], float(chance.choice([0.0, 90.0, 17.0, 41.3])))
        at = chance.uniform(0, 45, 3) if k % 4 else np.round(chance.uniform(0, 4, 3)) * 10.0
        parts.append(worlds.part(f"p{k}", made[k % len(made)](), pose=Frame(turn, at)))
    bodies = worlds.bodies(worlds.world(*parts))
    rows = np.array(list(itertools.combinations(range(len(parts)), 2)))
    expected = [one.interferes for one in measure(bodies, rows, 0.0)]
    assert interfering(bodies, rows).tolist() == expected
    assert 20 < sum(expected) < len(rows) - 20


@pytest.mark.long
def test_a_case_with_freed_parts_as_each_layout_alone(tmp_path):
    """Pump and reservoir of the dome take places of their own, both ways, beside what varies in the demo."""
    text = (SCENES / "dome_render.yaml").read_text()
    freed = {
        "pump_left": ("left: 77, front: 3}", "left: pump_left, front: pump_front}", "77 mm"),
        "b_front": ("left: 8, front: 180,", "left: b_left, front: b_front,", "180 mm"),
        "pump_front": ("", "", "3 mm"),
        "b_left": ("", "", "8 mm"),
    }
    for name, (written, given, value) in freed.items():
        assert not written or text.count(written) == 1
        text = text.replace(written, given) if written else text
        text = text.replace("\nparts:\n", f"  {name}: {value}\n\nparts:\n", 1)
    (tmp_path / "scene.yaml").write_text(text)
    (tmp_path / "layouts.yaml").write_text(
        "scene: scene.yaml\nmeasure: fitting\nvary:\n  setback: {from: 2 mm, to: 50 mm, step: 12 mm}\n"
        "  pump_left: {from: 30 mm, to: 300 mm, step: 30 mm}\n  pump_front: {from: 3 mm, to: 240 mm, step: 60 mm}\n"
        "  b_left: {from: 8 mm, to: 300 mm, step: 40 mm}\n  b_front: {from: 60 mm, to: 280 mm, step: 40 mm}\n"
    )
    layouts = read_layouts(tmp_path / "layouts.yaml")
    tables, found = compared(layouts, every=layouts.choices.count // 300)
    assert tables._crosses
    assert 0.02 < (found == FREE).mean() < 0.98
