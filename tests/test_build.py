"""A model's file and values to its shape: values, repeats, solids, cut-outs, named places, mistakes.

Expected numbers are arithmetic on the sizes written in each model; volumes are asked of trimesh.
"""

from __future__ import annotations

import json
import math
import time

import numpy as np
import pytest
import trimesh
from hypothesis import given as drawn
from hypothesis import settings
from hypothesis import strategies as st

import fitcheck
from fitcheck.outputs.json import report_json
from fitcheck.outputs.text import report_text
from fitcheck.parts.build import FileName, GivenMistake, build_shape, evaluate_model
from fitcheck.parts.mirror import mirrored
from fitcheck.parts.outline import piece_triangles
from fitcheck.parts.pieces import bounds
from fitcheck.parts.solids import Kind, Solid
from fitcheck.scene.expression import Amount
from fitcheck.scene.mistakes import Mistakes
from fitcheck.scene.read import Model, library, read_model

X, Y, Z = np.eye(3)


def model(tmp_path, text: str, name="part") -> Model:
    """A model from text; its file is named as in a real folder, so that marks can be compared."""
    path = tmp_path / f"{name}.yaml"
    path.write_text(f"model: {name}\n{text}")
    return read_model(path, f"models/{name}.yaml")


def mm(value):
    return Amount(float(value), length=1)


def bare(value):
    return Amount(float(value), bare=True)


def shape(tmp_path, text, **given):
    made = model(tmp_path, text)
    return build_shape(made, evaluate_model(made, given))


def mistakes(tmp_path, text, **given) -> list[str]:
    with pytest.raises(Mistakes) as caught:
        shape(tmp_path, text, **given)
    return [str(item) for item in caught.value.items]


def refusal(tmp_path, text, **given) -> GivenMistake:
    with pytest.raises(GivenMistake) as caught:
        evaluate_model(model(tmp_path, text), given)
    return caught.value


def volume(solid: Solid) -> float:
    (piece,) = solid.pieces
    vertices, faces = piece_triangles(piece)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight
    return mesh.volume


VALUES = """
parameters:
  fans:  {type: count, default: 3, range: [1, 5]}
  size:  {type: length, default: 12 cm, range: [80, 200 mm]}
  side:  {type: choice, default: near, choices: [near, far, both]}
  lean:  {type: angle, default: 10}
  share: {type: number, default: 0.5, range: [none, 1]}
  glass: {type: flag, default: no}
  label: {type: text, default: left one}
  pitch: {type: length, default: usual}
derive:
  length: row + 2 * tank
  row: fans * size
  tank: {pick: side, from: {near: 10, far: 20, both: 15}}
  usual: {pick: size, from: {80: 71.5, 120 mm: 105}, otherwise: size - 15}
"""


def test_values_in_any_order(tmp_path):
    values = evaluate_model(model(tmp_path, VALUES), {})
    assert list(values) == [
        "fans", "size", "side", "lean", "share", "glass", "label", "pitch", "length", "row", "tank", "usual",
    ]  # fmt: skip
    assert values["size"] == mm(120)
    assert values["lean"] == Amount(10.0, angle=1)
    assert (values["fans"], values["share"]) == (Amount(3.0), Amount(0.5))
    assert (values["side"], values["glass"], values["label"]) == ("near", False, "left one")
    assert values["row"] == mm(360)
    assert values["length"] == mm(380)
    assert values["pitch"].value == 105


def test_given_values_take_the_kind_declared(tmp_path):
    values = evaluate_model(
        model(tmp_path, VALUES), {"size": bare(140), "fans": bare(2), "side": "both", "glass": "yes"}
    )
    assert values["size"] == mm(140)
    assert values["fans"] == Amount(2.0)
    assert (values["side"], values["glass"]) == ("both", True)
    # 2 x 140 + 2 x 15; no pitch is known for 140, so 140 - 15.
    assert (values["length"].value, values["pitch"].value) == (310, 125)


@pytest.mark.parametrize(
    ("given", "problem", "mend"),
    [
        ({"fans": bare(7)}, "7 is outside 1 to 5 (part, models/part.yaml:4)", "write 5"),
        ({"fans": bare(0)}, "0 is outside 1 to 5 (part, models/part.yaml:4)", "write 1"),
        ({"fans": bare(2.5)}, "2.5 is not a whole number (part, models/part.yaml:4)", "write 2, or 3"),
        ({"fans": mm(2)}, "a length stands where a whole number is due (part, models/part.yaml:4)", ""),
        ({"size": mm(250)}, "250 mm is outside 80 mm to 200 mm (part, models/part.yaml:5)", "write 200 mm"),
        ({"size": "big"}, "expected a length, such as 30 mm or 1 1/4 in, found `big` (part,", ""),
        ({"side": "nera"}, "`nera` is none of the choices near, far, both (part, models/part.yaml:6)", "write near"),
        ({"share": Amount(1.5)}, "1.5 is above 1 (part, models/part.yaml:8)", "write 1"),
        ({"glass": "maybe"}, "expected yes or no, found `maybe` (part, models/part.yaml:9)", ""),
        ({"fanz": bare(3)}, "part has no parameter `fanz`; it has fans, size,", "write fans"),
    ],
)  # fmt: skip
def test_wrong_given_values_name_the_parameter(tmp_path, given, problem, mend):
    wrong = refusal(tmp_path, VALUES, **given)
    assert wrong.problem.startswith(problem)
    assert wrong.mend == mend
    assert [wrong.name] == list(given)
    assert wrong.also == ()


def test_all_wrong_given_values_at_once(tmp_path):
    wrong = refusal(tmp_path, VALUES, fans=bare(9), size=mm(1), side="up")
    assert [wrong.name, *(other.name for other in wrong.also)] == ["fans", "size", "side"]


def test_a_parameter_without_default_must_be_given(tmp_path):
    wrong = refusal(tmp_path, "parameters: {depth: {type: length, meaning: front to rear}}")
    assert wrong.name == "depth"
    assert wrong.problem == "part needs depth (front to rear) and has no default for it"


def test_a_default_worked_out_from_given_values_blames_the_scene(tmp_path):
    text = """
parameters:
  width:  {type: length, default: 100}
  spread: {type: length, default: width / 2, range: [30, 200]}
"""
    wrong = refusal(tmp_path, text, width=mm(40))
    assert wrong.name == "spread"
    assert (
        wrong.problem == "its default width / 2: 20 mm is outside 30 mm to 200 mm (part, models/part.yaml:5)"
    )
    assert wrong.mend == "give spread: 30 mm"
    values = evaluate_model(model(tmp_path, text), {"width": mm(40), "spread": mm(30)})
    assert values["spread"] == mm(30)


def test_ranges_may_name_values_that_rest_on_the_value_itself(tmp_path):
    text = """
parameters: {pitch: {type: length, default: 105, range: [0, room]}}
derive: {room: pitch + edge, edge: 20}
"""
    assert evaluate_model(model(tmp_path, text), {})["room"] == mm(125)


def test_choices_of_lengths(tmp_path):
    text = "parameters: {size: {type: length, default: 120, choices: [80, 120 mm, 14 cm]}}"
    assert evaluate_model(model(tmp_path, text), {"size": mm(140)})["size"] == mm(140)
    assert refusal(tmp_path, text, size=mm(130)).problem.startswith(
        "`130 mm` is none of the choices 80, 120 mm, 14 cm"
    )


@pytest.mark.parametrize(("size", "made"), [("12 cm", ["small"]), ("5 1/2 in", ["large"])])
def test_figures_are_chosen_by_value(tmp_path, size, made):
    """12 cm = 120 mm; 5.5 x 25.4 = 139.7 mm."""
    text = f"""
parameters: {{size: {{type: length, default: {size}, choices: [120 mm, 139.7]}}}}
solids:
  small: {{when: {{size: 12 cm}}, box: {{low: [0, 0, 0], high: [size, 1, 1]}}}}
  large: {{when: {{size: [5.5 in]}}, box: {{low: [0, 0, 0], high: [size, 1, 1]}}}}
"""
    one = model(tmp_path, text)
    assert list(build_shape(one, evaluate_model(one, {})).solids) == made


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "derive: {a: b + 1 mm, b: c, c: a}",
            ["models/part.yaml:2:32: c: a depends on itself: a → b → c → a"],
        ),
        ("derive: {a: size + 1}", ["models/part.yaml:2:13: a: there is no `size` in this model"]),
        (
            "parameters: {size: {type: length, default: 5}}\nderive: {a: sise + 1}",
            ["models/part.yaml:3:13: a: there is no `sise` in this model; write size"],
        ),
        (
            "parameters: {side: {type: choice, default: near, choices: [near]}}\nderive: {a: 2 * side}",
            ["models/part.yaml:3:17: a: side is `near`, which cannot be calculated with"],
        ),
        (
            "parameters: {fans: {type: count, default: 9, range: [1, 5]}}",
            ["models/part.yaml:2:43: fans: 9 is outside 1 to 5 (part, models/part.yaml:2); write 5"],
        ),
        (
            "parameters: {n: {type: count, default: 3}}\nderive: {a: {pick: n, from: {1: 5, 2: 6}}}",
            ["models/part.yaml:3:13: a: n is 3, which is none of 1, 2; add it to from, or give otherwise"],
        ),
        (
            "parameters: {n: {type: length, default: 3 ± 1 mm}}",
            ["models/part.yaml:2:41: n: an uncertain value cannot stand here; write one number"],
        ),
    ],
)
def test_mistakes_of_values_stand_at_their_place(tmp_path, text, expected):
    assert mistakes(tmp_path, text) == expected


def test_independent_mistakes_come_together_and_consequences_do_not(tmp_path):
    text = """
derive:
  a: nothing + 1
  b: a + 1
  c: other + 1
solids:
  rod: {cylinder: {from: [0, 0, 0], to: [0, 0, 0], diameter: 5}}
"""
    assert [line.split(": ")[1] for line in mistakes(tmp_path, text)] == ["a", "c"]


def test_a_long_chain_of_values_ends_in_words(tmp_path):
    chain = ", ".join(f"v{k}: v{k + 1} + 1" for k in range(1500))
    said = mistakes(tmp_path, f"derive: {{{chain}, v1500: 1}}")
    assert any("more than 24 values lead to each other" in line for line in said)


SOLIDS = """
parameters:
  fans: {type: count, default: 2}
  ends: {type: choice, default: near, choices: [near, far, both]}
solids:
  core: {box: {low: [-60, -60, -30], high: [60 * fans, 60, 0]}, role: core}
  rod:  {cylinder: {from: [0, 0, 0], to: [0, 30, 40], diameter: 20}}
  pipe: {cylinder: {from: [0, 0, 0], to: [0, 0, 40], diameter: 20, bore: 12}, transparent: yes}
  angle: {prism: {along: x, from: 0, to: 80, outline: [[0, 0], [20, 0], [20, 2], [2, 2], [2, 20], [0, 20]]}}
  bent: {tube: {path: [[0, 0, 0], [0, 0, 50], [50, 0, 50]], bend_radius: 24, diameter: 16}}
  base: {sheet: {low: [0, 0, 0], high: [300, 400, 1.5]}}
  drawn: {sheet: {along: y, from: 5, to: 7, outline: [[0, 0], [30, 0], [0, 40]]}}
  lever: {box: {low: [0, 0, 0], high: [30, 10, 5]}, turn: {about: z, by: 90, at: [10, 0, 0]}}
  tank: {when: {ends: [near, both]}, repeat: {k: 2}, box: {low: [0, 0, k * 1], high: [1, 1, k * 1 + 1]}}
  foot: {when: {fans: 3}, box: {low: [0, 0, 0], high: [1, 1, 1]}}
"""


def test_every_kind_of_solid(tmp_path):
    solids = shape(tmp_path, SOLIDS).solids
    assert list(solids) == [
        "core", "rod", "pipe", "angle", "bent", "base", "drawn", "lever", "tank[1]", "tank[2]",
    ]  # fmt: skip
    kinds = {name: solid.pieces[0].kind for name, solid in solids.items()}
    assert kinds["core"] == kinds["base"] == kinds["lever"] == Kind.BOX
    assert kinds["rod"] == kinds["bent"] == Kind.CYLINDER
    assert kinds["pipe"] == kinds["angle"] == kinds["drawn"] == Kind.MESH
    assert bounds(solids["core"].pieces).tolist() == [[-60, -60, -30], [120, 60, 0]]
    assert solids["rod"].pieces[0].half == pytest.approx([10, 10, 25])
    assert solids["rod"].pieces[0].rotation[:, 2] == pytest.approx([0, 0.6, 0.8])
    assert volume(solids["pipe"]) == pytest.approx(math.pi * (100 - 36) * 40, rel=2e-3)
    assert volume(solids["angle"]) == pytest.approx(76 * 80)
    assert volume(solids["drawn"]) == pytest.approx(30 * 40 / 2 * 2)
    assert bounds(solids["drawn"].pieces) == pytest.approx(np.array([[0, 5, 0], [30, 7, 40]]))
    # (x, y) goes to (10 - y, x - 10): the box 30 x 10 from (0, 0) lands from (0, -10) to (10, 20).
    assert bounds(solids["lever"].pieces) == pytest.approx(np.array([[0, -10, 0], [10, 20, 5]]))
    assert bounds(solids["tank[2]"].pieces).tolist() == [[0, 0, 2], [1, 1, 3]]
    assert (solids["core"].role, solids["rod"].role) == ("core", "body")
    assert (solids["pipe"].transparent, solids["rod"].transparent) == (True, False)
    assert [solids[n].error for n in ("core", "rod", "angle", "base")] == [0, 0, 0, 0]
    assert 0 < solids["pipe"].error <= 0.005
    assert 0 < solids["bent"].error <= 0.005


def test_when_leaves_out_and_lets_in(tmp_path):
    names = set(shape(tmp_path, SOLIDS, ends="far", fans=bare(3)).solids)
    assert "foot" in names
    assert not names & {"tank[1]", "tank[2]"}


CUTS = """
parameters: {hole: {type: length, default: 20}}
solids:
  base: {sheet: {low: [0, 0, 0], high: [300, 400, 1.5]}}
  wall: {sheet: {low: [0, 0, 0], high: [2, 100, 100]}, turn: {about: y, by: 90}}
  angle: {prism: {along: x, from: 0, to: 80, outline: [[0, 0], [20, 0], [20, 2], [2, 2], [2, 20], [0, 20]]}}
holes:
  screw: {repeat: {i: 2, k: 2}, at: [100 * i, 100 * k, 1.5], axis: +z, diameter: hole, cuts: base}
  leg: {at: [40, 12, 2], axis: +z, diameter: 4, depth: 2, cuts: angle}
  blind: {at: [40, 2, 12], axis: +y, diameter: 4, depth: 1, cuts: angle}
openings:
  slit: {at: [150, 350, 0], axis: -z, up: +y, slot: [40, 8], cuts: base}
  gland: {at: [50, 50, -1], axis: +z, up: +x, rectangle: [55, 20], cuts: wall}
"""


def test_cut_outs_are_real_holes(tmp_path):
    made = shape(tmp_path, CUTS)
    assert list(made.holes) == [*(f"screw[{i}][{k}]" for i in (1, 2) for k in (1, 2)), "leg", "blind"]
    base = made.solids["base"]
    true = (300 * 400 - 4 * math.pi * 100 - 32 * 8 - math.pi * 16) * 1.5
    rounds = 4 * math.pi * 20 + math.pi * 8
    assert 0 <= volume(base) - true <= base.error * rounds * 1.5
    # Straight through the hole's middle there is nothing; beside it there is material.
    vertices, faces = piece_triangles(base.pieces[0])
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    inside = trimesh.proximity.signed_distance(mesh, [[100, 200, 0.75], [150, 200, 0.75], [150, 335, 0.75]])
    assert inside[0] == pytest.approx(-10, abs=0.005)
    assert inside[1] == pytest.approx(0.75)
    assert inside[2] == pytest.approx(-4, abs=0.005)  # the slit runs along y
    # Turned by 90 degrees about y, (x, y, z) goes to (z, y, -x): the wall lies flat from z = -2 to 0.
    wall = made.solids["wall"]
    assert bounds(wall.pieces) == pytest.approx(np.array([[0, 0, -2], [100, 100, 0]]))
    assert volume(wall) == pytest.approx(2 * (100 * 100 - 55 * 20))
    vertices, faces = piece_triangles(wall.pieces[0])
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    inside = trimesh.proximity.signed_distance(mesh, [[50 + 27, 50, -1], [50, 50 + 12, -1]])
    assert inside[0] < 0 < inside[1]  # 55 along x, 20 across
    angle = made.solids["angle"]
    true = 76 * 80 - math.pi * 4 * 2 - math.pi * 4 * 1
    assert 0 <= volume(angle) - true <= angle.error * math.pi * 4 * 3


@pytest.mark.parametrize(
    ("sheet", "at", "axis", "depth", "deep"),
    [
        ("low: [0, 0, 0], high: [50, 50, 10]", "[20, 20, 10]", "+z", "depth: 4", 4),
        ("low: [0, 0, 0], high: [50, 50, 10]", "[20, 20, 0]", "-z", "depth: 4", 4),
        ("low: [0, 0, 0], high: [50, 50, 10]", "[20, 20, 10]", "+z", "depth: 10", 10),
        ("low: [0, 0, 0], high: [50, 50, 10]", "[20, 20, 10]", "+z", "depth: 15", 10),
        ("low: [0, 0, 0], high: [50, 50, 10]", "[20, 20, 10]", "+z", "", 10),
        ("low: [0, 0, 0], high: [10, 50, 50]", "[10, 20, 20]", "+x", "depth: 4", 4),
    ],
)
def test_depth_of_holes_in_a_sheet(tmp_path, sheet, at, axis, depth, deep):
    hole = f"{{at: {at}, axis: {axis}, diameter: 8, {depth}{', ' if depth else ''}cuts: base}}"
    made = shape(tmp_path, f"solids: {{base: {{sheet: {{{sheet}}}}}}}\nholes: {{h: {hole}}}")
    base = made.solids["base"]
    assert 0 <= volume(base) - (25000 - math.pi * 16 * deep) <= base.error * math.pi * 8 * deep


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("h: {at: [400, 0, 0], axis: +z, diameter: 5, cuts: base}", "h: lies outside the solid it cuts"),
        ("h: {at: [9, 9, 50], axis: +z, diameter: 5, cuts: base}", "h: lies 48.5 mm off base, which it cuts"),
        ("h: {at: [9, 9, 0], axis: +x, diameter: 5, cuts: base}", "h: its axis runs within the sheet base"),
        ("h: {@, diameter: 5, depth: 1, cuts: base}", "h: its axis points into base"),
        ("h: {@, diameter: 0, cuts: base}", "h: diameter 0 is not above 0"),
        ("h: {@, diameter: 5, cuts: bse}", "h: there is no solid `bse`; write base"),
        ("h: {@, diameter: 5, cuts: core}", "h: core is neither a sheet nor a prism"),
        ("h: {at: [9, 9, 0], axis: [0, 0, 0], diameter: 5}", "axis: three zeros are no direction"),
        ("h: {@, diameter: 5, thread: M33}", "thread: M33 is not a thread known here"),
        ("h: {repeat: {i: -1}, @, diameter: 5}", "i: -1 of something cannot be made"),
        ("h: {repeat: {i: 2000}, @, diameter: 5}", "i: makes more than 1,000 entries"),
        ("h: {when: {m: 1}, @, diameter: 5}", "m: there is no `m` in this model"),
        ("h: {when: {side: nera}, @, diameter: 5}", "side: `nera` is none of the choices near, far; write near"),
        ("h: {at: [9 mm * 1 mm, 9, 0], axis: +z, diameter: 5}", "at: an area stands where a length is due"),
    ],
)  # fmt: skip
def test_wrong_holes_are_refused_at_their_place(tmp_path, line, expected):
    line = line.replace("@", "at: [9, 9, 0], axis: +z")
    text = f"""
parameters: {{n: {{type: count, default: 1}}, side: {{type: choice, default: near, choices: [near, far]}}}}
solids:
  base: {{sheet: {{low: [0, 0, 0], high: [300, 400, 1.5]}}}}
  core: {{box: {{low: [0, 0, 0], high: [1, 1, 1]}}}}
holes:
  {line}
"""
    (said,) = mistakes(tmp_path, text)
    assert said.startswith("models/part.yaml:8:")
    assert expected in said


FACES = """
parameters: {axis: {type: number, default: 1}}
solids:
  low:  {box: {low: [0, 0, 0], high: [60, 40, 20]}}
  high: {box: {low: [10, 0, 20], high: [30, 50, 30]}}
  gone: {when: {axis: 2}, box: {low: [0, 0, 0], high: [999, 999, 999]}}
  post: {repeat: {i: 3}, box: {low: [100 * i, 0, 0], high: [100 * i + 5, 5, 5]}}
faces:
  upper: {of: low, side: +z}
  flank: {of: low, side: -x}
  both:  {of: [low, high, gone], side: +y, along: +z}
  posts: {of: post, side: +z}
  pad:   {at: [1, 2, 3], normal: [0, 3, 4], size: [20, 30], of: "post[axis + 1]", gives: 0.5}
ports:
  inlet: {at: [0, 5, 5], axis: [-axis, 0, 0], thread: G1/4, gender: female, depth: 10, of: low}
  riser: {at: [0, 0, 9], axis: +z, tube: 16, of: [low, gone]}
  plug:  {at: [0, 0, 9], axis: +y, up: -x, plug: power 24-way, gender: male, depth: 5, of: high, reach: high}
openings:
  vent: {at: [0, 0, 0], axis: -z, round: 50}
  grip: {at: [0, 0, 0], axis: -z, up: [1, 0, 5], rectangle: [50, 20]}
keep_clear:
  hand: {box: {low: [0, 0, 0], high: [9, 8, 7]}, why: room to turn}
  reach: {cylinder: {from: [0, 0, 0], to: [0, 0, 30], diameter: 40}}
compartments:
  hall: {low: [0, 0, 0], high: [10, 20, 30], walls: {floor: low, rear_wall: gone, left_wall: "post[3]"}}
"""


def test_faces_from_bounds_and_of_their_own(tmp_path):
    faces = shape(tmp_path, FACES).faces
    top = faces["upper"]
    assert (top.centre.tolist(), top.normal.tolist(), top.along.tolist()) == (
        [30, 20, 20],
        [0, 0, 1],
        [1, 0, 0],
    )
    assert (top.size, top.owners, top.gives) == ((60, 40), ("low",), 0)
    left = faces["flank"]  # the normal is along x, so the reference direction is +y
    assert (left.centre.tolist(), left.along.tolist(), left.size) == ([0, 20, 10], [0, 1, 0], (40, 20))
    both = faces["both"]  # x 0 to 60, z 0 to 30, at y = 50; what is not made does not count
    assert (both.centre.tolist(), both.along.tolist(), both.size) == ([30, 50, 15], [0, 0, 1], (30, 60))
    assert both.owners == ("low", "high")
    assert faces["posts"].owners == ("post[1]", "post[2]", "post[3]")
    assert faces["posts"].size == (205, 5)
    pad = faces["pad"]
    assert pad.normal == pytest.approx([0, 0.6, 0.8])
    assert pad.along == pytest.approx([1, 0, 0])
    assert (pad.size, pad.owners, pad.gives) == ((20, 30), ("post[2]",), 0.5)


def test_ports_openings_keep_clears_and_compartments(tmp_path):
    made = shape(tmp_path, FACES)
    inlet = made.ports["inlet"]
    assert (inlet.axis.tolist(), inlet.up.tolist(), inlet.depth) == ([-1, 0, 0], [0, 0, 1], 10)
    assert (inlet.link.kind, inlet.link.size, inlet.link.gender) == ("thread", "G1/4", "female")
    riser = made.ports["riser"]
    assert (riser.up.tolist(), riser.owners, riser.link.size) == ([1, 0, 0], ("low",), "16")
    plug = made.ports["plug"]
    assert (plug.up.tolist(), plug.reach, plug.link.size) == ([-1, 0, 0], "high", "power 24-way")
    vent, grip = made.openings["vent"], made.openings["grip"]
    assert (vent.shape, vent.size, vent.up.tolist()) == ("round", (50, 50), [1, 0, 0])
    assert (grip.size, grip.up) == ((50, 20), pytest.approx([1, 0, 0]))
    assert bounds([made.keep_clear["hand"].piece]).tolist() == [[0, 0, 0], [9, 8, 7]]
    assert made.keep_clear["hand"].why == "room to turn"
    assert made.keep_clear["reach"].piece.kind == Kind.CYLINDER
    hall = made.compartments["hall"]
    assert (hall.low.tolist(), hall.high.tolist()) == ([0, 0, 0], [10, 20, 30])
    assert hall.walls == {"floor": "low", "left_wall": "post[3]"}


def test_a_text_may_name_the_parameter_that_holds_it(tmp_path):
    text = """
parameters: {size: {type: choice, default: G1/4, choices: [G1/8, G1/4]}}
solids: {body: {box: {low: [0, 0, 0], high: [9, 9, 9]}}}
ports: {inlet: {at: [0, 0, 0], axis: -x, thread: size, gender: female}}
"""
    port = shape(tmp_path, text, size="G1/8").ports["inlet"]
    assert (port.link.size, port.owners) == ("G1/8", ("body",))


@pytest.mark.parametrize(
    ("section", "line", "expected"),
    [
        ("faces", "f: {of: gone, side: +z}", "f: none of gone is made with these values"),
        ("faces", "f: {of: lw, side: +z}", "f: there is no solid `lw`; write low"),
        (
            "faces", "f: {of: 'post[4]', side: +z}",
            "f: there is no solid `post[4]`; there are post[1] to post[3]",
        ),
        ("faces", "f: {of: low, side: +z, along: -z}", "f: along runs along the normal"),
        ("faces", "f: {of: low, side: +z, along: [1, 1, 0]}", "f: a side of the bounds runs along x, y or z"),
        ("faces", "f: {at: [0, 0, 0], normal: +z, size: [0, 5], of: low}", "f: a face of 0 x 5 has no area"),
        ("faces", "f: {at: [0, 0, 0], normal: +z, size: [5, 5]}", "f: of is missing: which of low, high,"),
        ("faces", "f: {of: low, side: +z, gives: -1}", "f: -1 is below 0"),
        ("ports", "p: {@, tube: 0, of: low}", "tube: 0 is not above 0"),
        ("ports", "p: {@, thread: G1/5, gender: male, of: low}", "thread: G1/5 is not a thread"),
        ("ports", "p: {@, tube: 9, of: low, reach: post}", "p: `post` is 3 solids here; one is due"),
        ("ports", "p: {@, tube: 9, of: low, reach: gone}", "p: `gone` is no solid here"),
        ("openings", "o: {@, slot: [8, 40]}", "o: a slot 8 long is shorter than its width 40"),
        ("openings", "o: {@, rectangle: [0, 40]}", "o: an opening of 0 x 40 lets nothing"),
        ("keep_clear", "k: {box: {low: [0, 0, 0], high: [0, 1, 1]}}", "k: low is 0 and high is 0 along x"),
        (
            "keep_clear", "k: {cylinder: {from: [0, 0, 0], to: [0, 0, 9], diameter: 5, bore: 2}}",
            "k: a keep-clear",
        ),
        ("compartments", "c: {low: [0, 0, 9], high: [9, 9, 0]}", "c: low is 9 and high is 0 along z"),
        (
            "compartments", "c: {low: [0, 0, 0], high: [9, 9, 9], walls: {floor: post}}",
            "c: `post` is 3 solids",
        ),
        ("solids", "s: {box: {low: [5, 0, 0], high: [1, 9, 9]}}", "s: low is 5 and high is 1 along x"),
        (
            "solids", "s: {cylinder: {from: [0, 0, 0], to: [0, 0, 9], diameter: 5, bore: 6}}",
            "s: bore 6 leaves no wall",
        ),
        (
            "solids", "s: {tube: {path: [[0, 0, 0], [0, 0, 9], [9, 0, 9]], diameter: 5}}",
            "s: bend_radius 0 is below",
        ),
        ("solids", "s: {sheet: {low: [0, 0, 0], high: [9, 9, 0]}}", "s: low is 0 and high is 0 along z"),
        (
            "solids", "s: {prism: {along: z, from: 5, to: 5, outline: [[0, 0], [1, 0], [0, 1]]}}",
            "s: goes from 5 to 5",
        ),
        ("solids", "s: {mesh: {file: none.stl, unit: mm}}", "file: there is no file none.stl"),
        ("solids", "s: {mesh: {file: ../part.stl, unit: mm}}", "file: part.stl lies outside the folder"),
    ],
)  # fmt: skip
def test_wrong_places_are_refused(tmp_path, section, line, expected):
    line = line.replace("@", "at: [0, 0, 0], axis: +z")
    text = FACES.replace(f"{section}:\n", f"{section}:\n  {line}\n", 1)
    row = 2 + text[: text.index(line)].count("\n")
    said = mistakes(tmp_path, text)
    assert len(said) == 1
    assert said[0].startswith(f"models/part.yaml:{row}:")
    assert expected in said[0]


def test_a_bad_solid_is_said_once_for_all_that_rests_on_it(tmp_path):
    text = FACES.replace("high: [60, 40, 20]", "high: [60, 40, 0]")
    (said,) = mistakes(tmp_path, text)
    assert "low: low is 0 and high is 0 along z" in said


def test_too_many_things_are_refused_quickly(tmp_path):
    holes = "".join(
        f"\n  h{k}: {{repeat: {{i: 1000}}, at: [i * 1, 0, 0], axis: +z, diameter: 1}}" for k in range(300)
    )
    start = time.process_time()
    (said,) = mistakes(tmp_path, f"holes:{holes}")
    assert "makes more than 5,000 things" in said
    assert time.process_time() - start < 2


def test_mesh_files_of_the_model_and_of_the_scene(tmp_path):
    scene = tmp_path / "scene"
    scene.mkdir()
    trimesh.creation.box((10, 20, 30)).export(tmp_path / "scan.stl")
    trimesh.creation.box((40, 20, 30)).export(scene / "scan.stl")
    text = """
parameters: {file: {type: file, default: scan.stl}}
solids: {scan: {mesh: {file: file, unit: mm}, turn: {about: z, by: 90}}}
faces: {upper: {of: scan, side: +z}}
"""
    made = model(tmp_path, text)
    own = build_shape(made, evaluate_model(made, {}))
    assert own.faces["upper"].size == pytest.approx((20, 10))
    given = evaluate_model(made, {"file": "scan.stl"}, scene)
    assert given["file"] == "scan.stl"
    assert build_shape(made, given).faces["upper"].size == pytest.approx((20, 40))
    assert repr(evaluate_model(made, {})["file"]) != repr(given["file"])
    handed_on = evaluate_model(made, {"file": FileName("scan.stl", scene)})
    assert build_shape(made, handed_on).faces["upper"].size == pytest.approx((20, 40))


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "3mf", "glb"])
def test_a_mesh_file_that_does_not_say_its_unit_is_refused_at_its_place(tmp_path, ending):
    """STL, OBJ and PLY hold plain numbers; 3MF (ISO/IEC 25422) and glTF (ISO/IEC 12113) state the unit."""
    trimesh.creation.box((0.1, 0.2, 0.3)).export(tmp_path / f"scan.{ending}")
    text = f"solids: {{a: {{mesh: {{file: scan.{ending}}}}}}}"
    if ending in ("3mf", "glb"):
        assert shape(tmp_path, text).solids["a"].pieces[0].mesh.closed
    else:
        mend = "add one of unit: mm, unit: cm, unit: m, unit: in"
        assert mistakes(tmp_path, text) == [
            f"models/part.yaml:2:27: file: {ending.upper()} does not say its unit; {mend}"
        ]


def test_mends_of_mesh_files_reach_the_report(tmp_path):
    block = trimesh.creation.box((10, 20, 30))
    block.invert()
    block.export(tmp_path / "scan.stl")
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "scan.yaml").write_text(
        "model: scan\nparameters: {file: {type: file}}\nsolids: {body: {mesh: {file: file, unit: mm}}}\n"
    )
    scene = tmp_path / "machine.yaml"
    scene.write_text("model_folders: [own]\nparts: {a: {model: scan, with: {file: scan.stl}}}\n")
    report = fitcheck.check(scene)
    said = "a.body: the mesh was inside out and turned (volume -6,000 → 6,000 mm³)"
    assert report.notes == (said,)
    assert f"note: {said}" in report_text(report)
    assert json.loads(report_json(report))["notes"] == [said]


def everything(tmp_path):
    made = shape(tmp_path, SOLIDS), shape(tmp_path, CUTS), shape(tmp_path, FACES)
    return {f"{k}.{name}": solid for k, one in enumerate(made) for name, solid in one.solids.items()}


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_mirror_images_of_solids(tmp_path, axis):
    sign = np.where(np.arange(3) == "xyz".index(axis), -1.0, 1.0)
    rng = np.random.default_rng(2)
    for one in (shape(tmp_path, text) for text in (SOLIDS, CUTS, FACES)):
        image = mirrored(one, axis)
        for name, solid in one.solids.items():
            other = image.solids[name]
            for piece, twin in zip(solid.pieces, other.pieces, strict=True):
                assert twin.kind == piece.kind
                assert np.linalg.det(twin.rotation) == pytest.approx(1)
                low, high = bounds([piece])
                assert bounds([twin]) == pytest.approx(np.sort([low * sign, high * sign], axis=0))
                points = rng.uniform(low - 1, high + 1, (60, 3))
                assert np.array_equal(inside(piece, points), inside(twin, points * sign))
            if solid.pieces[0].kind == Kind.MESH:
                assert volume(other) == pytest.approx(volume(solid))
        back = mirrored(image, axis)
        for name, solid in one.solids.items():
            for piece, twin in zip(solid.pieces, back.solids[name].pieces, strict=True):
                assert (piece.mesh is None) or piece.mesh.key == twin.mesh.key
                assert bounds([twin]) == pytest.approx(bounds([piece]))


def inside(piece, points):
    own = (points - piece.centre) @ piece.rotation
    if piece.kind == Kind.BOX:
        return np.all(np.abs(own) <= piece.half, axis=1)
    if piece.kind == Kind.CYLINDER:
        return (np.hypot(own[:, 0], own[:, 1]) <= piece.half[0]) & (np.abs(own[:, 2]) <= piece.half[2])
    return trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False).contains(own)


def test_a_chiral_part_changes_its_hand(tmp_path):
    # Three blocks of 10, 20, 30 along x, y, z from the corner: their triple product turns over.
    text = """
solids:
  a: {box: {low: [1, 0, 0], high: [10, 1, 1]}}
  b: {box: {low: [0, 1, 0], high: [1, 20, 1]}}
  c: {box: {low: [0, 0, 1], high: [1, 1, 30]}}
"""
    one = shape(tmp_path, text)

    def hand(made, corner):
        return np.linalg.det([made.solids[name].pieces[0].centre - corner for name in "abc"])

    # Middles at 5.5, 10.5 and 15.5 along their axes; the corner's own is at 0.5.
    assert hand(one, [0.5, 0.5, 0.5]) == pytest.approx(5 * 10 * 15)
    assert hand(mirrored(one, "x"), [-0.5, 0.5, 0.5]) == pytest.approx(-5 * 10 * 15)


def test_mirror_images_of_named_places(tmp_path):
    made = mirrored(shape(tmp_path, FACES), "x")
    left, pad, inlet, plug = made.faces["flank"], made.faces["pad"], made.ports["inlet"], made.ports["plug"]
    assert (left.centre.tolist(), left.normal.tolist(), left.along.tolist()) == (
        [0, 20, 10],
        [1, 0, 0],
        [0, 1, 0],
    )
    assert (made.faces["upper"].centre.tolist(), made.faces["upper"].along.tolist()) == (
        [-30, 20, 20],
        [-1, 0, 0],
    )
    assert (pad.size, pad.along.tolist(), pad.centre.tolist()) == ((20, 30), [-1, 0, 0], [-1, 2, 3])
    assert (inlet.axis.tolist(), inlet.up.tolist()) == ([1, 0, 0], [0, 0, 1])
    assert plug.up.tolist() == [1, 0, 0]
    assert made.openings["vent"].up.tolist() == [-1, 0, 0]
    assert bounds([made.keep_clear["hand"].piece]).tolist() == [[-9, 0, 0], [0, 8, 7]]
    hall = made.compartments["hall"]
    assert (hall.low.tolist(), hall.high.tolist()) == ([-10, 0, 0], [0, 20, 30])
    assert hall.walls == {"floor": "low", "right_wall": "post[3]"}
    drilled = mirrored(shape(tmp_path, CUTS), "y").holes["screw[2][1]"]
    assert (drilled.at.tolist(), drilled.axis.tolist()) == ([200, -100, 1.5], [0, 0, 1])


@drawn(st.integers(1, 5), st.sampled_from([80, 92, 120, 140, 200]), st.integers(15, 90))
@settings(derandomize=True, deadline=None, max_examples=60)
def test_a_built_in_model_follows_its_values(fans, size, thickness):
    radiator = read_model(library()["radiator"])
    given = {"fans": bare(fans), "fan_size": mm(size), "thickness": mm(thickness)}
    made = build_shape(radiator, evaluate_model(radiator, given))
    low, high = bounds(made.solids["core"].pieces)
    assert high - low == pytest.approx([fans * size, size, thickness])
    screws = [hole for name, hole in made.holes.items() if name.startswith("fan_screws")]
    assert len(screws) == 4 * fans
    assert np.mean([hole.at for hole in screws], axis=0) == pytest.approx([0, 0, 0])


def test_same_values_same_bytes(tmp_path):
    first, second = (everything(tmp_path) for _ in range(2))
    for name, solid in first.items():
        for piece, twin in zip(solid.pieces, second[name].pieces, strict=True):
            assert piece.centre.tobytes() == twin.centre.tobytes()
            assert piece.rotation.tobytes() == twin.rotation.tobytes()
            assert (piece.mesh is None) or piece.mesh.key == twin.mesh.key
