"""The page: a scene as one HTML file that opens from disk, offline, and asks nothing of anyone.

`shapes` makes the triangles, `packed` makes them few bytes, `described` says all the rest, `sheet.html` and
`sheet.css` are the sheet, `src` its script, which is built into `built/page.js` (see package.json).
"""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import Any

from fitcheck.outputs.page.described import described
from fitcheck.outputs.page.packed import json_in_html, packed, text64
from fitcheck.outputs.page.shapes import drawn_solids
from fitcheck.outputs.pictures.bands import bands_of
from fitcheck.report import Report
from fitcheck.world.world import World

HERE = Path(__file__).parent


def page(world: World, report: Report, more: dict[str, Any] | None = None) -> str:
    """The page of a checked world.

    Args:
        world: with its runs laid.
        report: of it, with facts where gaps and empty rooms shall be listed.
        more: what else it shows, as `described` has it (`layouts`, `plots`).
    """
    bands = bands_of(world)
    solids = drawn_solids(world, bands)
    data = described(world, report, solids, bands) | (more or {})
    return sheet(data, packed(solids))


def sheet(data: dict[str, Any], shapes: bytes, connects: bool = False) -> str:
    """The page of what was described and packed; `connects`: it may ask the server that it came from."""
    style, script = ((HERE / name).read_text("utf-8") for name in ("sheet.css", "built/page.js"))
    # Nothing from elsewhere, and of what is in the page only this style and this script.
    asked = "'self'" if connects else "'none'"
    policy = (
        f"default-src 'none'; style-src {_hash(style)}; script-src {_hash(script)}; img-src data:; "
        f"connect-src {asked}; base-uri 'none'; form-action 'none'"
    )
    filled = {
        "policy": policy,
        "style": style,
        "scene": json_in_html(data),
        "shapes": text64(shapes),
        "script": script,
    }
    text = (HERE / "sheet.html").read_text("utf-8")
    # Piece by piece, since what is filled in may hold braces.
    pieces = [text]
    for name, value in filled.items():
        before, after = pieces.pop().split(f"{{{name}}}")
        pieces += [before, value, after]
    return "".join(pieces)


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
