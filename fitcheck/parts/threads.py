"""Major diameters of the threads a port may have, with the standards that give them."""

from __future__ import annotations

from fitcheck.scene.mistakes import ValueMistake, nearest

MAJOR_DIAMETERS = {
    # ISO 228-1, table 1 (pipe threads not made tight on the threads), major diameter d = D.
    "G1/8": 9.728,
    "G1/4": 13.157,
    "G3/8": 16.662,
    # ISO 261 and ISO 724: the nominal size is the basic major diameter.
    "M2.5": 2.5,
    "M3": 3.0,
    "M4": 4.0,
    "M5": 5.0,
    "M6": 6.0,
    # ASME B1.1: No. 6, 0.1380 in.
    "6-32": 0.1380 * 25.4,
}


def major_diameter(size: str) -> float:
    """Basic major diameter of a thread by its size as written (`G1/4`, `M3`, `6-32`), mm.

    Raises:
        ValueMistake: a size that is not in the table.
    """
    if size not in MAJOR_DIAMETERS:
        near = nearest(size, MAJOR_DIAMETERS)
        known = ", ".join(MAJOR_DIAMETERS)
        raise ValueMistake(
            f"{size} is not a thread known here ({known})", f"did you mean {near}?" if near else ""
        )
    return MAJOR_DIAMETERS[size]
