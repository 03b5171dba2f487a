"""One small machine that meets every rule of taking out, putting in, support and access; each change breaks one."""

from __future__ import annotations

import pytest
from worlds import box, part, rod, room, world

from fitcheck.checks import run_checks
from fitcheck.finding import Verdict
from fitcheck.world.world import Contact, World

RULES = {
    "clearance": {"default": 0.5},
    "removal": [{"part": "tray", "towards": "top", "keep": 1.0}],
    "assembly_order": {"service": [{"part": "low", "at_most": 0}]},
    "support": {},
    "access": {"reach": [{"part": "valve", "side": "top", "by": "fingers"}]},
}
# Everything stands on the floor of a box that is open on top.
WALLS = [
    box([-2, -2, -2], [302, 202, 0]), box([-2, -2, 0], [0, 202, 120]), box([300, -2, 0], [302, 202, 120]),
    box([0, -2, 0], [300, 0, 120]), box([0, 200, 0], [300, 202, 120]),
]  # fmt: skip
PARTS = {
    "case": (WALLS, ""),
    "tray": ([box([20, 20, 0], [90, 180, 60])], "case"),
    "low": ([box([120, 20, 0], [180, 80, 20])], "case"),
    "valve": ([rod([240, 100, 0], [240, 100, 40], 20)], "case"),
    "post": ([box([120, 120, 0], [140, 140, 80])], "case"),
}


def machine(**changed) -> World:
    """The machine with other pieces for some parts, or further parts: (pieces, host)."""
    parts = {**PARTS, **changed}
    made = [
        part(
            name,
            *pieces,
            host=host,
            names=("floor", "left", "right", "front", "rear") if name == "case" else (),
        )
        for name, (pieces, host) in parts.items()
    ]
    rests = [
        Contact("rest", name, host, ("body",), ("floor",) if host == "case" else ("body",))
        for name, (_, host) in parts.items()
        if host
    ]
    return world(*made, contacts=rests, rooms=(room("case.inside", [0, 0, 0], [300, 200, 120]),), **RULES)


def failing(asked: World) -> set[str]:
    found = run_checks(asked).findings
    assert {f.check for f in found} >= {"removal", "assembly_order", "support", "access"}
    return {finding.check for finding in found if finding.verdict not in (Verdict.FITS, Verdict.TIGHT)}


def test_as_it_is_it_meets_them_all():
    assert failing(machine()) == set()


@pytest.mark.parametrize(
    ("broken", "changed"),
    [
        # An arm over the tray, from a post that stands beside it.
        ("removal", {"post": ([box([120, 120, 0], [140, 140, 80]), box([80, 120, 80], [140, 140, 90])], "case")}),
        # The tray too near to a rail all the way up.
        ("removal", {"post": ([box([90.7, 120, 0], [110, 140, 80])], "case")}),
        # A plate on a foot of its own above the one that needs service.
        ("assembly_order", {"high": ([box([181, 20, 0], [190, 80, 40]), box([118, 20, 21], [181, 80, 30])], "case")}),
        # The valve stands a millimetre above the floor.
        ("support", {"valve": ([rod([240, 100, 1], [240, 100, 41], 20)], "case")}),
        # A part that nothing is said to carry.
        ("support", {"lamp": ([box([200, 20, 0.6], [210, 30, 8])], "")}),
        # Posts on either side of the valve, 45 mm apart above it.
        ("access", {"left_post": ([box([207, 90, 0], [217.5, 110, 90])], "case"),
                    "right_post": ([box([262.5, 90, 0], [273, 110, 90])], "case"),
                    "behind": ([box([230, 122.5, 0], [250, 133, 90])], "case"),
                    "before": ([box([230, 67, 0], [250, 77.5, 90])], "case")}),
    ],
)  # fmt: skip
def test_each_change_breaks_its_rule_and_no_other(broken, changed):
    assert failing(machine(**changed)) == {broken}
