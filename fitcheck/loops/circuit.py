"""The way round a loop: from each part or run named in its order to the next, and back to the first."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fitcheck.loops.plumbing import Net


@dataclass(frozen=True)
class Step:
    """One part or run on the way round: the spots where the coolant comes in and goes out."""

    item: str
    enters: str
    leaves: str


@dataclass(frozen=True)
class Break:
    """Why the way round ends: a sentence, and the parts it is about."""

    said: str
    parts: tuple[str, ...]
    kind: str = "open"  # open, name, backwards


@dataclass(frozen=True)
class Circuit:
    """The way round, as far as it goes, and what is wrong with it."""

    steps: tuple[Step, ...]
    breaks: tuple[Break, ...]

    @property
    def closed(self) -> bool:
        """Whether the coolant comes back to where it began."""
        return not any(one.kind != "backwards" for one in self.breaks)


def circuit(found: Net, order: Sequence[str]) -> Circuit:
    """Follow the order round; what lies between two named parts and is not named is passed all the same.

    Each spot is passed once. Where a part says which way the coolant must flow, that way is tried first; if
    only the other way closes the loop, it is taken and said.
    """
    wrong = tuple(_wrong_names(found, order))
    if wrong:
        return Circuit((), wrong)
    items = [found.items(said)[0] for said in order]
    first: Circuit | None = None
    for strict in (True, False):
        made = _Walk(found, items, strict).round()
        if made.closed:
            return made
        first = first or made
    assert first is not None
    return first


def _wrong_names(found: Net, order: Sequence[str]) -> Iterator[Break]:
    for said in order:
        items = found.items(said)
        if said in found.unlaid:
            yield Break(f"{said} has no way yet", (said,), "name")
        elif not items:
            yield Break(
                f"no coolant runs through {said}: its model says nothing of what is wet", (said,), "name"
            )
        elif len(items) > 1:
            yield Break(f"{said} is {len(items)} wet parts: name {' or '.join(items)}", (said,), "name")


class _Walk:
    """One walk round the loop."""

    def __init__(self, found: Net, items: list[str], strict: bool) -> None:
        self.found, self.items, self.strict = found, items, strict
        self.owner = {spot.name: spot.item for spots in found.spots.values() for spot in spots}
        self.spots = {item: [spot.name for spot in spots] for item, spots in found.spots.items()}
        self.flow = {name: self._flow(name) for name in found.parts}
        self.used: set[str] = set()

    def _flow(self, name: str) -> tuple[str, ...]:
        for wet in self.found.parts[name].shape.wet.values():
            if wet.flow:
                return tuple(f"{name}.{port}" for port in wet.flow)
        return ()

    def round(self) -> Circuit:
        """The way from the first item through all others back to it."""
        steps: list[Step] = []
        breaks: list[Break] = []
        entered = ""
        pairs = list(zip(self.items, [*self.items[1:], self.items[0]], strict=True))
        for here, there in pairs:
            way = self._way(here, entered, there, last=there == self.items[0])
            if way is None:
                breaks.append(self._no_way(here, there))
                entered = ""
                continue
            leaves = way[0][1]
            steps.append(Step(here, entered, leaves))
            steps += [Step(self.owner[into], into, out) for into, out in way[1:]]
            entered = self._met_from(way[-1][1], there)
            for into, out in way:
                self.used |= {into, out}
            self.used.add(entered)
        if steps and not breaks:
            steps[0] = Step(steps[0].item, entered, steps[0].leaves)
        breaks += [self._backwards(step) for step in steps if not self._right_way(step)]
        return Circuit(tuple(steps), tuple(breaks))

    def _way(self, here: str, entered: str, there: str, last: bool) -> list[tuple[str, str]] | None:
        """Spots in and out of each item from `here` to just before `there`; the shortest."""
        starts = [spot for spot in self.spots[here] if spot != entered and spot not in self.used]
        if self.strict and self.flow.get(here):
            starts = [spot for spot in starts if spot == self.flow[here][1]]
        queue = deque([[(entered, spot)] for spot in starts])
        seen = set(starts)
        while queue:
            way = queue.popleft()
            for into in self.found.met.get(way[-1][1], ()):
                if into in self.used or into in seen:
                    continue
                seen.add(into)
                item = self.owner[into]
                if item == there:
                    if self._may_enter(item, into, here):
                        return way
                    continue
                if item in self.items:
                    continue
                for out in self.spots[item]:
                    if out != into and out not in seen and self._passes(item, into, out):
                        seen.add(out)
                        queue.append([*way, (into, out)])
        return None

    def _may_enter(self, item: str, into: str, here: str) -> bool:
        del here
        flow = self.flow.get(item, ())
        return not (self.strict and flow) or into == flow[0]

    def _passes(self, item: str, into: str, out: str) -> bool:
        flow = self.flow.get(item, ())
        return not (self.strict and flow) or (into, out) == flow

    def _met_from(self, out: str, there: str) -> str:
        return next(into for into in self.found.met[out] if self.owner[into] == there)

    def _no_way(self, here: str, there: str) -> Break:
        free = [spot for spot in self.spots[here] if spot not in self.found.met]
        theirs = [spot for spot in self.spots[there] if spot not in self.found.met]
        ends = [f"free at {', '.join(spots)}" for spots in (free, theirs) if spots]
        said = f"nothing leads from {here} to {there}" + (f" ({'; '.join(ends)})" if ends else "")
        return Break(said, (here, there))

    def _right_way(self, step: Step) -> bool:
        flow = self.flow.get(step.item, ())
        return not flow or not step.enters or (step.enters, step.leaves) == flow

    def _backwards(self, step: Step) -> Break:
        said = f"the coolant runs through {step.item} from {_end(step.enters)} to {_end(step.leaves)}"
        return Break(f"{said}, the wrong way", (step.item,), "backwards")


def _end(spot: str) -> str:
    return spot.rpartition(".")[2]
