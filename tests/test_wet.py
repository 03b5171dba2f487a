"""What models say of the spaces inside: read, opened to each other, mirrored, refused."""

from __future__ import annotations

import numpy as np
import pytest

from fitcheck.loops.volumes import whole
from fitcheck.parts.build import build_shape, evaluate_model
from fitcheck.parts.mirror import mirrored
from fitcheck.scene.mistakes import Mistakes
from fitcheck.scene.read import library, read_model

HEAD = """model: part
parameters:
  metal_wetted: {type: text, default: brass}
  second: {type: flag, default: no}
solids: {body: {box: {low: [0, 0, 0], high: [90, 40, 20]}}}
ports:
  inlet:  {at: [0, 20, 10], axis: -x, thread: G1/4, gender: female, of: body}
  outlet: {at: [90, 20, 10], axis: +x, thread: G1/4, gender: female, of: body}
  third:  {when: {second: [yes]}, at: [45, 0, 10], axis: -y, thread: G1/4, gender: female, of: body}
wet:
"""


def shape(tmp_path, wet: str, **given):
    path = tmp_path / "part.yaml"
    path.write_text(HEAD + wet)
    model = read_model(path)
    return build_shape(model, evaluate_model(model, given))


def test_spaces_and_channels(tmp_path):
    made = shape(tmp_path, """
  near: {box: {low: [2, 2, 2], high: [30, 38, 18]}, ports: [inlet, third], share: 0.5, metal: metal_wetted, flow: [inlet, outlet], pump: {shaft: -y, may_point: [level]}}
  far:  {cylinder: {from: [30, 20, 10], to: [88, 20, 10], diameter: 16}, ports: [outlet], meets: [near], unsure: yes, air: yes, bore: 8}
  pipe: {channel: {from: inlet, by: [[45, 20, 15]], mouth: [45, 20, 40]}, bore: 5}
""").wet  # fmt: skip
    near, far, pipe = made["near"], made["far"], made["pipe"]
    assert (near.ports, near.share, near.metal, near.flow) == (("inlet",), 0.5, "brass", ("inlet", "outlet"))
    assert near.pump is not None
    assert (near.pump.way.tolist(), near.pump.may_point) == ([0, -1, 0], ("level",))
    assert near.piece is not None
    assert whole(near.piece) == pytest.approx(28 * 36 * 16)
    assert (far.unsure, far.air, far.bore) == (True, True, 8)
    # The cylinder's bounds meet the box in the square 12 to 28, 2 to 18 at x = 30.
    ((other, corners),) = far.meets
    assert other == "near"
    assert sorted(map(tuple, corners.tolist())) == [(30, 12, 2), (30, 12, 18), (30, 28, 2), (30, 28, 18)]
    assert (pipe.piece, pipe.mouth, pipe.bore) == (None, True, 5)
    assert pipe.line is not None
    assert pipe.line.tolist() == [[0, 20, 10], [45, 20, 15], [45, 20, 40]]


def test_the_mirror_image(tmp_path):
    made = shape(tmp_path, """
  near: {box: {low: [2, 2, 2], high: [30, 38, 18]}, ports: [inlet], flow: [inlet, outlet], pump: {shaft: +x, may_point: [up]}}
  far:  {box: {low: [30, 2, 2], high: [88, 38, 18]}, ports: [outlet], meets: [near]}
  pipe: {channel: {from: inlet, to: outlet}}
""")  # fmt: skip
    image = mirrored(made, "x").wet
    assert image["near"].pump is not None
    assert image["near"].pump.way.tolist() == [-1, 0, 0]
    assert image["near"].piece is not None
    assert image["near"].piece.centre.tolist() == [-16, 20, 10]
    assert set(image["far"].meets[0][1][:, 0]) == {-30}
    assert image["pipe"].line is not None
    assert image["pipe"].line.tolist() == [[0, 20, 10], [-90, 20, 10]]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("a: {ports: [inlet]}", "a: the shape is missing; give one of box, cylinder, channel"),
        ("a: {box: {low: [0, 0, 0], high: [9, 9, 9]}}", "a: ports is missing: which ports open into it"),
        (
            "a: {channel: {from: inlet}}",
            "channel: a channel ends at a port (to) or at a mouth; give one of them",
        ),
        ("a: {channel: {from: inlet, to: outlt}}", "to: there is no port `outlt`; write outlet"),
        ("a: {channel: {from: inlet, to: third}}", "to: the port `third` is not made with these values"),
        ("a: {channel: {from: inlet, to: inlet}}", "a: a channel has the same point twice in a row"),
        ("a: {channel: {from: inlet, to: outlet}, ports: [inlet]}", "ports: is for a wide space"),
        (
            "a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, ports: [inlet], share: 0}",
            "a: 0 is no share; expected above 0 and up to 1",
        ),
        (
            "a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, ports: [inlet], share: 1.01}",
            "a: 1.01 is no share; expected above 0 and up to 1",
        ),
        ("a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, ports: [inlet], bore: 0}", "a: bore 0 is not above 0"),
        (
            "a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, ports: [inlet], flow: [inlet]}",
            "flow: expected [inlet, outlet], found 1",
        ),
        (
            "a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, ports: [inlet], pump: {shaft: +z, may_point: [up]}}",
            "pump: a pump needs flow",
        ),
        ("a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, meets: [b]}", "a: there is no wet space `b`"),
        (
            "a: {box: {low: [0, 0, 0], high: [9, 9, 9]}, meets: [b]}\n  b: {box: {low: [9, 0, 0], high: [19, 9, 9]}, ports: [outlet]}",
            "a: `b` comes later: let it name this one",
        ),
        (
            "b: {box: {low: [9, 0, 0], high: [19, 9, 9]}, ports: [outlet]}\n  a: {box: {low: [0, 0, 0], high: [5, 9, 9]}, meets: [b]}",
            "a: a and b lie 4 mm apart",
        ),
    ],
)
def test_what_is_refused(tmp_path, line, expected):
    with pytest.raises(Mistakes) as caught:
        shape(tmp_path, f"  {line}\n")
    assert expected in str(caught.value)


@pytest.mark.parametrize("side", ["near", "far", "both"])
def test_a_radiator_is_parted_between_its_ports(side):
    """The halves on either side of the middle meet only at the far end of the way through it."""
    import networkx as nx

    model = read_model(library()["radiator"])
    made = build_shape(model, evaluate_model(model, {"port_side": side})).wet
    ways = nx.Graph()
    for name, space in made.items():
        ways.add_edges_from((name, other) for other, _ in space.meets)
    ports = ("port_low", "port_high") if side != "far" else ("far_low", "far_high")
    holds = {port: next(n for n, s in made.items() if port in s.ports) for port in ports}
    way = nx.shortest_path(ways, holds[ports[0]], holds[ports[1]])
    assert way[1:-1] in (
        ["low_core", "far_whole", "high_core"],
        ["low_core", "near_whole", "high_core"],
    )


def test_every_coolant_port_of_the_library_is_wet():
    """A thread or tube end that coolant passes, in every model that has one."""
    left_out = []
    for name, path in library().items():
        model = read_model(path)
        given = {"cooling": "block"} if name == "card" else {"position": "open"} if name == "valve" else {}
        try:
            made = build_shape(model, evaluate_model(model, given))
        except Mistakes:
            continue
        wet = {port for space in made.wet.values() for port in space.ports}
        coolant = {
            n for n, port in made.ports.items() if port.link.kind == "tube" or port.link.size == "G1/4"
        }
        left_out += [f"{name}.{port}" for port in sorted(coolant - wet)]
    assert left_out == []


def test_hand_volumes_of_the_library():
    """A reservoir of 60 outside, walls 5 in all each way: pi 25² x 164 mm; the straight bore of a fitting: 20 mm."""
    model = read_model(library()["tube_reservoir"])
    (inside,) = build_shape(model, evaluate_model(model, {})).wet.values()
    assert inside.piece is not None
    assert whole(inside.piece) == pytest.approx(np.pi * 25**2 * 164)
    assert (inside.air, inside.ports) == (True, ("outlet", "inlet", "fill"))
