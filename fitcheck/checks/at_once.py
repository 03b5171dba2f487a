"""Asking the checks of one scene as fast as it goes: what is remembered is not asked, two processors ask.

The slowest checks are asked by a copy of this process, which sends back what they answered. Where no copy
can be made, or it comes to nothing, they are asked here.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from fitcheck.checks.remembered import REMEMBERED, recall, remember
from fitcheck.finding import Answer
from fitcheck.world.kernels import is_compiled
from fitcheck.world.world import World

if TYPE_CHECKING:
    from fitcheck.checks import Check

# Together they take about as long as all others do.
BESIDE = ("fastening", "edges", "ventilation", "sight")


def ask(world: World, checks: Sequence[Check], tell: Callable[[str], None]) -> list[Answer]:
    """What checks answer, in their order.

    Args:
        tell: hears the name of each check that is asked here or waited for, before.

    Raises:
        ValueMistake: of the first check, in the order given, whose rule asks what cannot be asked.
    """
    known = {check.name: recall(world, check.name) for check in checks if check.name in REMEMBERED}
    left = [check for check in checks if known.get(check.name) is None]
    beside = [check for check in left if check.name in BESIDE and world.rules.get(check.name)]
    with _copy(world, beside if len(beside) < len(left) else []) as wait:
        # What the copy asks is waited for last: until then there is something to do here.
        for check in (*(one for one in left if one not in beside), *beside):
            tell(check.name)
            answer = wait().get(check.name) if check in beside else None
            known[check.name] = check.run(world) if answer is None else answer
    for check in left:
        if check.name in REMEMBERED:
            remember(world, check.name, known[check.name] or Answer())
    return [known[check.name] or Answer() for check in checks]


@contextlib.contextmanager
def _copy(world: World, checks: Sequence[Check]) -> Iterator[Callable[[], dict[str, Answer]]]:
    """What a copy of this process answers by the names of checks, once it is waited for; maybe nothing."""
    if not checks or not _may_copy():
        yield dict
        return
    reading, writing = os.pipe()
    copy = os.fork()
    if not copy:
        os.close(reading)
        _answer_into(writing, world, checks)
    os.close(writing)
    found: dict[str, Answer] | None = None

    def wait() -> dict[str, Answer]:
        nonlocal found
        if found is None:
            with open(reading, "rb", closefd=False) as pipe:
                said = pipe.read()
            found = pickle.loads(said) if said else {}
        return found

    try:
        yield wait
    finally:
        os.close(reading)
        with contextlib.suppress(ProcessLookupError):
            os.kill(copy, signal.SIGKILL)
        os.waitpid(copy, 0)


def _answer_into(writing: int, world: World, checks: Sequence[Check]) -> None:
    """Ask, in the copy, and end it; whatever goes wrong, the other process asks again and says it."""
    try:
        said = pickle.dumps({check.name: check.run(world) for check in checks})
        with open(writing, "wb") as pipe:
            pipe.write(said)
    except BaseException:
        os._exit(1)
    os._exit(0)


def _may_copy() -> bool:
    """Whether a copy is safe, and of use: no threads that hold locks, a second processor, all compiled."""
    if sys.platform != "linux" or threading.active_count() > 1 or not is_compiled():
        return False
    return len(os.sched_getaffinity(0)) > 1
