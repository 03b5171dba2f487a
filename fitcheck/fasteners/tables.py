"""Screws, clearance holes, washers, nuts and keys by the size of their thread, and where figures are from.

All in mm. `Source.status` is one of `published` (stands in the document named), `common practice` (usual in
the trade, no document), `from memory` (not confirmed): only the first may decide anything alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from fitcheck.scene.mistakes import ValueMistake, nearest

INCH = 25.4


@dataclass(frozen=True)
class Source:
    """Where a figure is from, and how sure it is."""

    document: str
    status: str


ISO_273 = Source("ISO 273", "published")
ASME_CLEARANCE = Source("ASME B18.2.8 (#23, #18, #13 drills)", "published")
ISO_4762 = Source("ISO 4762 table 1", "published")
ISO_7380 = Source("ISO 7380-1 table 1", "published")
ISO_7089 = Source("ISO 7089", "published")
ISO_4032 = Source("ISO 4032", "published")
ISO_LENGTHS = Source("nominal lengths of ISO 4762 and ISO 7380-1", "published")
ISO_LENGTH_TOLERANCE = Source("ISO 4759-1, product grade A: js15", "from memory")
ISO_2936 = Source("ISO 2936, arms of hexagon keys", "from memory")
ASME_SMALL = Source("ASME B18.3, B18.6.3, B18.22.1: No. 6 heads, nut, washer and lengths", "from memory")
ENGAGEMENT = Source("shop rule of thumb in machine-design texts", "common practice")


@dataclass(frozen=True)
class Head:
    """A head: largest diameter and height, width of the key, and how deep its socket is."""

    diameter: float
    height: float
    key: float
    source: Source


@dataclass(frozen=True)
class Thread:
    """All that goes with one size of thread.

    Args:
        name: as written (`M3`, `6-32`).
        major: basic major diameter.
        pitch: of the thread.
        clearance: diameters of clearance holes: fine, medium, coarse.
        clearance_source: of these.
        heads: by form, `cap` (cylinder) and `button`.
        washer: hole, outside diameter (largest), nominal thickness.
        washer_source: of these.
        nut: across flats, height (largest), across corners (least).
        nut_source: of these.
        lengths: standard lengths under the head.
        lengths_source: of these.
    """

    name: str
    major: float
    pitch: float
    clearance: tuple[float, float, float]
    clearance_source: Source
    heads: dict[str, Head]
    washer: tuple[float, float, float]
    washer_source: Source
    nut: tuple[float, float, float]
    nut_source: Source
    lengths: tuple[float, ...]
    lengths_source: Source


FITS = ("fine", "medium", "coarse")
# ISO 4762 and ISO 7380-1 share this series; each size ends where the former's range does.
_SERIES = (4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60)


def _metric(
    name: str, pitch: float, clearance: tuple[float, float, float], cap: tuple[float, float, float],
    button: tuple[float, float, float] | None, washer: tuple[float, float, float],
    nut: tuple[float, float, float], lengths: tuple[float, float],
) -> Thread:  # fmt: skip
    heads = {"cap": Head(*cap, ISO_4762)}
    if button is not None:
        heads["button"] = Head(*button, ISO_7380)
    span = tuple(float(one) for one in _SERIES if lengths[0] <= one <= lengths[1])
    return Thread(
        name, float(name[1:]), pitch, clearance, ISO_273, heads, washer, ISO_7089, nut, ISO_4032, span,
        ISO_LENGTHS,
    )  # fmt: skip


_SIXES = (3 / 16, 1 / 4, 5 / 16, 3 / 8, 1 / 2, 5 / 8, 3 / 4, 7 / 8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5)

# Heads: dk max (plain head of ISO 4762), k max, key s. Washers: d1 min, d2 max, h nominal (M2.5's h from
# memory). Nuts: s, m max, e min. Lengths: the series up to 50, where longer screws than the standard's own
# range (M3 to 30, M4 to 40) are stocked as well: common practice.
THREADS: dict[str, Thread] = {
    thread.name: thread
    for thread in (
        _metric(
            "M2.5", 0.45, (2.7, 2.9, 3.1), (4.5, 2.5, 2.0), None, (2.7, 6.0, 0.5), (5.0, 2.0, 5.45), (4, 30),
        ),
        _metric(
            "M3", 0.5, (3.2, 3.4, 3.6), (5.5, 3.0, 2.5), (5.7, 1.65, 2.0), (3.2, 7.0, 0.5), (5.5, 2.4, 6.01),
            (4, 50),
        ),
        _metric(
            "M4", 0.7, (4.3, 4.5, 4.8), (7.0, 4.0, 3.0), (7.6, 2.2, 2.5), (4.3, 9.0, 0.8), (7.0, 3.2, 7.66),
            (5, 60),
        ),
        _metric(
            "M5", 0.8, (5.3, 5.5, 5.8), (8.5, 5.0, 4.0), (9.5, 2.75, 3.0), (5.3, 10.0, 1.0), (8.0, 4.7, 8.79),
            (8, 60),
        ),
        _metric(
            "M6", 1.0, (6.4, 6.6, 7.0), (10.0, 6.0, 5.0), (10.5, 3.3, 4.0), (6.4, 12.0, 1.6),
            (10.0, 5.2, 11.05), (8, 60),
        ),
        # ASME B1.1: 0.1380 in, 32 to the inch.
        Thread(
            "6-32", 0.1380 * INCH, INCH / 32, (3.91, 4.32, 4.70), ASME_CLEARANCE,
            {"cap": Head(0.226 * INCH, 0.138 * INCH, 7 / 64 * INCH, ASME_SMALL),
             "button": Head(0.262 * INCH, 0.073 * INCH, 5 / 64 * INCH, ASME_SMALL)},
            (0.156 * INCH, 0.375 * INCH, 0.049 * INCH), ASME_SMALL, (7.94, 2.9, 8.7), ASME_SMALL,
            tuple(round(one * INCH, 2) for one in _SIXES), ASME_SMALL,
        ),
    )
}  # fmt: skip

# Arms of hexagon keys by width over flats: short, long. From memory (ISO 2936), the figures are lengths only
# of a room that must be free. The widths of inch keys take the next larger metric row.
_KEY_ARMS = {
    1.5: (14.0, 45.0), 2.0: (16.0, 50.0), 2.5: (18.0, 56.0), 3.0: (20.0, 63.0), 4.0: (25.0, 70.0),
    5.0: (28.0, 80.0), 6.0: (32.0, 90.0),
}  # fmt: skip

# Engagement that holds as much as the screw, in diameters.
DIAMETERS_DEEP = {"steel": 1.0, "brass": 1.5, "aluminium": 2.0, "plastic": 2.0}
# Below this no thread is one, pitches: shop rule, and SFF-8501 and SFF-8551 ask for 2 threads (common
# practice).
LEAST_PITCHES = 2.0
# Half the length tolerance by nominal length, up to and including: half of IT15.
_LENGTH_TOLERANCE = ((3, 0.20), (6, 0.24), (10, 0.29), (18, 0.35), (30, 0.42), (50, 0.50), (80, 0.60))


def thread_of(name: str) -> Thread:
    """A thread by its name as written.

    Raises:
        ValueMistake: a size that is not in the table.
    """
    if name not in THREADS:
        near = nearest(name, THREADS)
        known = ", ".join(THREADS)
        raise ValueMistake(
            f"there are no screws of {name} known here ({known})", f"write {near}" if near else ""
        )
    return THREADS[name]


def thread_for(hole: float) -> Thread | None:
    """The largest screw for which a hole of this diameter is a clearance hole, fine fit or wider."""
    fitting = [one for one in THREADS.values() if one.clearance[0] <= hole + 1e-9]
    return max(fitting, key=lambda one: one.major, default=None)


def fit_class(thread: Thread, hole: float) -> str:
    """Which class of clearance hole a diameter comes to: fine, medium, coarse; else `close` or `wide`.

    >>> fit_class(THREADS["M4"], 4.5), fit_class(THREADS["M3"], 4.3)
    ('medium', 'wide')
    """
    if hole < thread.clearance[0] - 1e-9:
        return "close"
    if hole > thread.clearance[2] + 1e-9:
        return "wide"
    return next(
        word for word, most in reversed(list(zip(FITS, thread.clearance, strict=True))) if hole >= most - 1e-9
    )


def length_tolerance(length: float) -> float:
    """How much longer or shorter than its nominal length a screw may be, mm (from memory)."""
    return next((half for most, half in _LENGTH_TOLERANCE if length <= most), _LENGTH_TOLERANCE[-1][1])


def key_arms(width: float) -> tuple[float, float]:
    """Short and long arm of the hexagon key of this width, or of the next larger one, mm."""
    return next((arms for key, arms in _KEY_ARMS.items() if width <= key + 1e-9), _KEY_ARMS[6.0])


assert all(a < b for thread in THREADS.values() for a, b in pairwise(thread.lengths))
