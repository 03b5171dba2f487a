"""Files read with all their limits, and put in order."""

from __future__ import annotations

from pathlib import Path

import yaml

from fitcheck.scene.files import read_file
from fitcheck.scene.mistakes import Mark, Mistake, Mistakes
from fitcheck.scene.text import read_document
from fitcheck.scene.tidy import tidy


def formatted(file: Path) -> tuple[str, str]:
    """A file's text as it is, and in order.

    Raises:
        Mistakes: it cannot be read, or has something that cannot be moved without loss.
    """
    text = read_file(file)
    read_document(text, str(file))
    try:
        return text, tidy(text)
    except (yaml.YAMLError, ValueError) as why:
        said = str(why).partition("\n")[0]
        raise Mistakes([Mistake(Mark(str(file), 1, 1), "", f"left as it is: {said}", "")]) from None
