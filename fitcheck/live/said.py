"""What is wrong with values or a file, in the words of the live view."""

from __future__ import annotations

from fitcheck.scene.mistakes import Mistake, Mistakes, ValueMistake
from fitcheck.scene.options import is_option


def said(wrong: Mistakes | ValueMistake) -> str:
    """All mistakes, one a line."""
    if isinstance(wrong, ValueMistake):
        return wrong.problem + (f"; {wrong.mend}" if wrong.mend else "")
    return "\n".join(map(_line, wrong.items))


def _line(mistake: Mistake) -> str:
    """A mistake of a value that was moved or typed in the page stands in no file."""
    if not is_option(mistake.mark):
        return str(mistake)
    return f"{mistake.subject}: {mistake.problem}" + (f"; {mistake.mend}" if mistake.mend else "")
