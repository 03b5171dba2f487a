"""What layouts share changes no answer: each report is that of a scene worked out anew, to the byte."""

import random
from pathlib import Path

import pytest

from fitcheck.layouts.asked import Asker
from fitcheck.layouts.read import read_layouts
from fitcheck.outputs.json import report_json
from fitcheck.report import check_world
from fitcheck.scene.mistakes import Mistakes

SCENES = Path(__file__).resolve().parents[1] / "scenes"
FILES = ("dome_layouts.yaml", "cube_layouts.yaml", "cabinet_layouts.yaml")


def told(asker, number, facts):
    """All that is said of a layout: its record, and its whole report as JSON."""
    record = asker.ask(number)
    try:
        world = asker.world(number)
    except Mistakes as wrong:
        return record, [str(one) for one in wrong.items]
    return record, report_json(check_world(world, facts))


def compared(file, count, seed, facts=False):
    layouts = read_layouts(SCENES / file, None)
    numbers = list(layouts.choices.numbers())
    chance = random.Random(seed)
    kept = Asker(layouts)
    for _ in range(count):
        # Near ones share most, far ones least: both must be met.
        near = chance.choice(numbers)
        for number in (near, min(near + 1, numbers[-1])):
            assert told(kept, number, facts) == told(Asker(layouts), number, facts), (file, number)


@pytest.mark.parametrize("file", FILES)
def test_a_layout_is_answered_as_if_it_were_the_only_one(file):
    compared(file, 2, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("file", FILES)
def test_a_thousand_layouts_are_answered_as_if_each_were_the_only_one(file, seed):
    compared(file, 100, 10 + seed)


@pytest.mark.long
@pytest.mark.parametrize("file", FILES)
def test_facts_too(file):
    compared(file, 8, 30, facts=True)
