"""From written arithmetic to steps for a stack: the grammar of values.

    sum     = product { ("+" | "-") product }
    product = sign { ("*" | "/") sign }
    sign    = "-" sign | atom
    atom    = figure [unit] | name | function "(" sum { "," sum } ")" | "(" sum ")"
    figure  = whole fraction unit | fraction unit | decimal
    name    = word { "[" sum "]" } { "." word { "[" sum "]" } }

One figure with its unit is one token: `5 1/4 in` is a length, and `3/8 in` too. Descent by hand:
a grammar library takes 75 ms to load and build, a fifteenth of the whole command; the tests hold
this parser against that library's. Whatever two readers could read in two ways is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import NoReturn

from fitcheck.scene import limits, meant
from fitcheck.scene.expression import FUNCTIONS, Constant, Expression, Name, Operation, Span, Step, as_count
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.units import FOREIGN, UNITS, decimal, fraction

UNIT = r"""(?:(?:mm|cm|m|in|deg)(?![A-Za-z0-9_])|["°])"""
DECIMAL = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_TOKEN = re.compile(
    rf"""(?P<space>[ \t\n]+)
    |(?:(?P<whole>[0-9]+)[ ]+)?(?P<over>[0-9]+)/(?P<under>[0-9]+)[ ]*(?P<of>{UNIT})
    |(?P<mixed>[0-9]+[ ]+[0-9]+/[0-9]+)
    |(?P<decimal>{DECIMAL})(?:[ ]*(?P<unit>{UNIT}))?
    |(?P<word>[A-Za-z_][A-Za-z0-9_]*)
    |(?P<mark>\.\.|\+/-|[-+*/(),.\[\]±"°])""",
    re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class Token:
    """One word, figure or sign of the text; kind is end, figure, word or the sign itself."""

    kind: str
    span: Span
    found: re.Match[str] | None = None


@dataclass(frozen=True, slots=True)
class Read:
    """What was read of a part of the text: where, and what units its figures carry.

    `bare`: only figures without unit. `foreign`: some figure is in inches, cm or m, so that
    a bare number beside it may have been meant in that unit.
    """

    span: Span
    bare: bool = False
    foreign: bool = False


def read_arithmetic(text: str) -> Expression:
    """Read the arithmetic of one value.

    Raises:
        ValueMistake: not of this grammar, longer or deeper than the limits.
    """
    return _Parser(text).whole()


def _tokens(text: str) -> list[Token]:
    found: list[Token] = []
    at = 0
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise meant.character(text, at)
        span, at = match.span(), match.end()
        kind = match.lastgroup or ""
        if kind == "mixed":
            raise ValueMistake(
                f"`{match[0]}` needs a unit to be one length",
                f"write {text[: span[1]]} in{text[span[1] :]}",
                span[0],
            )
        if kind != "space":
            sort = "word" if kind == "word" else match[0] if kind == "mark" else "figure"
            found.append(Token(sort, span, match))
    return [*found, Token("end", (len(text), len(text)))]


class _Parser:
    """Recursive descent over the tokens; its depth is bounded, so the recursion is too."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens = _tokens(text)
        self.place = 0
        self.depth = 0
        self.steps: list[Step] = []
        self.names: dict[str, None] = {}

    def whole(self) -> Expression:
        self._sum()
        if self._next.kind != "end":
            self._unexpected()
        return Expression(self.text, tuple(self.steps), tuple(self.names))

    @property
    def _next(self) -> Token:
        return self.tokens[self.place]

    def _take(self) -> Token:
        self.place += 1
        return self.tokens[self.place - 1]

    def _nested(self, read: Callable[[], Read]) -> Read:
        self.depth += 1
        if self.depth > limits.EXPRESSION_DEPTH:
            problem = f"nested deeper than {limits.EXPRESSION_DEPTH} levels; that is the limit"
            raise ValueMistake(problem, "", self._next.span[0])
        got = read()
        self.depth -= 1
        return got

    def _sum(self) -> Read:
        left = self._product()
        while self._next.kind in ("+", "-"):
            sign = self._take()
            if sign.kind == "+" and self._next.kind == "-" and self._next.span[0] == sign.span[1]:
                raise meant.plus_minus(self.text, sign.span[0])
            right = self._product()
            self._same_units(left, right, sign)
            left = self._operation(sign.kind, left, right)
        return left

    def _product(self) -> Read:
        left = self._sign()
        while self._next.kind in ("*", "/"):
            sign = self._take()
            following = self._next
            divisor = next(one for one in self.tokens[self.place :] if one.kind != "-")
            if sign.kind == "/" and divisor.found and divisor.found["over"] and not divisor.found["whole"]:
                start, end = divisor.span
                mend = f"write {self.text[:start]}({self.text[start:end]}){self.text[end:]}"
                raise ValueMistake("dividing by a fraction can be read in two ways", mend, start)
            right = self._sign()
            inches = following.found and following.found["unit"] in ("in", '"')
            if sign.kind == "/" and inches and self.text[slice(*left.span)].isdigit():
                raise meant.spaced_fraction(self.text, left.span, right.span)
            left = self._operation(sign.kind, left, right)
        return left

    def _operation(self, sign: str, left: Read, right: Read) -> Read:
        span = left.span[0], right.span[1]
        self.steps.append(Operation(sign, (left.span, right.span), span))
        # Of a quotient, only the unit above the line is still there to be taken up.
        foreign = left.foreign or (right.foreign and sign != "/")
        return Read(span, left.bare and right.bare, foreign)

    def _same_units(self, left: Read, right: Read, sign: Token) -> None:
        """Refuse `5 + 1/4 in`: five millimetres, or five inches?"""
        for bare, foreign in ((left, right), (right, left)):
            if bare.bare and not bare.foreign and foreign.foreign:
                raise meant.two_units(self.text, bare.span, foreign.span, sign.span)

    def _sign(self) -> Read:
        if self._next.kind == "+":
            start, end = self._next.span
            rest = self.text[end:].lstrip()
            raise ValueMistake(
                "a plus sign stands where a value is due", f"write {self.text[:start]}{rest}", start
            )
        if self._next.kind != "-":
            return self._atom()
        start = self._take().span[0]
        inner = self._nested(self._sign)
        span = start, inner.span[1]
        self.steps.append(Operation("negate", (inner.span,), span))
        return Read(span, inner.bare, inner.foreign)

    def _atom(self) -> Read:
        token = self._next
        if token.kind == "figure":
            return self._figure(self._take())
        if token.kind == "word":
            called = self.tokens[self.place + 1].kind == "("
            return self._call(self._take()) if called else self._name(self._take())
        if token.kind == "(":
            self._take()
            inner = self._nested(self._sum)
            return Read((token.span[0], self._close(token)), inner.bare, inner.foreign)
        self._unexpected()

    def _close(self, opened: Token) -> int:
        """Take the bracket that closes `opened` and return where it ends."""
        closer = {"(": ")", "[": "]"}[opened.kind]
        if self._next.kind == closer:
            return self._take().span[1]
        if self._next.kind == "end":
            mend = f"write {self.text}{closer}"
            raise ValueMistake(f"the {opened.kind} opened here is not closed", mend, opened.span[0])
        self._unexpected()

    def _figure(self, token: Token) -> Read:
        assert token.found is not None
        part, start = token.found, token.span[0]
        try:
            if part["over"]:
                over, under = int(part["over"]), int(part["under"])
                if part["whole"] and over >= under > 0:
                    raise ValueMistake(f"the fraction {over}/{under} beside a whole number is not below 1")
                amount = fraction(int(part["whole"] or 0) * under + over, under, part["of"])
            else:
                amount = decimal(part["decimal"], part["unit"] or "")
        except ValueMistake as wrong:
            wrong.offset = start
            raise
        unit = part["of"] or part["unit"]
        self.steps.append(Constant(amount, token.span))
        return Read(token.span, unit is None, unit in FOREIGN)

    def _call(self, word: Token) -> Read:
        name, opened = self.text[slice(*word.span)], self._take()
        if name not in FUNCTIONS:
            near = nearest(name, FUNCTIONS)
            mend = f"write {self.text[: word.span[0]]}{near}{self.text[word.span[1] :]}" if near else ""
            problem = f"there is no function `{name}`; there are {', '.join(FUNCTIONS)}"
            raise ValueMistake(problem, mend, word.span[0])
        values = [self._nested(self._sum)]
        while self._next.kind == ",":
            sign = self._take()
            values.append(self._nested(self._sum))
            self._same_units(values[0], values[-1], sign)
        span = word.span[0], self._close(opened)
        least, most = FUNCTIONS[name]
        if not least <= len(values) <= (most or len(values)):
            raise meant.arguments(self.text, name, len(values), span)
        self.steps.append(Operation(name, tuple(one.span for one in values), span))
        return Read(span, all(one.bare for one in values), any(one.foreign for one in values))

    def _name(self, word: Token) -> Read:
        """A dotted name; an index that is a figure becomes part of it at once."""
        start, written = word.span[0], self.text[slice(*word.span)]
        if written in UNITS:
            raise meant.unit_alone(self.text, written, word.span)
        pieces, end = [written], word.span[1]
        static: str | None = None
        while self._next.kind in (".", "["):
            sign = self._take()
            if sign.kind == ".":
                if self._next.kind != "word":
                    raise ValueMistake("a name is due after the dot", "", sign.span[0])
                following = self._take()
                pieces[-1] += f".{self.text[slice(*following.span)]}"
                end = following.span[1]
                continue
            before = len(self.steps)
            inner = self._nested(self._sum)
            end = self._close(sign)
            fixed = self._fixed_index(before, inner)
            if fixed is None:
                static = static or pieces[-1]
                pieces[-1] += "["
                pieces.append("]")
            else:
                pieces[-1] += f"[{fixed}]"
        self.steps.append(Name(tuple(pieces), (start, end)))
        self.names[static or pieces[0]] = None
        return Read((start, end))

    def _fixed_index(self, before: int, inner: Read) -> int | None:
        """The index if it is written in figures, taken off the steps again."""
        step = self.steps[-1]
        if len(self.steps) != before + 1 or not isinstance(step, Constant):
            return None
        try:
            index = as_count(step.amount)
        except ValueMistake as wrong:
            raise ValueMistake(f"an index counts: {wrong.problem}", "", inner.span[0]) from None
        if index < 1:
            raise ValueMistake(f"the index is {index}; indices count from 1", "", inner.span[0])
        self.steps.pop()
        return index

    def _unexpected(self) -> NoReturn:
        raise meant.token(self.text, [(one.kind, one.span) for one in self.tokens], self.place)
