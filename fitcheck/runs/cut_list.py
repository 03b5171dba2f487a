"""What is cut for the runs of a scene, and how rigid tubes come out of stock lengths."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fitcheck.parts.pieces import NOTHING
from fitcheck.runs.sheets import sheet

# Two, since inch tube has them: 19.05 mm.
DECIMALS = 2
HEADER = ("run", "kind", "outside [mm]", "bore [mm]", "cut length [mm]", "bends")
# Up to this many pieces every way to lay them into the stock is tried, where the quick way may not be best.
TRY_ALL = 12


@dataclass(frozen=True)
class CutPiece:
    """One piece to cut.

    Args:
        name: of its run.
        kind: soft tube, rigid tube or cable.
        outside: diameter, mm.
        bore: inside diameter, mm; 0 for a cable.
        length: with all that is cut on at its ends, mm.
        bends: how many.
    """

    name: str
    kind: str
    outside: float
    bore: float
    length: float
    bends: int


def cut_sheet(pieces: Sequence[CutPiece]) -> bytes:
    """The cut list as a comma-separated file, in the order given."""
    rows = (
        (
            piece.name,
            piece.kind,
            float(piece.outside),
            float(piece.bore) or None,
            float(piece.length),
            piece.bends,
        )
        for piece in pieces
    )
    return sheet(HEADER, rows, DECIMALS)


@dataclass(frozen=True)
class Nesting:
    """Which pieces come out of which stock length.

    Args:
        bars: for each stock length the numbers of its pieces, counted from 0, longest first.
        offcuts: what is left of each, mm.
        fewest: proved: no way needs fewer stock lengths.
        too_long: pieces longer than the stock.
    """

    bars: tuple[tuple[int, ...], ...]
    offcuts: tuple[float, ...]
    fewest: bool
    too_long: tuple[int, ...]


def nest(lengths: Sequence[float], stock: float, kerf: float) -> Nesting:
    """Lay pieces of one tube into stock lengths, few of them: the longest first into the first that holds it.

    Between two pieces, and between the last and its offcut, the saw takes the kerf. Where the quick
    way needs more stock lengths than the sum of the pieces, up to 12 pieces are laid in every way.

    Args:
        lengths: of the pieces, mm.
        stock: length as sold, mm.
        kerf: width of the saw's cut, mm.
    """
    order = sorted(range(len(lengths)), key=lambda k: (-lengths[k], k))
    too_long = tuple(sorted(k for k in order if lengths[k] > stock + NOTHING))
    order = [k for k in order if k not in too_long]
    # A piece and the cut after it, of a stock length and the cut that its end saves.
    room, sizes = stock + kerf, [lengths[k] + kerf for k in order]
    bars = _first_fit(sizes, room)
    least = math.ceil(sum(sizes) / room - NOTHING / room)
    fewest = len(bars) == least
    while not fewest and len(sizes) <= TRY_ALL:
        better = _within(sizes, room, len(bars) - 1)
        bars, fewest = better or bars, better is None or len(better) == least
    return Nesting(
        bars=tuple(tuple(order[k] for k in bar) for bar in bars),
        offcuts=tuple(max(0.0, stock - sum(sizes[k] for k in bar)) for bar in bars),
        fewest=fewest,
        too_long=too_long,
    )


def _first_fit(sizes: Sequence[float], room: float) -> list[list[int]]:
    bars: list[list[int]] = []
    for k, size in enumerate(sizes):
        for bar in bars:
            if sum(sizes[j] for j in bar) + size <= room + NOTHING:
                bar.append(k)
                break
        else:
            bars.append([k])
    return bars


def _within(sizes: Sequence[float], room: float, count: int) -> list[list[int]] | None:
    """The sizes, largest first, in `count` bars, by trying every way; None if there is none."""
    bars: list[list[int]] = [[] for _ in range(count)]
    left = [room] * count

    def lay(k: int) -> bool:
        if k == len(sizes):
            return True
        # Bars with equal room left are alike: one of them is tried.
        for bar in {value: j for j, value in reversed(list(enumerate(left)))}.values():
            if sizes[k] <= left[bar] + NOTHING:
                bars[bar].append(k)
                left[bar] -= sizes[k]
                if lay(k + 1):
                    return True
                bars[bar].pop()
                left[bar] += sizes[k]
        return False

    return [bar for bar in bars if bar] if lay(0) else None
