"""All pictures of the documents, and what they say of each model, made anew by the tool itself.

Run with `python tests/make_docs.py` from the top of the checkout.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
# Every picture and generated text of README.md, scenes/README.md and models/README.md.
COMMANDS = (
    ("render", "scenes/dome_render.yaml", "--view", "plinth", "--out", "scenes/dome_render.png"),
    ("book", "--into", "models/README.md"),
)


def main() -> None:
    """Run every command; the first that fails ends it."""
    for words in COMMANDS:
        code = "from fitcheck.cli import run; run()"
        subprocess.run([sys.executable, "-c", code, *words], check=True, cwd=TOP)


if __name__ == "__main__":
    main()
