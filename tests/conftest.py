"""What holds for all tests."""

from __future__ import annotations

import signal

# A shell that starts the tests in the background has them ignore the interrupt key, and whatever they
# start would inherit that; commands under test must hear it.
signal.signal(signal.SIGINT, signal.default_int_handler)
