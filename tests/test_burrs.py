"""Interlocking burrs: six sticks notched into each other, against moves of unit cubes worked out by sets."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest
from worlds import box, part, world

from fitcheck.checks.assembly_order import check_assembly_order
from fitcheck.finding import Verdict

# A stick is 6 x 2 x 2 cubes; two lie along each axis, side by side, and all six cross in the middle.
LONG, UNIT = 3, 10.0
WAYS = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]


def stick(axis, side):
    """Cubes of a whole stick: pairs along x lie beside each other in y, along y in z, along z in x."""
    along, beside, across = range(-LONG, LONG), range(-2, 0) if side < 0 else range(2), range(-1, 1)
    found = set()
    for a, b, c in product(along, beside, across):
        cube = [0, 0, 0]
        cube[axis], cube[(axis + 1) % 3], cube[(axis + 2) % 3] = a, b, c
        found.add(tuple(cube))
    return found


STICKS = [stick(axis, side) for axis in range(3) for side in (-1, 1)]


def burr(seed):
    """Six sticks; each cube that several claim is given to one of them, by chance: the first keeps most."""
    random = np.random.default_rng(seed)
    claims: dict = {}
    for number, cubes in enumerate(STICKS):
        for cube in sorted(cubes):
            claims.setdefault(cube, []).append(number)
    favour = random.dirichlet(np.ones(6) * 0.5)
    pieces: list[set] = [set() for _ in STICKS]
    for cube, owners in claims.items():
        weights = favour[owners] + 1e-3
        pieces[random.choice(owners, p=weights / weights.sum())].add(cube)
    return pieces


def shifted(cubes, way, count):
    return {tuple(c + count * w for c, w in zip(cube, way, strict=True)) for cube in cubes}


def gets(cubes, others, way):
    """How many cubes' lengths a piece gets along a way; 20 is free of everything."""
    for count in range(1, 21):
        if shifted(cubes, way, count) & others:
            return count - 1
    return 20


def leaves(cubes, others):
    """By one move, or by one as far as it gets and any other from any place on it."""
    for first in WAYS:
        far = gets(cubes, others, first)
        if far == 20:
            return True
        for count in range(1, far + 1):
            there = shifted(cubes, first, count)
            if any(gets(there, others, way) == 20 for way in WAYS):
                return True
    return False


def taken_apart(pieces, numbers=range(6)):
    """Numbers of pieces that stay in each other, whatever one or two moves of one, one move of several free."""
    left, tied = set(numbers), set()
    while len(left) > 1:
        groups = (group for size in range(1, len(left)) for group in combinations(sorted(left), size))
        gone = next((group for group in groups if frees(pieces, group, left - set(group))), None)
        if gone is None:
            return left | tied
        left -= set(gone)
        tied |= taken_apart(pieces, gone)
    return tied


def frees(pieces, group, rest):
    cubes, others = (set().union(*(pieces[k] for k in chosen)) for chosen in (group, rest))
    return leaves(cubes, others) if len(group) == 1 else any(gets(cubes, others, way) == 20 for way in WAYS)


def ours(pieces):
    """Names of what stays locked, and the steps, as the check tells them."""
    parts = []
    for number, cubes in enumerate(pieces):
        solids = [box(np.array(cube) * UNIT, (np.array(cube) + 1) * UNIT) for cube in sorted(cubes)]
        parts.append(part(f"stick_{number}", *solids))
    answer = check_assembly_order(world(*parts, assembly_order={}))
    locked = {int(name[-1]) for group in answer.findings[0].details["locked"] for name in group}
    return answer, locked


@pytest.mark.parametrize(
    "seed", [*range(4), *(pytest.param(k, marks=pytest.mark.long) for k in range(4, 60))]
)
def test_random_burrs_come_apart_as_far_as_their_cubes_do(seed):
    pieces = burr(seed)
    assert not set.intersection(*pieces)
    answer, locked = ours(pieces)
    assert locked == taken_apart(pieces)
    assert (answer.findings[0].verdict == Verdict.FITS) is (not locked)


def test_a_burr_with_a_key():
    """One stick is whole, the others have its way cut out of them: nothing moves before it, then all does."""
    key, taken = 5, set(STICKS[5])
    pieces = [set() for _ in STICKS]
    pieces[key] = set(STICKS[key])
    for number in range(5):
        pieces[number] = STICKS[number] - taken
        taken |= pieces[number]
    answer, locked = ours(pieces)
    assert locked == taken_apart(pieces) == set()
    order = [step["parts"] for step in answer.facts["order"]]
    without = [cubes if number != key else set() for number, cubes in enumerate(pieces)]
    assert not taken_apart(without, range(5))
    assert ("stick_5",) in order


@pytest.mark.long
def test_the_set_holds_locked_and_loose_burrs():
    """Else the comparison above would say little."""
    sizes = [len(taken_apart(burr(seed))) for seed in range(60)]
    assert sum(size == 0 for size in sizes) >= 10
    assert sum(size > 1 for size in sizes) >= 10
