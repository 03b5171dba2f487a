"""Which drill goes before a tap."""

from __future__ import annotations

from fitcheck.fasteners.tables import THREADS

# From memory: for ISO coarse threads the drill is the diameter less the pitch (M3: 2.5, M4: 3.3); for 6-32
# it comes to 2.71, where the trade takes a No. 36 drill, 2.705.
SOURCE = "tap drill: diameter less pitch (from memory; ISO coarse)"


def tap_drill(thread: str) -> float | None:
    """Diameter of the drill before a tap, mm; None for a thread whose pitch is not known here."""
    known = THREADS.get(thread)
    return None if known is None else round(known.major - known.pitch, 2)
