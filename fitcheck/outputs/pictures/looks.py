"""Surface colours by what a solid is made for, and by verdict."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitcheck.finding import SEVERITY, Finding, Verdict
from fitcheck.outputs.pictures.bands import FAR, rgb
from fitcheck.outputs.pictures.choose import concerned
from fitcheck.outputs.pictures.margins import VERDICT_COLOURS
from fitcheck.outputs.pictures.surfaces import Skin
from fitcheck.world.world import World

# Matt, as these things look in a builder's hand: our own choice.
ROLE_COLOURS: dict[str, tuple[int, int, int]] = {
    "body": (150, 156, 163),
    "sheet": (196, 200, 204),
    "frame": (58, 62, 68),
    "core": (176, 122, 82),
    "blade": (92, 98, 106),
    "board": (96, 124, 108),
    "connector": (58, 72, 112),
    "thread": (168, 160, 132),
    "fitting": (188, 178, 142),
    "tube": (122, 150, 170),
    "cable": (74, 66, 84),
    "liquid": (110, 170, 196),
    "glass": (186, 214, 220),
    "rubber": (98, 72, 62),
    "metal": (172, 176, 180),
}
ROLE_WORDS = {
    "body": "housing", "sheet": "sheet metal", "frame": "fan frame", "core": "core", "board": "board",
    "connector": "plug, socket", "fitting": "fitting", "metal": "metal", "rubber": "rubber", "tube": "tube",
    "cable": "cable", "liquid": "coolant", "glass": "glass",
}  # fmt: skip
PALE = 0.8
HATCH_PITCH, HATCH_WIDTH = 9, 3


def role_of(skin: Skin) -> str:
    """What a skin is made for; a run that is a cable is no tube, though both are round and bent."""
    return "cable" if (skin.solid.role, skin.solid.name) == ("tube", "cable") else skin.solid.role


def role_colours(skins: Sequence[Skin]) -> np.ndarray:
    """(n, 3) uint8 colour of each skin by role."""
    return np.array([ROLE_COLOURS.get(role_of(s), ROLE_COLOURS["body"]) for s in skins], np.uint8)


def role_legend(skins: Sequence[Skin], shown: np.ndarray) -> list[tuple[str, str]]:
    """(colour, words) of the roles that are shown."""
    roles = {role_of(s) for s, seen in zip(skins, shown, strict=True) if seen}
    return [("#{:02X}{:02X}{:02X}".format(*ROLE_COLOURS[r]), w) for r, w in ROLE_WORDS.items() if r in roles]


def pale(colours: np.ndarray, share: float = PALE) -> np.ndarray:
    """Colours mixed with white."""
    return np.asarray(colours * (1 - share) + 255 * share).astype(np.uint8)


def outlined(findings: Sequence[Finding]) -> list[tuple[Verdict, np.ndarray]]:
    """(verdict, (k, 2, 3) segments) of what findings outline (`outlines` in their details), mildest first.

    What fits is not outlined: a line that nothing beside it explains puzzles more than it tells.
    """
    found = []
    amiss = [finding for finding in findings if finding.verdict != Verdict.FITS]
    for finding in sorted(amiss, key=lambda f: SEVERITY.index(f.verdict)):
        for outline in finding.details.get("outlines", ()):
            corners = np.array(outline, float).reshape(-1, 3)
            found.append((finding.verdict, np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)))
    return found


def part_verdicts(world: World, findings: Sequence[Finding]) -> dict[int, Verdict]:
    """The worst verdict of the findings that name each part; parts in none are absent."""
    worst: dict[int, Verdict] = {}
    for finding in findings:
        if finding.verdict == Verdict.FITS:
            continue
        for part in concerned(world, finding):
            before = worst.get(part, Verdict.FITS)
            worst[part] = max(before, finding.verdict, key=SEVERITY.index)
    return worst


def verdict_colours(skins: Sequence[Skin], verdicts: dict[int, Verdict]) -> np.ndarray:
    """(n, 3) uint8: strong for parts that fail, are tight or unknown; pale for the rest."""
    return np.array(
        [VERDICT_COLOURS[verdicts[s.part]] if s.part in verdicts else rgb(FAR) for s in skins], np.uint8
    )


def verdict_legend(verdicts: dict[int, Verdict]) -> list[tuple[str, str]]:
    """(colour, words) of the verdicts in the picture."""
    words = {Verdict.FAILS: "fails (hatched)", Verdict.TIGHT: "tight", Verdict.UNKNOWN: "unknown"}
    used = [v for v in words if v in verdicts.values()]
    return [("#{:02X}{:02X}{:02X}".format(*VERDICT_COLOURS[v]), words[v]) for v in used] + [(FAR, "the rest")]


def hatched(pixels: np.ndarray, mask: np.ndarray) -> None:
    """Draw white slanting lines over the masked pixels, in place: fails must show without colour too."""
    rows, columns = np.nonzero(mask)
    lines = (rows + columns) % HATCH_PITCH < HATCH_WIDTH
    at = rows[lines], columns[lines]
    pixels[at] = (pixels[at] * 0.45 + 255 * 0.55).astype(np.uint8)
