"""Keep-clear volumes against arithmetic on boxes, and shifts that are carried out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, part, rod, world

from fitcheck.checks.keep_clear import check_keep_clear
from fitcheck.finding import Verdict
from fitcheck.world.frames import Frame, turn_about
from fitcheck.world.world import Contact

HAND = {"hand": box([10, 0, 0], [50, 40, 40])}


def drain(**keys):
    return part("drain", box([0, 10, 10], [10, 30, 30]), keep_clear=HAND, **keys)


def ask(*parts, contacts=(), margin=0.0):
    return check_keep_clear(world(*parts, contacts=contacts, keep_clear={"margin": margin}))


@pytest.mark.parametrize(
    ("edge", "verdict", "measured"),
    [
        (55, None, None),
        (50, None, None),
        (49.99, None, None),
        (49.98, Verdict.FAILS, 0.02),
        (46, Verdict.FAILS, 4.0),
    ],
)
def test_depth_into_the_volume(edge, verdict, measured):
    found = ask(drain(), part("comb", box([edge, 0, 0], [90, 40, 40]))).findings
    assert [f.verdict for f in found] == ([] if verdict is None else [verdict])
    if found:
        assert found[0].measured == pytest.approx(measured)
        assert found[0].parts == ("comb", "drain.hand")


def test_sentence_and_place():
    (finding,) = ask(drain(), part("comb", box([46, 5, 5], [90, 40, 40]))).findings
    assert finding.sentence == "comb.body reaches 4.0 mm into drain.hand: room for a hand"
    assert 46 <= finding.where[0][0] <= 50
    assert finding.rule_line == 10


@pytest.mark.parametrize(("edge", "verdict"), [(52, None), (51.9, Verdict.TIGHT), (50, Verdict.TIGHT)])
def test_within_the_margin_is_tight(edge, verdict):
    found = ask(drain(), part("comb", box([edge, 0, 0], [90, 40, 40])), margin=2).findings
    assert [f.verdict for f in found] == ([] if verdict is None else [verdict])


def test_the_part_itself_and_its_contacts_do_not_count():
    own = part("drain", box([0, 10, 10], [30, 30, 30]), keep_clear=HAND)
    plate = part("plate", box([0, 0, 0], [90, 40, 5]), box([20, 0, 5], [22, 40, 20]), names=("floor", "rib"))
    rest = Contact("rest", "drain", "plate", ("body",), ("floor",))
    (finding,) = ask(own, plate, contacts=[rest]).findings
    assert finding.details["solids"] == ("plate.rib",)
    assert ask(own).findings == ()


def test_empty_volumes_are_facts():
    answer = ask(drain(), part("comb", box([60, 0, 0], [90, 40, 40])))
    assert answer.facts == {"empty": ("drain.hand",)}


def test_one_finding_for_each_part_in_it():
    combs = [
        part(f"comb[{i}]", box([40 - i, 0, 0], [60, 40, 10]), box([45, 0, 20], [60, 9, 30])) for i in (1, 2)
    ]
    found = ask(drain(), *combs).findings
    # The shortest way out of the 40 mm volume for a slab from x 39 is 11 mm, but 10 mm downwards.
    assert [(f.parts[0], f.measured) for f in found] == [
        ("comb[1]", pytest.approx(10)), ("comb[2]", pytest.approx(10)),
    ]  # fmt: skip


def test_the_volume_turns_with_its_part():
    long = {"hand": box([10, 0, 0], [90, 20, 40])}
    # Turned by 90 degrees about z, what lay to the right lies to the rear: x from 80 to 100,
    # y from 10 to 90.
    stood = Frame(turn_about(np.array([0.0, 0.0, 1.0]), 90), np.array([100.0, 0.0, 0.0]))
    turned = part("drain", box([0, 0, 0], [10, 20, 30]), keep_clear=long, pose=stood)
    assert ask(turned, part("beside", box([40, 10, 0], [79, 90, 40]))).findings == ()
    (finding,) = ask(turned, part("rear", rod([90, 87, 0], [90, 87, 40], 10))).findings
    # The rod reaches from y 82 on into a volume that ends at 90.
    assert finding.measured == pytest.approx(8)


spots = st.tuples(*[st.integers(-20, 60)] * 3)
sizes = st.tuples(*[st.integers(1, 30)] * 3)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(low=spots, size=sizes)
def test_measured_is_what_it_takes_to_get_out(low, size):
    intruder = np.array([low, np.add(low, size)], float)
    volume = np.array([[10, 0, 0], [50, 40, 40]], float)
    found = ask(
        drain(), part("thing", box(*intruder)), contacts=[Contact("touches", "drain", "drain")]
    ).findings
    inside = (np.minimum(intruder[1], volume[1]) - np.maximum(intruder[0], volume[0]) > 0).all()
    assert bool(found) == bool(inside)
    if found:
        ways = np.concatenate([intruder[1] - volume[0], volume[1] - intruder[0]])
        assert found[0].measured == pytest.approx(ways.min())
        # Moved out by just that much it is clear, by 0.1 mm less it is not.
        k = int(ways.argmin())
        for way, clear in ((ways[k], True), (ways[k] - 0.1, False)):
            shift = np.zeros(3)
            shift[k % 3] = -way if k < 3 else way
            moved = part("thing", box(*(intruder + shift)))
            assert (ask(drain(), moved).findings == ()) is clear


def test_sixty_parts_in_order():
    parts = [part(f"p{i}", box([i * 2 + 11, 0, 0], [i * 2 + 12, 5, 5])) for i in range(60)]
    found = ask(drain(), *parts).findings
    assert [f.parts[0] for f in found] == [f"p{i}" for i in range(20)]  # 11 + 2 i below 50
