"""Files and values from a stranger: each ends in a clear error, quickly, in little memory."""

from __future__ import annotations

import os
import resource
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.scene.expression import Amount, evaluate, from_table
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import Expression, Uncertain, parse

# What the child may use: address space, and seconds of processor time (the promise is 1 s; the rest
# is for slow machines). The kernel ends a child that takes more.
MEMORY, SECONDS = 500 << 20, 3
MIB = 1 << 20

READ_ONE = """
import sys
from fitcheck.scene.mistakes import Mistakes
from fitcheck.scene.files import read_file
from fitcheck.scene.text import read_document
try:
    read_document(read_file(sys.argv[1]), "m.yaml")
except Mistakes as mistakes:
    print(str(mistakes.items[0]).replace(sys.argv[1], "m.yaml"))
else:
    print("read")
"""


def run_bounded(code: str, *arguments: str) -> str:
    """What a child prints, with its memory and processor time bounded by the kernel."""

    def bound() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))

    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        preexec_fn=bound, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.strip()


BOMB = "a0: &a0 [x, x]\n" + "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 10))
DEEP = "nested deeper than 32 levels; that is the limit"
NODES = "more than 10,000 keys and values; that is the limit"
LINES = "lines; the limit is 20,000"
NO_ALIAS = "refers to an anchor, and aliases are not read (limit: 0)"

# Name, what the file holds, and what is said of it.
FILES = [
    ("alias bomb", BOMB, "m.yaml:1:5: a0: the anchor &a0 is not read (limit: 0)"),
    ("alias alone", "a: *x", f"m.yaml:1:4: a: *x {NO_ALIAS}"),
    ("alias to itself", "a: &x [*x]", "m.yaml:1:4: a: the anchor &x is not read (limit: 0)"),
    ("merge of an alias", "b:\n  <<: *x\n", f"m.yaml:2:7: <<: *x {NO_ALIAS}"),
    ("a million brackets", "[" * MIB, f"m.yaml:1:1001: {DEEP}"),
    ("a million braces", "{" * MIB, f"m.yaml:1:1001: {DEEP}"),
    ("brackets on lines", "[\n" * 19_000, f"m.yaml:33:1: {DEEP}"),
    ("deep braces", "{a: " * 9_000, f"m.yaml:1:129: a: {DEEP}"),
    ("deep dashes", "- " * 500_000 + "x", f"m.yaml:1:65: {DEEP}"),
    ("deep indentation", "".join(" " * n + "a:\n" for n in range(1_000)), f"m.yaml:33:33: a: {DEEP}"),
    ("deep questions", "? " * 500_000, "m.yaml:1:3: a list or mapping cannot be a key"),
    ("many keys", "".join(f"k{n}: 1\n" for n in range(19_000)), f"m.yaml:5000:8: k4999: {NODES}"),
    ("many items", "- 1\n" * 19_000, f"m.yaml:10000:3: {NODES}"),
    ("many items in a line", "[" + "1," * 500_000 + "]", f"m.yaml:1:20000: {NODES}"),
    ("many repeated keys", "a: 1\n" * 19_000, "m.yaml:2:1: a: is written twice; first at line 1"),
    ("many documents", "---\n" * 19_000, "m.yaml:2:1: a second document begins here"),
    ("python object", "a: !!python/object/apply:os.system ['true']",
     "the tag !!python/object/apply:os.system"),
    ("binary", "a: !!binary aGVsbG8=", "m.yaml:1:4: a: the tag !!binary is not read"),
    ("own tag", "!mine {a: 1}", "m.yaml:1:1: the tag !mine is not read"),
    ("one scalar of a megabyte", "a: " + "x" * (MIB - 3), "read"),
    ("one key of a megabyte", "x" * MIB, "read"),
    ("one scalar of 20 MB", "a: " + "x" * (20 * MIB),
     "m.yaml:1:1: holds 20,971,523 bytes; the limit is 1,048,576"),
    ("one quote of a megabyte", 'a: "' + "x" * (MIB - 5),
     "m.yaml:1:4: the quote \" opened here is not closed"),
    ("escapes", 'a: "' + "\\u0041" * 170_000 + '"', "read"),
    ("a plain scalar of many lines", "a: x\n" + " x\n" * 340_000, LINES),
    ("block text of many lines", "a: |\n" + " x\n" * 340_000, LINES),
    ("empty lines", "\n" * MIB, LINES),
    ("comments", "#\n" * 19_000, "m.yaml:1:1: nothing is written in it"),
    ("spaces after a bracket", "[" + " " * (MIB - 1),
     "m.yaml:1:1: the [ opened here is not closed"),
    ("tabs", "\t" * MIB, "m.yaml:1:1: a tab indents this line"),
    ("quotes", "'" * MIB, "read"),
    ("commas", "[" + "," * 1_000_000, "m.yaml:1:2: nothing stands before this comma"),
    ("colons", ":" * MIB, "plain text where a key and its value are due"),
    ("directives", "%YAML 1.1\n" * 19_000, "m.yaml:2:1: a line that begins with %"),
    ("huge whole number", "a: " + "9" * 1_000_000,
     "m.yaml:1:4: a: a number of 1,000,000 characters; the limit is 40"),
    ("huge hexadecimal", "a: 0x" + "f" * 1_000_000,
     "m.yaml:1:4: a: a number of 1,000,002 characters; the limit is 40"),
    ("huge exponent", "a: 1e999999999", "m.yaml:1:4: a: `1e999999999` is not a finite number"),
    ("not a number", "a: .NaN", "m.yaml:1:4: a: `.NaN` is not a finite number"),
    ("underscores", "a: 1" + "_" * 1_000_000,
     "m.yaml:1:4: a: a number of 1,000,001 characters; the limit is 40"),
    ("nothing but zeros", "a: \0\0\0", "m.yaml:1:4: the character U+0000 cannot stand in a text file"),
    ("not UTF-8", b"a: \xff\xfe\xfd", "m.yaml:1:4: byte 0xff is not UTF-8"),
    ("UTF-16", "a: 1".encode("utf-16"), "m.yaml:1:1: byte 0xff is not UTF-8"),
    ("overlong slash", b"a: \xc0\xaf", "m.yaml:1:4: byte 0xc0 is not UTF-8"),
]  # fmt: skip


@pytest.mark.parametrize(("content", "said"), [row[1:] for row in FILES], ids=[row[0] for row in FILES])
def test_a_hostile_file_ends_in_an_error(tmp_path, content, said):
    path = tmp_path / "m.yaml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    got = run_bounded(READ_ONE, str(path))
    assert said in got
    # What is quoted is short: no megabyte comes back.
    assert len(got) < 400


def test_what_is_no_file_is_not_opened(tmp_path):
    pipe, loop, huge = tmp_path / "pipe", tmp_path / "loop", tmp_path / "huge"
    os.mkfifo(pipe)  # opening it would wait for a writer, for ever
    loop.symlink_to(loop)
    with huge.open("wb") as file:
        file.truncate(1 << 40)
    assert "is not an ordinary file" in run_bounded(READ_ONE, str(pipe))
    assert "is not an ordinary file" in run_bounded(READ_ONE, "/dev/zero")
    assert "is a folder" in run_bounded(READ_ONE, str(tmp_path))
    assert "cannot be read: Too many levels of symbolic links" in run_bounded(READ_ONE, str(loop))
    assert "holds 1,099,511,627,776 bytes; the limit is 1,048,576" in run_bounded(READ_ONE, str(huge))


# --- values --------------------------------------------------------------------------------

# Each is refused by the grammar, or by the look-up of a name that no table has.
ATTACKS = [
    "__import__('os').system('true')",
    "open('/etc/passwd')",
    "exec(1)",
    "eval(1)",
    "getattr(a, b)",
    "().__class__.__bases__[0]",
    '"".__class__',
    "a.__class__",
    "a.__class__.__mro__[1].__subclasses__",
    "a.__init__.__globals__",
    "__builtins__",
    "[].append",
    "{}",
    "{1: 2}[1]",
    "lambda: 0",
    "[x for x in a]",
    "a if a else a",
    "a and a",
    "a == a",
    "a = 1",
    "a := 1",
    "a; a",
    "a # comment",
    "a @ a",
    "a % a",
    "a // a",
    "a << 64",
    "~a",
    "9**9**9**9",
    "9^9^9",
    "10**100000000",
    "factorial(10000000)",
    "1e999",
    "0*1e999",
    "1e308*10",
    "1e308*1e308/1e308",
    "1e-400 / 1e-400",
    "1/0",
    "0/0",
    "1/(1-1)",
    "sqrt(-1)",
    "tan(90)",
    "nan",
    "inf",
    "'x' * 1000000000",
    "f'{a}'",
    "`id`",
    "$(id)",
    "%s",
    "{{a}}",
    "../../etc/passwd",
    "a\0b",
    "0x10",
    "0b1",
    "1_0",
    "１０ mm",
    "a.b",
    "a[0]",
    "a[-1]",
    "a[1e9]",
    "a[1][2][3]",
    "min()",
    "1e1e1",
    "1e+99999999999999999999",
    "1/99999999999999999999999e-99999999",
]
MONSTERS = {
    "brackets": "(" * 1_000_000,
    "brackets closed": "(" * 100 + "1" + ")" * 100,
    "minus signs": "-" * 1_000_000 + "1",
    "indices": "a[" * 90 + "1" + "]" * 90,
    "calls": "abs(" * 40 + "1" + ")" * 40,
    "a long sum": "1+" * 1_000_000 + "1",
    "a long number": "9" * 1_000_000,
    "many spaces": " " * 1_000_000 + "1",
    "a long name": "a" * 1_000_000,
    "a long path": "a." * 500_000 + "a",
    "plus or minus": "1 ± " * 300_000,
    "ranges": "1 .. " * 300_000,
}

VALUES = """
import sys
from fitcheck.scene.expression import Amount, evaluate, from_table
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import parse
for text in eval(sys.argv[1]):
    try:
        print("VALUE", evaluate(parse(text), from_table({"a": Amount(1.0)})))
    except ValueMistake as wrong:
        print(f"{wrong.problem}; {wrong.mend}"[:300])
"""


def fate(text: str) -> ValueMistake | Amount | Uncertain:
    try:
        got = parse(text)
        return evaluate(got, from_table({"a": Amount(1.0)})) if isinstance(got, Expression) else got
    except ValueMistake as wrong:
        return wrong


@pytest.mark.parametrize("text", ATTACKS)
def test_a_hostile_value_is_refused(text):
    got = fate(text)
    assert isinstance(got, ValueMistake)
    assert 0 <= got.offset <= len(text)


@pytest.mark.parametrize("text", MONSTERS.values(), ids=MONSTERS)
def test_a_monstrous_value_is_refused_by_its_limit(text):
    got = fate(text)
    assert isinstance(got, ValueMistake)
    assert "limit" in got.problem
    assert len(got.problem) + len(got.mend) < 200


def test_all_of_them_in_bounds():
    """The same once more in a child with bounded memory and time."""
    source = (
        f"{ATTACKS!r} + [{', '.join(repr(one[:9]) + f' * {len(one) // 9}' for one in MONSTERS.values())}]"
    )
    lines = run_bounded(VALUES, source).splitlines()
    assert len(lines) == len(ATTACKS) + len(MONSTERS)
    assert not any(line.startswith("VALUE") for line in lines)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.text("ab_.[]()0123 +-*,'\"{}", max_size=25))
def test_only_names_reach_the_lookup(text):
    """Whatever is written, a look-up sees words, dots and whole indices, nothing else."""
    asked = []

    def lookup(name):
        asked.append(name)
        return Amount(1.0)

    got = None
    try:
        got = parse(text)
        evaluate(got, lookup) if isinstance(got, Expression) else None
    except ValueMistake:
        pass
    for name in asked:
        words = name.replace("]", "").replace("[", ".").split(".")
        assert all(word.isidentifier() or word.isdecimal() for word in words)
        assert name[0].isidentifier()
