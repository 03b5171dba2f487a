"""A real browser for the tests of pages: Debian's Chromium, headless, drawing in software."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
import pytest
from PIL import Image

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
# Draws in software, and asks nothing of the network on its own account.
ARGUMENTS = [
    "--headless", "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
DESK, PHONE = (1000, 640), (390, 844)


@cache
def lacking() -> str:
    """What is missing for a browser, or nothing."""
    if CHROMIUM is None:
        return "no chromium here: apt-get install chromium"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "no playwright here: pip install playwright"
    return ""


needs_browser = pytest.mark.skipif(bool(lacking()), reason=lacking() or "a browser is here")


@dataclass
class Opened:
    """A page in the browser, and all that it said or asked for.

    Args:
        page: of playwright.
        said: console messages that are errors or warnings, and what scripts failed with.
        asked: addresses that were asked for, but those of the page itself.
    """

    page: Any
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def picture(self) -> np.ndarray:
        """(height, width, 3) uint8: what the drawing shows."""
        self.page.wait_for_timeout(150)
        shot = self.page.locator("#drawing").screenshot()
        return np.array(Image.open(io.BytesIO(shot)).convert("RGB"))


@contextmanager
def browser() -> Iterator[Any]:
    """The browser; end it by leaving."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        try:
            yield started
        finally:
            started.close()


def opened(started: Any, address: str, size: tuple[int, int] = DESK, **more: Any) -> Opened:
    """A page that is ready to be used; its flights are over at once, as for those whom motion makes ill."""
    page = started.new_page(viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce", **more)
    page.set_default_timeout(20_000)
    found = Opened(page)
    page.on(
        "console", lambda told: found.said.append(told.text) if told.type in ("error", "warning") else None
    )
    page.on("pageerror", lambda wrong: found.said.append(str(wrong)))
    page.on("request", lambda asked: found.asked.append(asked.url))
    page.goto(address)
    page.locator("#pane[data-ready=yes]").wait_for()
    return found
