"""All pictures of the documents, and what they say of each model, made anew by the tool itself.

Run with `python tests/make_docs.py` from the top of the checkout.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image

TOP = Path(__file__).resolve().parents[1]
# Every picture and generated text of README.md, scenes/README.md and models/README.md.
COMMANDS = (
    ("render", "scenes/dome_render.yaml", "--view", "plinth", "--out", "scenes/dome_render.png"),
    ("book", "--into", "models/README.md"),
)
# Pages of a template that are shown side by side: what is shown, of which scene and sheet, which pages.
TEMPLATE = ("scenes/template.png", "scenes/dome_render.yaml", "case.rear_panel", (0, 2))
# Pixels a point of the PDF, and between the pages.
SCALE, BETWEEN = 0.86, 12


def run(*words: str) -> None:
    """One command of the tool."""
    code = "from fitcheck.cli import run; run()"
    subprocess.run([sys.executable, "-c", code, *words], check=True, cwd=TOP)


def template() -> None:
    """Two pages of a template as one picture."""
    shown, scene, sheet, numbers = TEMPLATE
    with tempfile.TemporaryDirectory() as folder:
        run("templates", scene, "--out", f"{folder}/templates", "--parts", sheet)
        document = pypdfium2.PdfDocument(f"{folder}/templates/{sheet}.pdf")
        pages = [document[number].render(scale=SCALE).to_pil() for number in numbers]
    size = sum(page.width for page in pages) + BETWEEN, max(page.height for page in pages)
    picture, left = Image.new("RGB", size, (150, 150, 150)), 0
    for page in pages:
        picture.paste(page, (left, 0))
        left += page.width + BETWEEN
    picture.quantize(16).save(TOP / shown, "PNG", optimize=True)


def main() -> None:
    """Run every command; the first that fails ends it."""
    for words in COMMANDS:
        run(*words)
    template()


if __name__ == "__main__":
    main()
