"""What all layouts together say: how many fit, the best, what rules most out, what would rescue most."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitcheck.finding import Verdict
from fitcheck.layouts.read import Layouts

Record = dict[str, Any]
Floats = NDArray[np.float64]
# So many of the best are listed.
BEST = 10
# So many trade-offs are kept, the best by rank: beyond them nobody reads.
MOST_FRONT = 200
# What does not hold in a layout that could not be built.
NOT_BUILT = "it cannot be built"


@dataclass
class Summary:
    """What is known of all layouts.

    Args:
        asked: how many.
        verdicts: how many came to each verdict; layouts that could not be built by "wrong".
        good: how many fit and meet all demands.
        best: of these, by rank, the best first.
        front: of these, by rank, those that no other beats or equals in all that is ranked.
        ruled_out: by what stands in the way (a finding's id, a demand's figure), in how many layouts.
        alone: the same where nothing else stands in the way: one change would rescue them.
        rescues: by name how many layouts that do not hold would hold with another value of it alone.
    """

    asked: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    good: int = 0
    best: list[Record] = field(default_factory=list)
    front: list[Record] = field(default_factory=list)
    ruled_out: Counter[str] = field(default_factory=Counter)
    alone: Counter[str] = field(default_factory=Counter)
    rescues: Counter[str] = field(default_factory=Counter)


def holds(record: Record) -> bool:
    """Whether a layout fits and meets all demands."""
    return record["verdict"] in (Verdict.FITS, Verdict.TIGHT) and not record["missed"]


def summary(layouts: Layouts, records: Iterable[Record]) -> Summary:
    """Gather all results.

    A million of them are no load: of each only its number, and of a good one what is ranked, is kept.

    Args:
        layouts: that were asked.
        records: gone through twice.
    """
    found = Summary()
    good = np.zeros(layouts.choices.count, bool)
    numbers, merits = array("q"), array("d")
    for record in records:
        found.asked += 1
        found.verdicts[record["verdict"] or "wrong"] += 1
        if not holds(record):
            against = _against(record)
            found.ruled_out.update(against)
            if len(against) == 1:
                found.alone.update(against)
            continue
        good[record["layout"] - 1] = True
        numbers.append(record["layout"])
        merits.extend(merit(layouts, record))
    found.good = len(numbers)
    ranked, worth = _ranked(np.array(numbers), np.array(merits).reshape(-1, len(layouts.rank)))
    best, front = ranked[:BEST].tolist(), _front(ranked, worth)
    wanted = {*best, *front}
    kept = {record["layout"]: record for record in records if record["layout"] in wanted}
    found.best, found.front = [kept[number] for number in best], [kept[number] for number in front]
    found.rescues = _rescues(layouts, good)
    return found


def _ranked(numbers: NDArray[np.int64], merit: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Layouts and what counts of them, (n,) and (n, k), the best first; of two equals the earlier."""
    order = np.lexsort((numbers, *-merit.T[::-1]))
    return numbers[order], merit[order]


def _front(numbers: NDArray[np.int64], merit: Floats) -> list[int]:
    """The front (Pareto) of ranked layouts: the best of those left is on it, what it beats or equals goes."""
    found: list[int] = []
    while len(numbers) and len(found) < MOST_FRONT:
        found.append(int(numbers[0]))
        left = (merit > merit[0]).any(axis=1)
        numbers, merit = numbers[left], merit[left]
    return found


def _against(record: Record) -> list[str]:
    if record["verdict"] is None:
        return [NOT_BUILT]
    return list(dict.fromkeys([*record.get("failing", ()), *record["missed"]])) or [record["worst"]]


def merit(layouts: Layouts, record: Record) -> tuple[float, ...]:
    """What counts, the most important first; more is better. A figure that is missing is the worst."""
    return tuple(_worth(sense, record["figures"].get(figure)) for sense, figure in layouts.rank)


def _worth(sense: str, value: float | None) -> float:
    if value is None:
        return float("-inf")
    return value if sense == "most" else -value


def _rescues(layouts: Layouts, good: NDArray[np.bool_]) -> Counter[str]:
    """By name how many layouts that do not hold have a neighbour, with another value of it, that does.

    Args:
        good: which layouts hold, (count,).
    """
    choices = layouts.choices
    holding = good.reshape(choices.sizes)
    lost = ~holding & ~choices.left_out()
    counts = {
        ", ".join(wheel.names): int((holding.any(axis=at, keepdims=True) & lost).sum())
        for at, wheel in enumerate(choices.wheels)
    }
    return Counter({name: count for name, count in counts.items() if count})


def said_values(record: Record) -> str:
    """A layout's values in one line."""
    return ", ".join(f"{name} {value}" for name, value in record["values"].items())


def said_figures(record: Record) -> Iterator[str]:
    """Its figures, each with its name."""
    for name, value in record["figures"].items():
        yield f"{name} {'not known' if value is None else f'{value:.1f}'}"
