"""What an unquoted scalar of YAML is: the core schema of YAML 1.2.2 (chapter 10.3.2), less what is doubtful.

`014` is 14 for one reader and 12 for another; a length must not depend on that.
"""

from __future__ import annotations

import math
import re

from fitcheck.scene import limits

WORDS: dict[str, bool | None] = {
    "": None, "~": None, "null": None, "Null": None, "NULL": None,
    "true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False,
}  # fmt: skip
_WHOLE = re.compile(r"[-+]?[0-9]+")
_DECIMAL = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_OTHER_BASE = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_GROUPED = re.compile(r"[-+]?[0-9][0-9_]*_[0-9_]*(?:\.[0-9_]*)?")
_LEADING_ZERO = re.compile(r"[-+]?0[0-9]")
_BEGINS_A_NUMBER = "+-.0123456789"


def plain(text: str) -> str | int | float | bool | None:
    """The value of an unquoted scalar that is not doubtful."""
    if text in WORDS:
        return WORDS[text]
    if text[0] not in _BEGINS_A_NUMBER:
        return text
    if _WHOLE.fullmatch(text):
        return int(text)
    return float(text) if _DECIMAL.fullmatch(text) else text


def doubtful(text: str) -> tuple[str, str] | None:
    """Problem and mend of an unquoted number that YAML readers take in different ways, or None."""
    if text[:1] not in _BEGINS_A_NUMBER:
        return None
    number, based, grouped = (one.fullmatch(text) for one in (_DECIMAL, _OTHER_BASE, _GROUPED))
    if (number or based or grouped) and len(text) > limits.NUMBER_CHARACTERS:
        problem = f"a number of {len(text):,} characters; the limit is {limits.NUMBER_CHARACTERS}"
        return problem, "write fewer figures"
    if _NOT_FINITE.fullmatch(text) or (number and not math.isfinite(float(text))):
        return f"`{text}` is not a finite number", "write a number"
    if based:
        return f"YAML reads `{text}` as {int(text, 0)}", f"write {int(text, 0)}"
    if grouped:
        together = text.replace("_", "")
        again = doubtful(together)
        return f"YAML readers take `{text}` as a number or as text", again[
            1
        ] if again else f"write {together}"
    if number and _LEADING_ZERO.match(text):
        return _leading_zero(text)
    return None


def _leading_zero(text: str) -> tuple[str, str]:
    sign, figures = ("-" if text[0] == "-" else ""), text.lstrip("+-")
    shorter = figures.lstrip("0")
    value = sign + (shorter if shorter[:1].isdigit() else f"0{shorter}")
    other = f", in octal, {sign}{int(figures, 8)}" if re.fullmatch("[0-7]+", figures) else " as text"
    return f"YAML readers take `{text}` as {value} or{other}", f"write {value}"
