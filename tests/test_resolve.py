"""From a written scene to a placed world, on small models of our own with whole numbers.

The block is 40 x 20 x 10 (x, y, z) with its origin at its lower left front corner. Every
expected position is arithmetic shown beside it.
"""

from pathlib import Path

import pytest

import fitcheck
from fitcheck.scene.mistakes import Mistakes

BLOCK = """
model: block
summary: a plain block
frame: origin at the lower left front corner
parameters:
  length: {type: length, default: 40 mm, range: [1 mm, 500 mm], meaning: along x}
  width: {type: length, default: 20 mm, meaning: along y}
  height: {type: length, default: 10 mm, meaning: along z}
  rows: {type: count, default: 1, range: [0, 9], meaning: rows of holes}
  end: {type: choice, default: near, choices: [near, far], meaning: which end has the port}
derive:
  middle: length / 2
solids:
  body: {box: {low: [0, 0, 0], high: [length, width, height]}}
faces:
  under: {of: body, side: -z}
  over: {of: body, side: +z}
  flank: {of: body, side: +x}
ports:
  near_port: {when: {end: near}, at: [0, width / 2, height / 2], axis: -x, thread: G1/4, gender: female, depth: 8}
  far_port: {when: {end: far}, at: [length, width / 2, height / 2], axis: +x, thread: G1/4, gender: female, depth: 8}
holes:
  hole: {repeat: {i: rows}, at: [i * 10, width / 2, height], axis: +z, diameter: 3}
"""
STUB = """
model: stub
summary: a male stub with its thread along +z
frame: origin at the shoulder
solids:
  collar: {cylinder: {from: [0, 0, -12], to: [0, 0, 0], diameter: 18}}
  thread: {cylinder: {from: [0, 0, 0], to: [0, 0, 5], diameter: 13}}
ports:
  tip: {at: [0, 0, 0], axis: +z, thread: G1/4, gender: male, depth: 5, of: collar, reach: thread}
  tail: {at: [0, 0, -12], axis: -z, thread: G3/8, gender: male, depth: 5, of: collar}
  wire: {at: [0, 0, -12], axis: -z, plug: ways_4, gender: male, depth: 5, of: collar}
"""
ROOM = """
model: room
summary: a floor with a space above it
frame: origin at the lower left front corner of the floor
parameters:
  deep: {type: length, default: 200 mm, meaning: inner depth}
solids:
  ground: {box: {low: [0, 0, 0], high: [100, deep, 2]}}
compartments:
  space: {low: [0, 0, 2], high: [100, deep, 82], walls: {floor: ground}}
"""
PAIR = """
model: pair
summary: two blocks, one on the other
frame: that of the lower block
parameters:
  top_length: {type: length, default: 20 mm, meaning: length of the upper block}
use:
  lower: {model: block, with: {rows: 2}}
  upper: {model: block, with: {length: top_length}, place: {rest: under, on: lower.over, left: 0, front: 0}}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    own = tmp_path / "own"
    own.mkdir()
    for text in (BLOCK, STUB, ROOM, PAIR):
        (own / f"{text.split()[1]}.yaml").write_text(text)
    return tmp_path


def load(folder: Path, text: str, **values):
    scene = folder / "scene.yaml"
    scene.write_text("model_folders: [own]\n" + text)
    return fitcheck.load(scene, values)


def bounds(world, name):
    return [[round(x, 6) for x in row] for row in world.by_name[name].bounds.tolist()]


def mistakes(folder: Path, text: str, **values) -> list[str]:
    with pytest.raises(Mistakes) as caught:
        load(folder, text, **values)
    return [str(item).replace(f"{folder}/", "") for item in caught.value.items]


IN_ROOM = """
parts:
  room: {model: room}
  a: {model: block, place: {rest: under, on: room.space.floor, left: 10, front: 30}}
"""


def test_unturned_on_a_floor(folder):
    # Left edge at 10, front edge at 30, on the 2 mm floor.
    assert bounds(load(folder, IN_ROOM), "a") == [[10, 30, 2], [50, 50, 12]]


def test_side_words_stay_the_worlds_when_turned(folder):
    world = load(folder, IN_ROOM.replace("left: 10", "turn: 90, left: 10"))
    # Turned by 90 degrees its length runs to the rear: 20 wide, 40 deep, edges still at 10 and 30.
    assert bounds(world, "a") == [[10, 30, 2], [30, 70, 12]]


def test_side_words_on_a_host_that_is_turned(folder):
    text = """
parts:
  a: {model: block, place: {at: [0, 0, 0], turn: 180}}
  b: {model: block, with: {length: 8, width: 6}, place: {rest: under, on: a.over, right: 1, rear: 2}}
"""
    world = load(folder, text)
    # a turned by 180 degrees about z covers x -40..0, y -20..0. b's right edge 1 inside x 0,
    # its rear edge 2 inside y 0; it turns with its host (along to along), which leaves 8 x 6.
    assert bounds(world, "a") == [[-40, -20, 0], [0, 0, 10]]
    assert bounds(world, "b") == [[-9, -8, 10], [-1, -2, 20]]


def test_mirror_swaps_the_ends_in_its_own_frame(folder):
    text = """
parts:
  a: {model: block, place: {at: [0, 0, 0], mirror: x}}
  s: {model: stub, place: {join: tip, to: a.near_port}}
"""
    world = load(folder, text)
    # Mirrored along x: -40..0; the near port (x 0, looking to -x) stays at x 0 and looks to +x.
    assert bounds(world, "a") == [[-40, 0, 0], [0, 20, 10]]
    # The stub's collar (12 long) stands off to +x, its thread (5) lies inside to -x.
    assert bounds(world, "s")[0][0] == -5
    assert bounds(world, "s")[1][0] == 12


def test_parts_on_parts_on_parts_with_a_pad_between(folder):
    text = """
parts:
  a: {model: block}
  b: {model: block, place: {rest: under, on: a.over, left: 5, front: 0}}
  c: {model: block, place: {rest: under, on: b.over, left: 5, front: 0, lift: 1/2 in}}
"""
    world = load(folder, text)
    assert bounds(world, "b") == [[5, 0, 10], [45, 20, 20]]
    # Half an inch is 12.7: 20 + 12.7.
    assert bounds(world, "c") == [[10, 0, 32.7], [50, 20, 42.7]]
    # Lifted off, it touches nothing: only b's rest is a contact that is meant.
    assert [(c.a, c.b) for c in world.contacts] == [("b", "a")]


def test_match_lays_hole_over_hole(folder):
    text = """
parts:
  a: {model: block, with: {rows: 3}}
  b: {model: block, with: {rows: 1}, place: {rest: under, on: a.over, match: {mine: "hole[1]", theirs: "a.hole[3]"}}}
"""
    # My hole at x 10 over theirs at x 30: shifted by 20.
    assert bounds(load(folder, text), "b") == [[20, 0, 10], [60, 20, 20]]


def test_long_ruler_from_feature_to_wall(folder):
    text = """
parts:
  room: {model: room}
  a:
    model: block
    place:
      rest: under
      on: room.space.floor
      centre: across
      ruler: [{mine: near_port, theirs: room.space.rear_wall, apart: 80, towards: front}]
      turn: 90
"""
    world = load(folder, text)
    # The room is 200 deep; 80 in front of the rear wall is y 120. Turned by 90 degrees the near
    # port (own x 0) is the front end, so the block runs from y 120 to 160, centred on x 50.
    assert bounds(world, "a") == [[40, 120, 2], [60, 160, 12]]


def test_ruler_between_edges_named_in_full(folder):
    text = IN_ROOM.replace(
        "left: 10, front: 30", "front: 30, ruler: [{mine: right, theirs: left, apart: 15, towards: right}]"
    )
    # My right edge 15 to the right of the floor's left edge: x 15, so the block is -25..15.
    assert bounds(load(folder, text), "a") == [[-25, 30, 2], [15, 50, 12]]


def test_lean_tips_about_the_named_edge(folder):
    world = load(folder, IN_ROOM.replace("front: 30}", "front: 30, lean: {to: left, by: 90}}"))
    # Tipped a quarter to the left about its left lower edge (x 10, z 2): height 10 now lies to the
    # left (x 0..10) and the length 40 stands up.
    assert bounds(world, "a") == [[0, 30, 2], [10, 50, 42]]


def test_join_with_a_turn_counts_from_the_hosts_axis(folder):
    text = """
parts:
  a: {model: block, with: {end: far}, place: {at: [0, 0, 100]}}
  s: {model: stub, place: {join: tip, to: a.far_port, turn: 30}}
"""
    world = load(folder, text)
    # The far port is at (40, 10, 105), looking right: thread 5 inside, collar 12 outside, radius 9.
    assert bounds(world, "s") == [[35, 1, 96], [52, 19, 114]]
    (contact,) = world.contacts
    assert (contact.kind, contact.a, contact.b, contact.reach) == ("join", "s", "a", "thread")
    assert contact.zone.at.tolist() == [40, 10, 105]
    assert contact.zone.inward.tolist() == [-1, 0, 0]
    assert contact.zone.depth == 8


def test_absolute_puts_a_named_feature_there(folder):
    text = "parts:\n  a: {model: block, place: {at: [100, 50, 7], put: near_port, turn: 180}}\n"
    # The near port (0, 10, 5) comes to (100, 50, 7); turned by 180 the block lies to its left.
    assert bounds(load(folder, text), "a") == [[60, 40, 2], [100, 60, 12]]


def test_absolute_in_the_frame_of_another_part(folder):
    text = """
parts:
  a: {model: block, place: {at: [100, 0, 0], turn: 90}}
  b: {model: block, place: {at: [40, 0, 0], of: a}}
"""
    # In a's frame 40 to its own right is 40 to the rear; b is turned with a: x 80..100, y 40..80.
    assert bounds(load(folder, text), "b") == [[80, 40, 0], [100, 80, 10]]


def test_assembly_is_placed_as_one_and_named_inside(folder):
    text = """
parts:
  p: {model: pair, place: {at: [0, 0, 50], turn: 90}}
  b: {model: block, with: {length: 5, width: 5}, place: {rest: under, on: p.upper.over, left: 0, front: 0}}
"""
    world = load(folder, text)
    # Turned by 90: own x to the rear, own y to the left. The lower block is x -20..0, y 0..40; the
    # upper one 20 long: y 0..20, z 60..70.
    assert bounds(world, "p.lower") == [[-20, 0, 50], [0, 40, 60]]
    assert bounds(world, "p.upper") == [[-20, 0, 60], [0, 20, 70]]
    assert bounds(world, "b") == [[-20, 0, 70], [-15, 5, 80]]
    assert {(c.a, c.b) for c in world.contacts} == {("p.upper", "p.lower"), ("b", "p.upper")}
    assert [p.group for p in world.parts] == ["p", "p", "p", "b"]


def test_mirrored_assembly_keeps_its_parts_together(folder):
    world = load(folder, "parts:\n  p: {model: pair, place: {at: [0, 0, 0], mirror: x}}\n")
    assert bounds(world, "p.lower") == [[-40, 0, 0], [0, 20, 10]]
    # The upper block sat at the lower's left end (x 0..20); mirrored that is -20..0.
    assert bounds(world, "p.upper") == [[-20, 0, 10], [0, 20, 20]]


def test_repeat_counts_from_one(folder):
    text = """
parts:
  a: {repeat: {i: 3}, model: block, with: {length: 10 * i}, place: {at: [(i - 1) * 100, 0, 0]}}
  b: {model: block, place: {rest: under, on: "a[3].over", left: 0, front: 0}}
"""
    world = load(folder, text)
    assert bounds(world, "a[3]") == [[200, 0, 0], [230, 20, 10]]
    assert bounds(world, "b")[0] == [200, 0, 10]


def test_a_feature_of_one_part_sets_a_value_of_another(folder):
    text = """
parameters:
  rest_of_room: room.space.depth - a.rear - 10
parts:
  b: {model: block, with: {length: rest_of_room}, place: {rest: under, on: room.space.floor, turn: 90, front: a.rear, left: a.near_port.x}}
  a: {model: block, place: {rest: under, on: room.space.floor, left: 10, front: 30}}
  room: {model: room, with: {deep: 5 * a.width + 100}}
"""
    world = load(folder, text)
    # a is 20 wide, so the room is 200 deep; a ends at y 50; 200 - 50 - 10 = 140 long, laid to the
    # rear from y 50, its left edge at the port's x 10.
    assert bounds(world, "b") == [[10, 50, 2], [30, 190, 12]]
    assert world.parameters == {"rest_of_room": 140}


def test_parameters_from_outside_and_choices(folder):
    text = """
parameters:
  side: {value: near, choices: [near, far], meaning: where the port is}
  n: 2
parts:
  a: {model: block, with: {end: side, rows: n}}
"""
    assert list(load(folder, text, side="far", n="3").by_name["a"].shape.ports) == ["far_port"]
    assert list(load(folder, text).by_name["a"].shape.ports) == ["near_port"]
    assert len(load(folder, text, n="3").by_name["a"].shape.holes) == 3


@pytest.mark.parametrize(
    ("entry", "long"),
    [
        ("{value: 12 cm, type: length, choices: [120 mm, 14 cm]}", 120),
        ("{value: 12 cm, choices: [120 mm, 14 cm]}", 120),  # figures need no type
        ("{value: 120, choices: [120 mm, 14 cm]}", 120),  # a bare number takes the unit
        ("{value: 60 mm * 2, choices: [120 mm, 14 cm]}", 120),
        ("{value: 0.1 + 0.2, choices: [0.3, 4]}", 0.3),  # 0.30000000000000004 in binary
        ("{value: 54 ± 0.5 mm, choices: [54 mm, 60 mm]}", 54),
    ],
)
def test_figures_are_chosen_by_value(folder, entry, long):
    text = f"parameters: {{size: {entry}}}\nparts: {{a: {{model: block, with: {{length: size + 10}}}}}}\n"
    assert bounds(load(folder, text), "a")[1][0] == pytest.approx(10 + long)


WHEN = """
parameters: {side: {value: near, choices: [near, far]}, size: {value: 12 cm, range: [1 cm, none]}, bare: yes, n: 3}
parts: {a: {model: block, repeat: {i: 3, k: 2}, when: @, place: {at: [i * 100, k * 50, 0]}}}
"""


@pytest.mark.parametrize(
    ("when", "made"),
    [
        ("{side: near}", 6), ("{side: [far, near]}", 6), ("{side: far}", 0),
        ("{size: 120}", 6), ("{size: 12 cm}", 6), ("{size: 4 cm * 3}", 6), ("{size: 130 mm}", 0),
        ("{bare: yes}", 6), ("{bare: no}", 0), ("{n: 3, side: near}", 6), ("{n: 3, side: far}", 0),
        ("{i: [1, 3], k: 2}", 2),  # a[1][2] and a[3][2]
        ("{i: n}", 2),
    ],
)  # fmt: skip
def test_parts_that_are_made_only_when(folder, when, made):
    assert len(load(folder, WHEN.replace("@", when)).parts) == made


@pytest.mark.parametrize(
    ("when", "said"),
    [
        ("{side: fra}", "4:62: side: `fra` is none of the choices near, far; write far"),
        ("{sidee: far}", "4:56: sidee: there is no parameter `sidee` here; write side"),
        ("{size: 5 deg}", "4:62: size: an angle stands where a length is due"),
        ("{size: near}", "4:62: size: there is no `near` here"),
    ],
)
def test_a_wrong_when_is_refused(folder, when, said):
    (found,) = mistakes(folder, WHEN.replace("@", when))
    assert found == f"scene.yaml:{said}"


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (
            "{value: 13 cm, choices: [120 mm, 14 cm]}",
            "2:25: a: `13 cm` is none of the choices 120 mm, 14 cm; write 14 cm",
        ),
        (
            "{value: 0, range: [1 cm, 30 ± 1 mm]}",
            "2:25: a: 0 is below 1 cm, the end of its range; write 1 cm",
        ),
        (
            "{value: 2 cm, range: [1 cm, 30 ± 1 mm]}",
            "2:38: range: an uncertain value cannot stand here; write one number",
        ),
    ],
)
def test_values_out_of_choices_and_range_are_refused(folder, entry, said):
    (found,) = mistakes(folder, f"parameters: {{a: {entry}}}\nparts: {{b: {{model: block}}}}\n")
    assert found == f"scene.yaml:{said}"


def test_a_files_name_may_be_a_parameter(folder):
    (folder / "own" / "scan.yaml").write_text(
        "model: scan\nparameters: {file: {type: file}}\nsolids: {body: {mesh: {file: file, unit: mm}}}\n"
    )
    (folder / "tetrahedron.obj").write_text(
        "v 0 0 0\nv 10 0 0\nv 0 20 0\nv 0 0 30\nf 1 3 2\nf 1 2 4\nf 2 3 4\nf 1 4 3\n"
    )
    text = "parameters: {shape: {value: tetrahedron.obj, type: file}}\nparts: {a: {model: scan, with: {file: shape}}}\n"
    assert bounds(load(folder, text), "a") == [[0, 0, 0], [10, 20, 30]]


def test_uncertain_lengths_are_drawn_and_remembered(folder):
    text = """
parameters: {core: 54 +1/-0.2 mm}
parts:
  a: {model: block, with: {length: core, width: at most 146 mm, height: 30 .. 45 mm}}
"""
    world = load(folder, text)
    assert bounds(world, "a") == [[0, 0, 0], [54, 146, 45]]
    assert [(m.name, m.low, m.nominal, m.high, m.measured) for m in world.uncertain] == [
        ("a.height", 30, 45, 45, False),
        ("a.width", 0, 146, 146, False),
        ("core", 53.8, 54, 55, True),
    ]


def test_claims_touches_and_views_are_looked_up(folder):
    text = (
        IN_ROOM.rstrip()[:-1]
        + """, inside: room.space}
  b: {model: block, place: {at: [60, 30, 2]}}
touches: [{between: b, and: room.ground, gives: 0.5}]
views:
  side: {look: from left, cut: {x: a.left + 5}, hide: [b]}
"""
    ).replace("front: 30, inside", "front: 30}, inside")
    world = load(folder, text)
    assert world.by_name["a"].claims == "room.space"
    touch = world.contacts[-1]
    assert (touch.kind, touch.a, touch.b, touch.solids_b, touch.gives) == (
        "touches",
        "b",
        "room",
        ("ground",),
        0.5,
    )
    assert world.views["side"]["cut"] == {"x": 15}
    assert world.compartments["room.space"].bounds.tolist() == [[0, 0, 2], [100, 200, 82]]


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ("a: {model: block, place: {rest: under, on: b.over, centre: both}}\n  b: {model: block, place: {rest: under, on: a.over, centre: both}}",
         "depends on itself: place of a → place of b → place of a"),
        ("a: {model: block, with: {length: a.left + 5}}", "depends on itself"),
        ("a: {model: block, with: {lenght: 5}}", "block has no parameter `lenght`; it has length, width, height, rows, end; write length"),
        ("a: {model: block, with: {end: nera}}", "nera"),
        ("a: {model: block, with: {rows: 12}}", "12 is outside 0 to 9 (block, own/block.yaml:9)"),
        ("a: {model: block, with: {rows: 2.5}}", "whole"),
        ("a: {model: block, with: {length: 3 * 20 mm * 2 mm}}", "area"),
        ("a: {model: block}\n  s: {model: stub, place: {join: tip, to: a.nar_port}}", "block has no port `nar_port`"),
        ("a: {model: block}\n  s: {model: stub, place: {join: tip, to: a.far_port}}", "block has no port `far_port` (it has near_port)"),
        ("a: {model: block}\n  s: {model: stub, place: {join: tail, to: a.near_port}}", "thread G3/8 does not join thread G1/4"),
        ("a: {model: block}\n  s: {model: stub, place: {join: wire, to: a.near_port}}", "a plug (ways_4) does not join a thread (G1/4)"),
        ("a: {model: block}\n  s: {model: stub}\n  t: {model: stub, place: {join: tip, to: s.tip}}", "male to male does not join"),
        ("a: {model: block}\n  b: {model: block, place: {rest: under, on: a.ovre, centre: both}}", "block has no face `ovre`"),
        ("a: {model: block}\n  b: {model: block, place: {rest: under, on: aa.over, centre: both}}", "there is no `aa` here"),
        ("a: {model: block}\n  b: {model: block, place: {rest: under, on: a.over, top: 3, left: 1}}", "top points out of the face over"),
        ("a: {model: block}\n  b: {model: block, place: {at: [a.near_port.q, 0, 0]}}", "block has no"),
        ("a: {repeat: {i: 2}, model: block}\n  b: {model: block, place: {rest: under, on: 'a[3].over', centre: both}}", "(a[1] to a[2] are)"),
        ("a: {model: block, inside: room.spaec}\n  room: {model: room}", "there is no compartment `room.spaec` (there are room.space); write room.space"),
        ("room: {model: room, place: {at: [0, 0, 0], turn: 45}}", "turns by quarter turns only"),
    ],
)  # fmt: skip
def test_mistakes_say_where_and_what(folder, parts, expected):
    said = mistakes(folder, f"parts:\n  {parts}\n")
    assert any(expected in line for line in said), said
    assert all(line.startswith(("scene.yaml:", "own/")) for line in said)


def test_all_mistakes_at_once_and_only_once(folder):
    text = """
parameters: {core: 5 kg}
parts:
  a: {model: block, with: {length: core, width: hight, rows: 99}}
  b: {model: block, place: {rest: under, on: a.over, left: core, front: 2}}
  c: {model: block, place: {rest: undr, on: b.over, centre: both}}
  d: {model: block, plaec: {rest: under, on: b.over, centre: both}}
  e: {model: block, place: {rest: under, on: d.over, centre: both}, inside: nowhere.at_all}
  f: {model: blck}
rules:
  clearance: {defualt: 2 mm}
"""
    said = mistakes(folder, text)
    # The unit, the misspelt name, the face, the key, the model, the rule's key; what rests on one
    # of them (a's rows wait for a's width, e for d) stays silent.
    assert [line.split(":")[1] for line in said] == ["3", "5", "7", "8", "10", "12"]


def test_a_rule_for_nobody_is_told(folder):
    said = mistakes(folder, IN_ROOM + "rules: {clearance: {pairs: [{between: a, and: rom, at_least: 3}]}}\n")
    assert len(said) == 1
    assert said[0].endswith("write room")


def test_a_long_chain_is_refused_before_python_gives_up(folder):
    parts = "\n".join(
        f"  p{k}: {{model: block, place: {{rest: under, on: p{k + 1}.over, centre: both}}}}"
        for k in range(200)
    )
    said = mistakes(folder, f"parts:\n{parts}\n  p200: {{model: block}}\n")
    assert any("chain of more than" in line for line in said)


def test_order_of_the_file_does_not_matter(folder):
    forward = load(folder, IN_ROOM)
    lines = IN_ROOM.strip().splitlines()
    backward = load(folder, "\n".join([lines[0], lines[2], lines[1]]) + "\n")
    assert bounds(forward, "a") == bounds(backward, "a")
