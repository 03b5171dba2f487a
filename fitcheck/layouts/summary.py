"""What all layouts together say: how many fit, the best, what rules most out, what would rescue most."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from heapq import heappush, heapreplace
from typing import Any

from fitcheck.finding import Verdict
from fitcheck.layouts.read import Layouts

Record = dict[str, Any]
# So many of the best are listed.
BEST = 10
# So many trade-offs are kept: beyond them nobody reads.
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
        front: of these, those that no other beats or equals in all that is ranked while being better in one.
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
    """Gather all results; of each only its number and whether it holds is kept."""
    found = Summary()
    heap: list[tuple[tuple[float, ...], int, Record]] = []
    good: set[int] = set()
    for record in records:
        found.asked += 1
        found.verdicts[record["verdict"] or "wrong"] += 1
        if not holds(record):
            against = _against(record)
            found.ruled_out.update(against)
            if len(against) == 1:
                found.alone.update(against)
            continue
        good.add(record["layout"] - 1)
        worth = merit(layouts, record)
        # The earlier of two equals counts as the better.
        entry = (worth, -record["layout"], record)
        if len(heap) < BEST:
            heappush(heap, entry)
        elif entry[:2] > heap[0][:2]:
            heapreplace(heap, entry)
        found.front = _with(found.front, record, worth, layouts)
    found.good = len(good)
    found.best = [record for _, _, record in sorted(heap, key=lambda one: one[:2], reverse=True)]
    found.rescues = _rescues(layouts, good)
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


def _with(front: list[Record], record: Record, worth: tuple[float, ...], layouts: Layouts) -> list[Record]:
    """The front (Pareto) with one more layout, unless something beats or equals it; what it beats goes."""
    merits = [merit(layouts, other) for other in front]
    if any(_at_least(other, worth) for other in merits) or len(front) >= MOST_FRONT:
        return front
    left = [other for other, theirs in zip(front, merits, strict=True) if not _at_least(worth, theirs)]
    return [*left, record]


def _at_least(one: Sequence[float], other: Sequence[float]) -> bool:
    return all(a >= b for a, b in zip(one, other, strict=True))


def _rescues(layouts: Layouts, good: set[int]) -> Counter[str]:
    """By name how many layouts that do not hold have a neighbour, with another value of it, that does.

    Asked from the good ones: each makes all that differ from it by one wheel rescuable.
    """
    choices = layouts.choices
    rescued: dict[int, set[int]] = {at: set() for at in range(len(choices.wheels))}
    for number in good:
        for other, at in choices.neighbours(number):
            if other not in good:
                rescued[at].add(other)
    named = {", ".join(wheel.names): rescued[at] for at, wheel in enumerate(choices.wheels)}
    excluded = choices.excluded
    return Counter(
        {
            name: sum(1 for n in numbers if not excluded or not choices.is_excluded(choices.values(n)))
            for name, numbers in named.items()
            if numbers
        }
    )


def said_values(record: Record) -> str:
    """A layout's values in one line."""
    return ", ".join(f"{name} {value}" for name, value in record["values"].items())


def said_figures(record: Record) -> Iterator[str]:
    """Its figures, each with its name."""
    for name, value in record["figures"].items():
        yield f"{name} {'not known' if value is None else f'{value:.1f}'}"
