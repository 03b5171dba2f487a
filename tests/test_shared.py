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


def told(asker, number, whole):
    """All that is said of a layout: its record, or its whole report as JSON, with facts."""
    if not whole:
        return asker.ask(number)
    try:
        return report_json(check_world(asker.world(number)))
    except Mistakes as wrong:
        return [str(one) for one in wrong.items]


def compared(file, count, seed, whole):
    layouts = read_layouts(SCENES / file, None)
    numbers = list(layouts.choices.numbers())
    chance = random.Random(seed)
    kept = Asker(layouts)
    for _ in range(count):
        # Near ones share most, far ones least: both must be met.
        near = chance.choice(numbers)
        for number in (near, min(near + 1, numbers[-1])):
            assert told(kept, number, whole) == told(Asker(layouts), number, whole), (file, number)


# The largest of them takes as long as the others together.
@pytest.mark.parametrize(
    "file", [pytest.param(f, marks=pytest.mark.long) if f == "dome_layouts.yaml" else f for f in FILES]
)
def test_a_layout_is_answered_as_if_it_were_the_only_one(file):
    compared(file, 2, 1, whole=False)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("file", FILES)
def test_a_thousand_layouts_are_answered_as_if_each_were_the_only_one(file, seed):
    compared(file, 42, 10 + seed, whole=False)


@pytest.mark.long
@pytest.mark.parametrize("file", FILES)
def test_whole_reports_too(file):
    compared(file, 10, 30, whole=True)
