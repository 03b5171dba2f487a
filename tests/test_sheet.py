"""A sheet of layouts: each picture is the one drawn alone, from the same place."""

from __future__ import annotations

import numpy as np
import pytest
from pictured import machine, report

from fitcheck.outputs import pictures
from fitcheck.outputs.pictures.sheet import CAPTION, GAP, sheet
from fitcheck.outputs.pictures.studio import SIZE


@pytest.mark.parametrize(("count", "columns", "rows"), [(1, 1, 1), (2, 2, 1), (3, 2, 2)])
def test_pictures_side_by_side(count, columns, rows):
    view = pictures.View("from left")
    alone = np.asarray(pictures.draw_view(machine(), report(), view).image)
    image = sheet([(f"layout {k}", "gap 3.0", machine(), report()) for k in range(count)], view)
    assert image.size == (columns * (SIZE[0] + GAP) - GAP, rows * (SIZE[1] + CAPTION + GAP) - GAP)
    pixels = np.asarray(image)
    for place in range(count):
        left, top = place % columns * (SIZE[0] + GAP), place // columns * (SIZE[1] + CAPTION + GAP)
        shown = pixels[top + CAPTION + 2 : top + CAPTION + SIZE[1], left : left + SIZE[0]]
        np.testing.assert_array_equal(shown, alone[2:])
        # Something is written above it.
        assert (pixels[top : top + CAPTION, left : left + SIZE[0]] < 90).any()
    if count == 3:
        assert (pixels[-SIZE[1] :, SIZE[0] + GAP :] > 250).all()
