"""The README's table of errors against errors measured again: none may be larger than it says."""

from __future__ import annotations

import re
from pathlib import Path

import exactness
import pytest

README = Path(__file__).resolve().parents[1] / "README.md"
# A row: pair, poses, distance (bound and measured), depth (bound and measured).
ROW = re.compile(r"^\| (\w+), (\w+) \| ([\d,]+) \|(.+)\|(.+)\|(.+)\|(.+)\|$", re.MULTILINE)
FIGURE = re.compile(r"[\d.]+(?:e-?\d+)?")


def figures():
    """By pair: poses, bound and measured distance, bound and measured depth, times longer (1 without one)."""
    found = {}
    for one, other, poses, *cells in ROW.findall(README.read_text(encoding="utf-8")):
        distance_bound, distance, depth_bound, depth = ([float(f) for f in FIGURE.findall(c)] for c in cells)
        found[one, other] = (
            int(poses.replace(",", "")), distance_bound[0], distance[0], depth_bound[0], depth[0], (depth[1:] or [1.0])[0],
        )  # fmt: skip
    return found


def ask(kinds, count):
    poses, distance_bound, distance, depth_bound, depth, longer = figures()[kinds]
    row = exactness.measure_pair(kinds, count)
    assert row.distance.error <= distance <= distance_bound, row.distance.case
    assert row.depth.error <= depth <= depth_bound, row.depth.case
    # To two decimals in the table.
    assert row.longer.error <= longer + 0.005, row.longer.case
    return row, poses


def test_the_table_has_every_pair():
    assert tuple(figures()) == exactness.PAIRS


# Boxes and cylinders quickly; meshes take half a minute each, with the long ones.
@pytest.mark.parametrize(
    "kinds", [*exactness.PAIRS[:3], *(pytest.param(k, marks=pytest.mark.long) for k in exactness.PAIRS[3:])]
)
def test_no_error_is_larger_than_the_table_says(kinds):
    row, _ = ask(kinds, exactness.TOGETHER)
    assert row.touching > 5
    assert row.depth.asked > 50


@pytest.mark.long
@pytest.mark.parametrize("kinds", exactness.PAIRS)
def test_no_error_is_larger_than_the_table_says_long(kinds):
    row, poses = ask(kinds, exactness.FULL)
    # As many as the table says, some of them touching, a fifth of them pressed into each other.
    assert row.distance.asked == poses
    assert row.touching > 100
    assert row.depth.asked > 1000
