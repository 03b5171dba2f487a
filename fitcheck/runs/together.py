"""All runs of a scene, without hitting each other; the order in the file decides nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from fitcheck.runs.blame import no_way
from fitcheck.runs.demands import judge, stubs
from fitcheck.runs.drawn import as_drawn, flaws, taken
from fitcheck.runs.legs import Found, Limits
from fitcheck.runs.pulled import ROUNDING, slack
from fitcheck.runs.route import Route
from fitcheck.runs.rows import Laid
from fitcheck.runs.single import FULLY, Others, Way, bound, by_way_of, find_way
from fitcheck.runs.threading import Threading, thread
from fitcheck.world.frames import point
from fitcheck.world.wishes import CABLE, Flaw, LaidRun, RunWish
from fitcheck.world.world import World

# How often all are laid anew with the one that failed first; how long each is searched for then.
ROUNDS = 8
QUICKLY = Limits(rounds=1)

# Told of each search before it begins: one more than have a way by then, and whose way is sought.
Tell = Callable[[int, str], None]


@dataclass
class _Trial:
    """One order tried: what got a way, and who is told of each search."""

    tell: Tell
    ways: dict[str, Way] = field(default_factory=dict)

    @property
    def laid(self) -> list[tuple[RunWish, Laid]]:
        """What is laid already, as what stands in the way of others."""
        return [way.other for way in self.ways.values()]

    def begin(self, wish: RunWish) -> None:
        """Tell of a search for this run."""
        self.tell(len(self.ways) + 1, wish.name)


def silent(number: int, name: str) -> None:
    """Tell nobody of a search."""


def lay_all(world: World, tell: Tell = silent) -> tuple[LaidRun, ...]:
    """A way for every run that can have one, and for each other one the reason why not.

    Those drawn by hand stay where they are. The shortest of the others go first; each keeps clear
    of those before it and of the ends of all. Where one gets no way that has one alone, it goes
    first and all are laid anew.

    Returns:
        One for each run, in scene order.
    """
    drawn = {wish.name: as_drawn(wish) for wish in world.wishes if wish.drawn is not None}
    fixed = [
        Way(wish, route, taken(wish, route))
        for wish in world.wishes
        if (route := drawn.get(wish.name)) is not None and route.is_sound()
    ]
    alone: dict[str, Way | Found] = {}
    trial = _best_trial(world, fixed, alone, tell)
    return tuple(_told(world, wish, trial, drawn, alone) for wish in world.wishes)


def _best_trial(world: World, fixed: list[Way], alone: dict[str, Way | Found], tell: Tell) -> _Trial:
    """The order that gave most runs a way; fills in which of the others have one alone."""
    order = sorted((w for w in world.wishes if w.drawn is None), key=lambda wish: (_apart(wish), wish.name))
    best, promoted = _Trial(tell), set[str]()
    before: dict[str, Way] = {}
    for _ in range(ROUNDS):
        trial = _Trial(tell, {way.wish.name: way for way in fixed})
        _lay(world, order, trial, QUICKLY, before)
        before |= trial.ways
        best = trial if len(trial.ways) > len(best.ways) else best
        blocked = [wish for wish in order if wish.name not in trial.ways]
        for wish in blocked:
            if wish.name not in alone:
                trial.begin(wish)
                alone[wish.name] = find_way(world, wish)
        first = next((w for w in blocked if w.name not in promoted and isinstance(alone[w.name], Way)), None)
        if first is None:
            break
        promoted.add(first.name)
        order = [first, *(wish for wish in order if wish is not first)]
        lone = alone[first.name]
        assert isinstance(lone, Way)
        before[first.name] = lone
    # Those that no order gave a way quickly, and that have one alone, are searched for as long as it takes.
    _lay(world, [wish for wish in order if isinstance(alone.get(wish.name), Way)], best, FULLY)
    return best


def _lay(
    world: World, order: list[RunWish], trial: _Trial, limits: Limits, before: Mapping[str, Way] | None = None
) -> None:
    """Lay those that have no way yet, one after the other; as before where that is still clear."""
    for wish in order:
        if wish.name in trial.ways:
            continue
        others = _others(order, trial, wish)
        known = (before or {}).get(wish.name)
        if known is not None and _holds(world, known, others):
            trial.ways[wish.name] = known
            continue
        trial.begin(wish)
        found = find_way(world, wish, others, limits)
        if isinstance(found, Way):
            trial.ways[wish.name] = found


def _holds(world: World, way: Way, others: Others) -> bool:
    return judge(world, by_way_of(way.wish, way.through), way.route, others).holds


def _others(order: list[RunWish], trial: _Trial, wish: RunWish) -> Others:
    """The runs laid so far, and the straight ends of those to come."""
    ends = [(w, end) for w in order if w.name not in trial.ways and w is not wish for end in stubs(w)]
    return [*trial.laid, *ends]


def _apart(wish: RunWish) -> float:
    """From end to end by the openings on its way, mm."""
    places = [wish.start.at, *(step[0].at for step in wish.through), wish.goal.at]
    return round(float(np.linalg.norm(np.diff(places, axis=0), axis=1).sum()), 6)


def _told(
    world: World, wish: RunWish, trial: _Trial, drawn: dict[str, Route | None], alone: dict[str, Way | Found]
) -> LaidRun:
    """What is known of one run at the end."""
    if wish.name not in trial.ways and wish.name not in drawn:
        trial.begin(wish)
        why, where = no_way(world, wish, trial.laid, alone[wish.name])
        return LaidRun(wish, None, wish.radius, where=None if where is None else point(where), no_way=why)
    route = drawn.get(wish.name) or (trial.ways[wish.name].route if wish.name in trial.ways else None)
    wrong = flaws(wish, route) if wish.drawn is not None else ()
    if route is None or not route.is_sound():
        return LaidRun(wish, None if route is None else route.corners, wish.radius, flaws=wrong)
    through = taken(wish, route)
    others = [way.other for name, way in trial.ways.items() if name != wish.name]
    judged = judge(world, by_way_of(wish, through), route, others)
    threading = thread(wish, through) if wish.kind == CABLE else Threading("")
    if threading.blocked:
        wrong = (*wrong, Flaw("plug", threading.said))
    follows, stuck = slack(world, wish, route)
    return LaidRun(
        wish=wish,
        corners=route.corners,
        radius=route.radius,
        length=route.length,
        bends=len(route.bends),
        bound=bound(wish),
        least=judged.least,
        demand=judged.demand,
        where=point(judged.where),
        nearest=judged.nearest,
        through=tuple(passage.place for passage in through),
        flaws=(*wrong, *_too_short(wish, route), *([] if stuck is None else [stuck])),
        notes=(*_notes(wish, threading), *([follows] if follows else [])),
    )


def _too_short(wish: RunWish, route: Route) -> Iterator[Flaw]:
    needed = route.length + sum(wish.allowance)
    if wish.at_hand is not None and needed > wish.at_hand + ROUNDING:
        yield Flaw("length", f"{needed:.1f} mm are needed, {wish.at_hand:g} mm are at hand")


def _notes(wish: RunWish, threading: Threading) -> Iterator[str]:
    if threading.said and not threading.blocked:
        yield threading.said
    if wish.flat is not None:
        said = f"it is laid as a round one of {wish.outside:g} mm"
        if wish.through:
            said += ", taken as flat only in what it goes through"
        yield said
