"""The hand-written parser of values against a declared grammar, read by lark (LALR)."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedInput

from fitcheck.scene.arithmetic import read_arithmetic
from fitcheck.scene.expression import Constant, Expression, Name
from fitcheck.scene.mistakes import ValueMistake

# The same language, declared once more. WRONG_* are read, and make the whole a refusal.
UNIT = r"((mm|cm|m|in|deg)(?![A-Za-z0-9_])|[\"°])"
GRAMMAR = r"""
start: sum
?sum: product | sum "+" product -> add | sum "-" product -> subtract | sum WRONG_SIGNS product -> wrong
?product: sign | product "*" sign -> times | product "/" divisor -> over
?sign: atom | "-" sign -> negate
?divisor: whole_atom | "-" divisor -> negate
?atom: FRACTION -> figure | whole_atom
?whole_atom: (MIXED | MEASURE | NUMBER) -> figure
    | WRONG_MIXED -> wrong
    | name
    | FUNCTION "(" sum ("," sum)* ")" -> call
    | "(" sum ")"
name: NAME (index | "." (NAME | UNIT_WORD))*
index: "[" sum "]"
FUNCTION.4: /(min|max|abs|sqrt|sin|cos|tan|floor|ceil)(?=[ ]*\()/
UNIT_WORD.3: /(mm|cm|m|in|deg)(?![A-Za-z0-9_])/
NAME.2: /[A-Za-z_][A-Za-z0-9_]*/
MIXED.9: /[0-9]+[ ]+[0-9]+\/[0-9]+[ ]*UNIT/
FRACTION.8: /[0-9]+\/[0-9]+[ ]*UNIT/
WRONG_MIXED.7: /[0-9]+[ ]+[0-9]+\/[0-9]+/
MEASURE.6: /([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]+)?[ ]*UNIT/
NUMBER.5: /([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]+)?/
WRONG_SIGNS.2: "+-"
%ignore / +/
""".replace("UNIT/", f"{UNIT}/")
DECLARED = Lark(GRAMMAR, parser="lalr", lexer="basic")
OPERATIONS = {"add": "+", "subtract": "-", "times": "*", "over": "/"}
# What the grammar cannot say: how many values a function takes, what an index may be, fractions
# above 1, limits, and what is refused because two readers could read it in two ways.
BEYOND = re.compile(
    r" takes (one|two)|an index counts|the index is|is not below 1|zero below the line|limit"
    r"|has no unit beside|this divides by a length"
)


def declared_shape(node: Any) -> Any:
    """Nested tuples of a lark tree; a name is a tuple of words and indices."""
    if isinstance(node, Token):
        return str(node)
    assert isinstance(node, Tree)
    if node.data == "start":
        return declared_shape(node.children[0])
    if node.data == "figure":
        return ("figure", str(node.children[0]))
    if node.data == "name":
        return ("name", *(declared_shape(child) for child in node.children))
    if node.data == "index":
        inner = declared_shape(node.children[0])
        # `fan[2e1]` is `fan[20]`: an index in figures is settled while reading.
        fixed = inner[0] == "figure" and re.fullmatch(r"[0-9.e+-]+", inner[1])
        return ("index", ("figure", f"{float(inner[1]):.0f}") if fixed else inner)
    if node.data == "call":
        return (str(node.children[0]), *map(declared_shape, node.children[1:]))
    if node.data == "wrong":
        raise ValueError
    return (OPERATIONS.get(node.data, node.data), *map(declared_shape, node.children))


def our_shape(expression: Expression) -> Any:
    """The same nested tuples from our steps."""
    stack: list[Any] = []
    for step in expression.steps:
        if isinstance(step, Constant):
            stack.append(("figure", expression.text[slice(*step.span)]))
        elif isinstance(step, Name):
            count = len(step.pieces) - 1
            indices = iter([stack.pop() for _ in range(count)][::-1])
            parts: list[Any] = []
            for k, piece in enumerate(step.pieces):
                for word, number in re.findall(r"([A-Za-z_]\w*)|\[([0-9]+)\]", piece):
                    parts.append(word or ("index", ("figure", number)))
                if k < count:
                    parts.append(("index", next(indices)))
            stack.append(("name", *parts))
        else:
            operands = stack[-len(step.operands) :]
            del stack[-len(step.operands) :]
            stack.append((step.does, *operands))
    (shape,) = stack
    return shape


def compare(text: str) -> bool:
    """Both readers on one text; True where it reads."""
    try:
        declared: Any = declared_shape(DECLARED.parse(text))
    except (UnexpectedInput, ValueError):
        declared = None
    ours, problem = None, ""
    try:
        ours = our_shape(read_arithmetic(text))
    except ValueMistake as wrong:
        problem = wrong.problem
    assert BEYOND.search(problem) or ours == declared, f"{text!r}: {problem}"
    return ours is not None


@pytest.mark.parametrize(
    "text",
    [
        "16", "16 mm", "5 1/4 mm", "3/8mm", ".5", "1e3", "2e-3 mm", "a - b - c", "a - b * c", "a / b / c",
        "-a * -b", "- - a", "-(a + b) * 2", "(((a)))", "case.plinth.depth - setback - 20 mm",
        "fan[2].hole[1].x", "2 in + 3/8\"", "1 + a / 2 in", "45°",
        "radiator.fan_screws[i][1][k + 1]", "min(a, b, 3 mm) + max(1, 2)", "sin(30) * floor(a / b)",
        "a.m + a.min", "3 * 1/4 mm", "a / (3/8 mm)", "10 + (i - 1) * 75", "2 - 3/8 mm", "in_ + mm2",
    ],
)  # fmt: skip
def test_reads_as_declared(text):
    assert compare(text)


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "a b", "a +", "* a", "a / 3/8 mm", "a / -3/8 mm", "5 1/4", "(a", "a)", "a[1", "a]", "a..b",
        "a.", ".a", "a,b", "f(1)", "min(", "min()", "sqrt()", "1.2.3", "5.", "a +-b", "+5", "mm", "2 mm mm",
        "a mm", "()", "a[]", "a.1", "a(1)", "1 2", "2a", "a.min(1)", "1e", "a b(1)",
    ],
)  # fmt: skip
def test_refuses_as_declared(text):
    assert not compare(text)


SIGNS = ("+", "-", "*", "/", "(", ")", "[", "]", ",", ".")
WORDS_AND_FIGURES = (
    "1", "2", "10", "0.5", ".5", "1/4", "3/8", "2e1", "4mm", "mm", "in", '"', "a", "b_1", "case", "x",
    "min", "sqrt", "floor",
)  # fmt: skip
TOKENS = (*SIGNS, *SIGNS, *WORDS_AND_FIGURES)
soups = st.lists(st.tuples(st.sampled_from(TOKENS), st.sampled_from(("", " "))), max_size=9).map(
    lambda parts: "".join(token + space for token, space in parts)
)


def _grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    pairs = st.tuples(inner, st.sampled_from((" + ", " - ", "*", " / ", "/", "-")), inner)
    return st.one_of(
        pairs.map("".join),
        inner.map("({})".format),
        inner.map("-{}".format),
        st.tuples(inner, inner).map(lambda two: f"min({two[0]}, {two[1]})"),
        inner.map("abs({})".format),
        inner.map("fan[{}].x".format),
    )


sentences = st.recursive(
    st.sampled_from(("a", "case.depth", "fan[2].x", "7", "0.25", "12 mm", "5 1/4 mm", "3/8 mm")),
    _grown,
    max_leaves=6,
)
damaged = st.tuples(sentences, st.integers(0, 40), st.sampled_from((*TOKENS, ""))).map(
    lambda three: three[0][: three[1]] + three[2] + three[0][three[1] + 1 :]
)
texts = st.one_of(soups, sentences, damaged)


@settings(max_examples=600, deadline=None, derandomize=True)
@given(texts)
def test_any_text_reads_as_declared(text):
    compare(text)


@pytest.mark.long
@settings(max_examples=20_000, deadline=None, derandomize=True)
@given(texts)
def test_any_text_reads_as_declared_long(text):
    compare(text)


def test_most_sentences_read():
    """The comparison is no empty one: sentences of the grammar read."""
    read = [0, 0]

    @settings(max_examples=200, deadline=None, derandomize=True)
    @given(sentences)
    def count(text):
        read[compare(text)] += 1

    count()
    assert read[True] > 100
