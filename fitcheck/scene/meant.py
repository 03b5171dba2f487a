"""What a value that does not read was meant to be: the problem, and something to type instead.

Each function gives a ValueMistake. Its mend is a guess, which `quantity.parse` tries before it
is shown: one that does not read is dropped.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from fitcheck.scene.expression import FUNCTIONS, Span
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.units import ALLOWED, OTHERS, SPELLINGS, UNITS

# Signs that look like ours, as people and programs set them.
_LOOKALIKES = {"×": "*", "·": "*", "÷": "/", ":": "/", "−": "-", "–": "-", "—": "-", "…": " .. ", "’": "'"}
_DECIMAL_COMMA = re.compile(r"([0-9]),([0-9])")
_NEAR_WORDS = re.compile(
    r"(?P<most>max\.?|maximum|up to|upto|under|below|less than|<=|≤|<|no more than|At most|AT MOST)"
    r"|(?P<least>min\.?|minimum|over|above|more than|>=|≥|>|At least|AT LEAST|from)"
    r"|(?P<about>about|approx\.?|approximately|ca\.?|circa|roughly|around|~|≈)"
)


def loose_words(text: str) -> ValueMistake | None:
    """`max 146 mm`, `<= 146 mm`, `about 30 mm`: uncertainty in other words than ours."""
    found = _NEAR_WORDS.match(text)
    rest = text[found.end() :].strip() if found else ""
    if not found or not re.match(r"[0-9.]", rest):
        return None
    said = f"`{found[0]}` is not a word of ours"
    if found["most"]:
        return ValueMistake(said, f"write at most {rest}")
    if found["least"]:
        return ValueMistake(said, f"write at least {rest}")
    return ValueMistake(
        f"{said}; say how far it may be off", f"write {rest.removesuffix('mm').strip()} ± 1 mm"
    )


def character(text: str, at: int) -> ValueMistake:
    """A character that no value holds."""
    sign = text[at]
    before, after = text[:at], text[at + 1 :]
    if sign == "^":
        return _power(text, at, 1)
    if sign in "'’" and re.search(r"[0-9]\s*$", before):
        return _other_unit(text, (at, at + 1))
    if sign in SPELLINGS:
        return ValueMistake(
            f"`{sign}` is not the inch or degree sign", f"write {before}{SPELLINGS[sign]}{after}", at
        )
    if sign == "µ" or sign == "μ":
        word = re.match(r"\w+", text[at:])
        return _other_unit(text, (at, at + len(word[0]) if word else at + 1))
    plain = _LOOKALIKES.get(sign) or _ascii(sign)
    if not plain.isascii() or plain == sign:
        mend = f"write {before.rstrip()}" if not after.strip() else ""
        return ValueMistake(f"`{sign}` cannot stand in a value", mend, at)
    if "/" in plain and before[-1:].isdigit():
        plain = f" {plain}"
    rest = "".join(_ascii(one) if one.isdigit() else one for one in after)
    return ValueMistake(
        f"`{sign}` (U+{ord(sign):04X}) cannot stand in a value", f"write {before}{plain}{rest}", at
    )


def _ascii(sign: str) -> str:
    """The same sign as keyboards have it: digits of any script, `¼`, wide letters."""
    digit = unicodedata.digit(sign, None)
    return str(digit) if digit is not None else unicodedata.normalize("NFKC", sign).replace("\u2044", "/")


def arguments(text: str, name: str, count: int, span: Span) -> ValueMistake:
    """A function with too few or too many values."""
    takes = "two or more values" if FUNCTIONS[name][0] == 2 else "one value"
    said = text[slice(*span)]
    pointed = _DECIMAL_COMMA.sub(r"\1.\2", said)
    mend = f"write {text[: span[0]]}{pointed}{text[span[1] :]}" if pointed != said else ""
    return ValueMistake(f"{name} takes {takes}, and here are {count}", mend, span[0])


def unit_alone(text: str, unit: str, span: Span) -> ValueMistake:
    """A unit where a value is due, or behind a value that has its unit already."""
    before = text[: span[0]].rstrip()
    if before.endswith(")"):
        return ValueMistake(
            "a unit stands behind figures only", f"write {before} * 1 {text[span[0] :]}", span[0]
        )
    if re.search(r"[\w\]]$", before):
        return ValueMistake("a name carries its own unit", f"write {before}{text[span[1] :]}", span[0])
    figure = re.match(r"\s*([0-9.]+)(.*)", text[span[1] :])
    if figure:
        mend = f"write {text[: span[0]]}{figure[1]} {unit}{figure[2]}"
        return ValueMistake(f"the unit `{unit}` stands before its number", mend, span[0])
    return ValueMistake(
        f"`{unit}` is a unit without a number", f"write {text[: span[0]]}1 {text[span[0] :]}", span[0]
    )


def two_units(text: str, bare: Span, foreign: Span, sign: Span) -> ValueMistake:
    """`5 + 1/4 in`: a bare number beside one in another unit than mm."""
    without, with_unit = text[slice(*bare)], text[slice(*foreign)]
    problem = f"`{without}` has no unit beside `{with_unit}`"
    if text[slice(*sign)] == "-" and sign == (bare[1], foreign[0]) and "/" in with_unit:
        return ValueMistake(problem, f"write {text[: bare[1]]} {text[foreign[0] :]}", bare[0])
    if not re.fullmatch(r"[0-9.]+", without):
        return ValueMistake(problem, "", bare[0])
    unit = re.search(r"[a-z\"]+$", with_unit)
    units = ("mm", unit[0]) if unit else ("mm",)
    mends = [f"{text[: bare[1]]} {one}{text[bare[1] :]}" for one in units]
    return ValueMistake(problem, f"write {', or '.join(mends)}", bare[0])


def spaced_fraction(text: str, left: Span, right: Span) -> ValueMistake:
    """`3 / 8 in`: a fraction of an inch, or a number divided by eight inches."""
    joined = f"{text[: left[1]]}/{text[right[0] :]}"
    return ValueMistake("this divides by a length; a fraction has no spaces", f"write {joined}", left[0])


def plus_minus(text: str, at: int) -> ValueMistake:
    """`54 +-0.5 mm`: a tolerance, or a sum."""
    before, after = text[:at], text[at + 2 :].lstrip()
    return ValueMistake("+- can be read in two ways", f"write {before}± {after}, or {before}- {after}", at)


def token(text: str, tokens: Sequence[tuple[str, Span]], place: int) -> ValueMistake:
    """A token that stands where the grammar has no place for it."""
    kind, span = tokens[place]
    last = tokens[place - 1][0] if place else ""
    valued = last in ("figure", "word", ")", "]")
    if kind == "end":
        return _ends(text, last)
    if kind == "," and _DECIMAL_COMMA.match(text, span[0] - 1):
        return _comma(text, span[0])
    around = text[span[0] - 1 : span[0]] + text[span[1] : span[1] + 1]
    if kind == ".." and re.fullmatch(r"\w[A-Za-z_]", around):
        return ValueMistake("two dots in a name", f"write {text[: span[0]]}.{text[span[1] :]}", span[0])
    if kind in ("±", "+/-", "..") or (kind == "/" and last == "+"):
        return ValueMistake(
            "an uncertain value stands alone, in figures; it takes part in arithmetic under a name",
            "give it a name under parameters",
            span[0],
        )
    if kind == "word" and last == "figure":
        return _unknown_unit(text, tokens[place - 1][1], span)
    if kind == "word" and text[slice(*span)] in UNITS:
        return unit_alone(text, text[slice(*span)], span)
    if kind == "figure" and last == "figure":
        return _two_figures(text, tokens[place - 1][1], span)
    if kind in ('"', "°") and valued:
        return unit_alone(text, kind, span)
    if kind == "*" and last == "*" and tokens[place - 1][1][1] == span[0]:
        return _power(text, span[0] - 1, 2)
    if kind in (")", "]"):
        if valued:
            return ValueMistake(
                f"this {kind} closes nothing", f"write {text[: span[0]]}{text[span[1] :]}", span[0]
            )
        return ValueMistake(f"a value is missing before this {kind}", "", span[0])
    said = text[slice(*span)]
    if kind in ("figure", "word", "(") and valued:
        return ValueMistake(f"a sign is missing before `{said}`", "write + - * or / between them", span[0])
    if not text[span[1] :].strip() and valued:
        return ValueMistake(f"`{said}` stands after the value", f"write {text[: span[0]].rstrip()}", span[0])
    return ValueMistake(
        f"`{said}` stands where a value is due" if not valued else f"`{said}` has no meaning here",
        "",
        span[0],
    )


def _ends(text: str, last: str) -> ValueMistake:
    if not text.strip():
        return ValueMistake("nothing is written; a value is due, such as 30 mm")
    return ValueMistake(f"the value ends after `{last}`; a number or name is missing", "", len(text))


def _comma(text: str, at: int) -> ValueMistake:
    pointed = _DECIMAL_COMMA.sub(r"\1.\2", text)
    grouped = re.match(r"[0-9]{3}(?![0-9])", text[at + 1 :]) and not re.search(r"(?<![0-9])0$", text[:at])
    together = f", or {text[:at]}{text[at + 1 :]}" if grouped else ""
    return ValueMistake("a decimal comma; numbers take a decimal point", f"write {pointed}{together}", at)


def _power(text: str, at: int, signs: int) -> ValueMistake:
    base = re.search(r"([\w.]+|\([^()]*\))\s*$", text[:at])
    squared = re.match(r"\s*2(?![0-9.])", text[at + signs :])
    mend = ""
    if base and squared:
        mend = f"write {text[: base.start()]}{base[1]} * {base[1]}{text[at + signs + squared.end() :]}"
    return ValueMistake("powers are not read", mend, at)


def _two_figures(text: str, first: Span, second: Span) -> ValueMistake:
    if re.match(r"[0-9]{3}(?![0-9])", text[second[0] :]) and re.fullmatch("[0-9]+", text[slice(*first)]):
        mend = f"write {text[: first[1]]}{text[second[0] :]}"
        return ValueMistake("a space stands inside a number", mend, first[1])
    if text[second[0]] == ".":
        return ValueMistake("a number with two points", "", second[0])
    return ValueMistake("two numbers without a sign between them", "write + - * or / between them", second[0])


def _unknown_unit(text: str, figure: Span, word: Span) -> ValueMistake:
    """A figure followed by a word that is no unit."""
    said, number = text[slice(*word)], text[slice(*figure)]
    before, after = text[: word[0]], text[word[1] :]
    grouped = re.fullmatch(r"_[0-9_]*[0-9]", said)
    if grouped:
        return ValueMistake(
            "an underscore stands inside a number", f"write {before}{said.replace('_', '')}{after}", word[0]
        )
    if said in OTHERS:
        return _other_unit(text, word)
    if said in UNITS:
        return ValueMistake("a second unit", f"write {before.rstrip()}{after}", word[0])
    if re.search(r"[a-z\"°]$", number):
        return ValueMistake(f"a sign is missing before `{said}`", "write + - * or / between them", word[0])
    problem = f"unknown unit `{said}`; the units are {ALLOWED}"
    lower = said.lower()
    near = SPELLINGS.get(lower) or (lower if lower in UNITS else None)
    if near:
        return ValueMistake(problem, f"write {before}{near}{after}", word[0])
    if len(said) == 2:
        # Two letters are a unit mistyped; a guess between m and mm would be wrong by a thousand.
        return ValueMistake(problem, "", word[0])
    return ValueMistake(
        f"{problem}; a name takes a sign before it", f"write {before.rstrip()} * {said}{after}", word[0]
    )


def _other_unit(text: str, word: Span) -> ValueMistake:
    """A figure in a unit that we do not read, as so many of a unit that we do."""
    said = text[slice(*word)]
    over, under, unit = OTHERS.get(said, (1, 1, ""))
    problem = f"unknown unit `{said}`; the units are {ALLOWED}"
    figure = re.search(r"([0-9]+(?:\.[0-9]+)?)\s*$", text[: word[0]])
    if not figure or not unit:
        return ValueMistake(problem, "", word[0])
    value = float(figure[1]) * over / under
    mend = f"write {text[: figure.start()]}{value:.10g} {unit}{text[word[1] :]}"
    return ValueMistake(problem, mend, word[0])
