"""Plots of a batch: a heat map where one or two things vary, parallel lines where more do.

`gathered` puts the results into arrays, `look` holds colours and patterns, `heat_map` and `parallel` draw.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import BinaryIO

from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Record, Summary
from fitcheck.outputs.plots.gathered import gathered
from fitcheck.outputs.plots.heat_map import heat_map
from fitcheck.outputs.plots.look import DPI
from fitcheck.outputs.plots.parallel import parallel_lines


def write_plot(file: BinaryIO, layouts: Layouts, records: Iterable[Record], found: Summary) -> None:
    """Draw all results of a batch as one PNG.

    Args:
        layouts: that were asked.
        records: in the order of the layouts.
        found: what they say together.
    """
    seen = gathered(layouts, records, found.asked)
    draw = heat_map if len(layouts.choices.wheels) <= 2 else parallel_lines
    draw(layouts, seen, found).savefig(file, format="png", dpi=DPI)
