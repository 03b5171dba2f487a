"""How large fingers, hands and tools are, mm.

Fingers and hands are balls that the whole way in must let pass: diameters for gaps that avoid crushing
(ISO 13854:2017 table 1, seen in a public page that quotes EN 349), here taken as what lets a finger or
a fist through. Working room differs from hand to hand: measure your own.
"""

from __future__ import annotations

from dataclasses import dataclass

# ISO 13854:2017 table 1: finger 25, hand, wrist or fist 100.
FINGER, FIST = 25.0, 100.0
# Two fingers round a plug or a collar: 20 to 25 all round. Common practice, no source.
FINGERS = 50.0


@dataclass(frozen=True)
class Tool:
    """A straight tool: the shank from its tip, then the handle, mm, and the room for the hand behind it."""

    shank: float
    reach: float
    handle: float
    length: float
    hand: float


# Shank 6 to 8, handle 25 to 35, 160 to 260 long with a blade of 75 to 150. Common practice, no source.
DRIVER = Tool(shank=8.0, reach=100.0, handle=30.0, length=100.0, hand=FIST)
HANDS = {"finger": FINGER, "fingers": FINGERS, "hand": FIST}
TOOLS = {"driver": DRIVER}
