"""What a worker of a cluster does, slowed down or deadly; a module, so that workers find it."""

from __future__ import annotations

import os
import signal
import time

from fitcheck.layouts.cluster import ask_on_worker

# The number of the layout that kills whoever asks it.
DEADLY = 29


def slowly(bundle, numbers):
    """As `ask_on_worker`, in 0.05 s a layout."""
    time.sleep(0.05 * len(numbers))
    records, seconds = ask_on_worker(bundle, numbers)
    return records, seconds + 0.05 * len(numbers)


def deadly(bundle, numbers):
    """As `ask_on_worker`, but for one layout."""
    if DEADLY in numbers:
        os.kill(os.getpid(), signal.SIGKILL)
    return ask_on_worker(bundle, numbers)
