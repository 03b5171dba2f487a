"""What a YAML text holds and where: against ruamel.yaml, and what is refused."""

from __future__ import annotations

import io
import math
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from fitcheck.scene import limits, text
from fitcheck.scene.files import decoded, read_file
from fitcheck.scene.mistakes import Mark, Mistakes
from fitcheck.scene.scalars import doubtful
from fitcheck.scene.text import read_document

ROOT = Path(__file__).parent.parent
OURS = sorted([*ROOT.glob("models/*.yaml"), *ROOT.glob("scenes/**/*.yaml")])
MACHINE = """\
# a machine
title: "Dome: render"
parameters:
  core: 54 ± 0.5 mm   # callipers
  rows: {fans: 4, 'size': '120 mm'}
parts:
  case: {model: floor_tower, with: {depth: 640, width: 310.5}}
  drain:
    place: {join: inlet, to: "rad.port_low", turn: 90}
    views: [left, {cut: {x: 155}}]
notes: >
  one
  two
"""


@pytest.fixture(params=["compiled", "in Python"], autouse=True)
def backend(request, monkeypatch):
    """Each of these tests runs on the compiled parser and on the one in Python."""
    if request.param == "in Python":
        monkeypatch.setattr(text, "_LOADER", yaml.SafeLoader)


def mistakes(source: str) -> list[str]:
    with pytest.raises(Mistakes) as caught:
        read_document(source, "m.yaml")
    return [str(one) for one in caught.value.items]


# --- data and places -----------------------------------------------------------------------


def by_ruamel(source: str):
    """Plain data, and {path: (key place or None, value place)}, both counted from 1."""
    places: dict[tuple, tuple] = {}

    def walk(node, path):
        if isinstance(node, dict):
            for key, child in node.items():
                (kl, kc), (vl, vc) = node.lc.key(key), node.lc.value(key)
                places[(*path, str(key))] = ((kl + 1, kc + 1), (vl + 1, vc + 1))
                walk(child, (*path, str(key)))
            return {str(key): walk(child, (*path, str(key))) for key, child in node.items()}
        if isinstance(node, list):
            for index, child in enumerate(node):
                line, column = node.lc.item(index)
                places[(*path, index)] = (None, (line + 1, column + 1))
                walk(child, (*path, index))
            return [walk(child, (*path, index)) for index, child in enumerate(node)]
        for kind in (bool, int, float, str):
            if isinstance(node, kind):
                return kind(node)
        return node

    return walk(YAML(typ="rt").load(source), ()), places


def agrees(source: str) -> None:
    document = read_document(source, "m.yaml")
    data, places = by_ruamel(source)
    assert document.data == data
    assert len(document.spots) == len(places) + 1  # the root has no key and no item
    for path, (key, value) in places.items():
        mark = document.mark(path)
        # ruamel puts a block list or mapping where its first entry's text begins, as we do.
        assert (mark.line, mark.column) == value, path
        if key:
            mark = document.mark(path, key=True)
            assert (mark.line, mark.column) == key, path


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.name)
def test_our_own_files_read_as_ruamel_reads_them(path):
    agrees(path.read_text("utf-8"))


def test_a_machine_reads_as_ruamel_reads_it():
    agrees(MACHINE)


# Without colons and question marks: `a:0` and `{?a: 0}` are refused, and ruamel writes them so.
letters = st.characters(
    min_codepoint=32, max_codepoint=0x2FF, exclude_categories=["Cc", "Zl", "Zp"], exclude_characters=":?"
)
words = st.text(letters, max_size=12)
scalars = st.one_of(
    words,
    st.integers(-(10**12), 10**12),
    st.booleans(),
    st.none(),
    st.floats(-1e6, 1e6).map(lambda x: round(x, 4)),
)
data = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words.filter(str.strip), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.dictionaries(words.filter(str.strip), data, min_size=1, max_size=4), st.booleans())
def test_what_ruamel_writes_we_read(content, flow):
    writer, out = YAML(typ="safe", pure=True), io.StringIO()
    writer.default_flow_style = flow
    writer.dump(content, out)
    assert read_document(out.getvalue(), "m.yaml").data == content


def test_places_in_values_and_missing_entries():
    document = read_document(MACHINE, "m.yaml")
    lines = MACHINE.splitlines()

    def at(mark: Mark) -> str:
        return lines[mark.line - 1][mark.column - 1 :]

    assert at(document.mark(("parts", "case", "with", "depth"))).startswith("640,")
    assert at(document.mark(("parts", "case", "with", "depth"), key=True)).startswith("depth: 640")
    assert at(document.mark(("parts", "drain", "views", 1, "cut", "x"))).startswith("155}")
    # An entry that is not there is missing at its parent's key.
    assert at(document.mark(("parts", "drain", "place", "front"))).startswith("place: {")
    assert at(document.mark(("parts", "case", "with", "height", "value"))).startswith("with: {")
    assert str(document.mark(("nothing",))) == "m.yaml:2:1"
    # Characters of a value, quoted or not, the ± being one.
    assert at(document.mark(("parameters", "core"), offset=5)).startswith("0.5 mm")
    assert at(document.mark(("parts", "drain", "place", "to"), offset=4)).startswith('port_low"')
    assert at(document.mark(("parameters", "rows", "size"), offset=4)).startswith("mm'")
    # Folded text runs over lines: its beginning is all that can be said.
    assert at(document.mark(("notes",), offset=5)) == ">"
    assert document.lines == tuple(MACHINE.split("\n"))


# YAML 1.2.2, chapter 10.3.2, table of the core schema: what plain scalars are.
@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None),
        ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
        ("0", 0), ("12", 12), ("-19", -19), ("+7", 7),
        ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("12e03", 12000.0), ("-2E+05", -200000.0),
        ("1.5e-3", 0.0015),
        # YAML 1.1 read these as truth, sixty-based numbers and dates; 1.2 does not.
        ("no", "no"), ("yes", "yes"), ("on", "on"), ("off", "off"), ("y", "y"), ("12:30", "12:30"),
        ("2024-01-01", "2024-01-01"), ("nUll", "nUll"), ("1e", "1e"), ("+", "+"), ("-x", "-x"), (".", "."),
        ("16 mm", "16 mm"), ('3/8"', '3/8"'), ("54 ± 0.5 mm", "54 ± 0.5 mm"), ("drive*", "drive*"),
        ("'12'", "12"), ('"true"', "true"), ("'014'", "014"), ("'.nan'", ".nan"),
    ],
)  # fmt: skip
def test_plain_scalars(written, value):
    got = read_document(f"a: {written}\n", "m.yaml").data["a"]
    assert got == value
    assert type(got) is type(value)
    if isinstance(value, float):
        assert math.copysign(1, got) == math.copysign(1, value)


def test_numbers_as_keys_are_their_text():
    assert read_document("pick: {80: 71.5, 120 mm: 105}\n", "m.yaml").data == {
        "pick": {"80": 71.5, "120 mm": 105}
    }


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("start", ["", "\ufeff", "---\n", "%YAML 1.2\n---\n"])
def test_line_ends_and_beginnings(end, start):
    document = read_document((start + "a: 1\nb:\n  c: x\n").replace("\n", end), "m.yaml")
    assert document.data == {"a": 1, "b": {"c": "x"}}
    assert document.lines[document.mark(("b", "c")).line - 1] == "  c: x"


# --- what is refused -----------------------------------------------------------------------

TAB = "a tab indents this line; YAML takes spaces only; write spaces in place of the tab"
QUOTED = "text goes on after a closed quote; write the whole text inside the quotes"
DEEPER = "deeper than the line above, which has its value already"
NO_KEY = "a list or mapping cannot be a key; write a name before the colon"
WITH_INDEX = "text with [ ] in it must stand in quotes inside { } and [ ]"
SECOND = "a second document begins here; a file holds one"

# Text, its one mistake, and the text with the mend applied.
WRONG = [
    # tabs and indentation
    ("a: 1\n\tb: 2\n", f"2:1: {TAB}", "a: 1\nb: 2\n"),
    ("a:\n\tb: 2\n", f"2:1: {TAB}", "a:\n  b: 2\n"),
    ("a:\n  b: 1\n \tc: 2\n", f"3:2: {TAB}", "a:\n  b: 1\n  c: 2\n"),
    ("a: 1\n b: 2\n", f"2:2: this line is indented by 1, {DEEPER}; indent it by 0", "a: 1\nb: 2\n"),
    ("a:\n  b: 1\n    # why\n    c: 2\n", f"4:5: this line is indented by 4, {DEEPER}; indent it by 2",
     "a:\n  b: 1\n  c: 2\n"),
    ("a:\n  b: 1\n c: 2\n", "3:2: this line is indented by 1, the keys above by 0 or 2; indent it by 2",
     "a:\n  b: 1\n  c: 2\n"),
    ("- a\nb: 1\n",
     "2:1: this line stands in a list and does not begin with -; write - before it, or indent it less",
     "- a\n- b: 1\n"),
    ("- 1\n-2\n", "2:1: a space is missing after the dash of `-2`; write - 2", "- 1\n- 2\n"),
    ("a: - 5\n",
     "1:4: a list cannot begin behind a colon; write [ ] around the list, or no space after a minus sign",
     "a: -5\n"),
    # colons
    ("d:640\nwidth: 3\n", "1:1: d: a space is missing after the colon of `d:640`; write d: 640",
     "d: 640\nwidth: 3\n"),
    ("a:\n  depth:640\n", "2:3: depth: a space is missing after the colon of `depth:640`; write depth: 640",
     "a:\n  depth: 640\n"),
    ("a: 1\nb:2\nc: 3\n", "2:1: a space is missing after the colon of `b:2`; write b: 2",
     "a: 1\nb: 2\nc: 3\n"),
    ("a: {fans:4, size: 3}\n", "1:5: fans: a space is missing after the colon of `fans:4`; write fans: 4",
     "a: {fans: 4, size: 3}\n"),
    ("a: 1\nb\nc: 2\n", "2:1: `b` has no colon; write b: and its value", "a: 1\nb: 3\nc: 2\n"),
    ("a: b: c\n", "1:5: a second colon in one line; write the text after the first colon in quotes",
     "a: 'b: c'\n"),
    (": 5\n", "1:1: a key is missing before this colon; write a name before it", "a: 5\n"),
    # brackets
    ("a: [1, 2\nb: 3\n", "1:4: the [ opened here is not closed; write ] at its end", "a: [1, 2]\nb: 3\n"),
    ("a: {x: 1, y: 2\nb: 3\n", "1:4: the { opened here is not closed; write } at its end",
     "a: {x: 1, y: 2}\nb: 3\n"),
    ("a: {\n", "1:4: the { opened here is not closed; write } at its end", "a: {}\n"),
    ("a: {b: [1, 2}\n", "1:13: the [ opened at 1:8 is closed by a }; write ]", "a: {b: [1, 2]}\n"),
    ("a: [1, 2]]\n", "1:10: this ] closes nothing; delete the ]", "a: [1, 2]\n"),
    ("{a: 1}}\n", "1:7: this } closes nothing; delete the }", "{a: 1}\n"),
    ("a: ]\n", "1:4: this ] closes nothing; delete the ]", "a:\n"),
    ("a: [1,,2]\n", "1:7: nothing stands before this comma; delete the comma", "a: [1,2]\n"),
    ("a: {b: 1 c: 2}\n", "1:11: a comma is missing before this key; write a comma between the entries",
     "a: {b: 1, c: 2}\n"),
    ("a: [b: c: d]\n", "1:9: a second colon in one entry; write the entry in { }, or its text in quotes",
     "a: [b: 'c: d']\n"),
    ("a: ,\n", "1:4: text cannot begin with a comma; write the text in quotes", "a: ','\n"),
    # quotes and signs
    ("a: 'abc\nb: 2\n", "1:4: the quote ' opened here is not closed; write ' at the end of the text",
     "a: 'abc'\nb: 2\n"),
    ('a: "abc\n', '1:4: the quote " opened here is not closed; write " at the end of the text', 'a: "abc"\n'),
    ('b: "3/8" in\n', f"1:10: {QUOTED}", 'b: "3/8 in"\n'),
    ("a: 'it's'\n", f"1:8: {QUOTED}", "a: 'it s'\n"),
    ("a: @x\n", "1:4: text that begins with @ must stand in quotes; write '@x'", "a: '@x'\n"),
    ("a: `x`\n", "1:4: text that begins with ` must stand in quotes; write '`x`'", "a: '`x`'\n"),
    ("a: *\n", "1:4: text that begins with * must stand in quotes; write '*'", "a: '*'\n"),
    # what is no plain data
    ("a: &x 1\n", "1:4: a: the anchor &x is not read (limit: 0); delete &x", "a: 1\n"),
    ("a: *x\n", "1:4: a: *x refers to an anchor, and aliases are not read (limit: 0); "
     "write the value itself, or '*x' if it is text", "a: '*x'\n"),
    ("a: !!str 1\n", "1:4: a: the tag !!str is not read; a file holds plain values; delete the tag",
     "a: 1\n"),
    ("a: [1, !x {b: 2}]\n", "1:8: a: the tag !x is not read; a file holds plain values; delete the tag",
     "a: [1, {b: 2}]\n"),
    ("a: 1\n---\nb: 2\n", f"2:1: {SECOND}; delete the line ---", "a: 1\nb: 2\n"),
    ("a: 1\n...\nb: 2\n", f"3:1: {SECOND}; delete what ended the first: the line ...", "a: 1\nb: 2\n"),
    ("? [1]\n: 2\n", f"1:3: {NO_KEY}", "a:\n  2\n"),
    ("a: {{x}}\n", f"1:5: a: {NO_KEY}", "a: {b: {x}}\n"),
    ("a: {?b: 1}\n", "1:6: b: a question mark stands before this key; delete it, or put the key in quotes",
     "a: {'?b': 1}\n"),
    ("a: {on: fan[2].back, b: 1}\n", f'1:9: {WITH_INDEX}; write "fan[2].back"', 'a: {on: "fan[2].back", b: 1}\n'),
    ("a: [1, f[i + 1][2].x + 5]\n", f'1:8: {WITH_INDEX}; write "f[i + 1][2].x + 5"',
     'a: [1, "f[i + 1][2].x + 5"]\n'),
    ("a: {at: 100, 200, x: 3}\n", "1:14: 200: `200` stands without a key; write [ ] around a list of values",
     "a: {at: [100, 200], x: 3}\n"),
    ("", "1:1: nothing is written in it", "a: 1\n"),
    ("# only this\n", "1:1: nothing is written in it", "# only this\na: 1\n"),
    # keys
    ("a: 1\nb: 2\na: 3\n", "3:1: a: is written twice; first at line 1; delete one of them", "a: 1\nb: 2\n"),
    ("a: [{b: 1}, {b: 1, 'b': [2, {c: 3}]}]\n",
     "1:20: b: is written twice; first at line 1; delete one of them",
     "a: [{b: 1}, {b: 1}]\n"),
    ("null: 1\n",
     '1:1: null: `null` is read as yes, no or nothing; a key must be text or a number; write "null"',
     '"null": 1\n'),
    ("014: 1\n", "1:1: 014: YAML readers take `014` as 14 or, in octal, 12; write 14", "14: 1\n"),
    # numbers
    ("a: 014\n", "1:4: a: YAML readers take `014` as 14 or, in octal, 12; write 14", "a: 14\n"),
    ("a: -010\n", "1:4: a: YAML readers take `-010` as -10 or, in octal, -8; write -10", "a: -10\n"),
    ("a: 09\n", "1:4: a: YAML readers take `09` as 9 or as text; write 9", "a: 9\n"),
    ("a: 00.5\n", "1:4: a: YAML readers take `00.5` as 0.5 or as text; write 0.5", "a: 0.5\n"),
    ("a: 1_000\n", "1:4: a: YAML readers take `1_000` as a number or as text; write 1000", "a: 1000\n"),
    ("a: 0_14\n", "1:4: a: YAML readers take `0_14` as a number or as text; write 14", "a: 14\n"),
    ("a: 0x1F\n", "1:4: a: YAML reads `0x1F` as 31; write 31", "a: 31\n"),
    ("a: 0o14\n", "1:4: a: YAML reads `0o14` as 12; write 12", "a: 12\n"),
    ("a: .nan\n", "1:4: a: `.nan` is not a finite number; write a number", "a: 1\n"),
    ("a: [1, -.inf]\n", "1:8: a: `-.inf` is not a finite number; write a number", "a: [1, 2]\n"),
    ("a: 1e999\n", "1:4: a: `1e999` is not a finite number; write a number", "a: 1e9\n"),
    (f"a: {'9' * 41}\n", "1:4: a: a number of 41 characters; the limit is 40; write fewer figures",
     f"a: {'9' * 40}\n"),
    # characters
    ("a: b\x07c\n", "1:5: the character U+0007 cannot stand in a text file; delete it", "a: bc\n"),
    ("x: 1\ny: b\u2028c\n", "2:5: the character U+2028 cannot stand in a text file; delete it",
     "x: 1\ny: bc\n"),
    ("a: \ud800\n", "1:4: the character U+D800 cannot stand in a text file; delete it", "a:\n"),
]  # fmt: skip


@pytest.mark.parametrize(("source", "said", "mended"), WRONG, ids=[repr(row[0])[1:25] for row in WRONG])
def test_says_what_is_wrong_and_the_mend_works(source, said, mended):
    assert mistakes(source) == [f"m.yaml:{said}"]
    read_document(mended, "m.yaml")


def test_an_unknown_escape():
    """The two parsers mark the backslash and the character after it."""
    (said,) = mistakes('a: "\\q"\n')
    assert said.split(": ", 1)[1] == (
        "a backslash in double quotes begins an escape, and this is none; write \\\\ for one backslash"
    )


def test_all_mistakes_at_once_in_order():
    assert mistakes("a: 014\nb: .inf\nb: 2\nc: {d:1}\n") == [
        "m.yaml:1:4: a: YAML readers take `014` as 14 or, in octal, 12; write 14",
        "m.yaml:2:4: b: `.inf` is not a finite number; write a number",
        "m.yaml:3:1: b: is written twice; first at line 2; delete one of them",
        "m.yaml:4:5: d: a space is missing after the colon of `d:1`; write d: 1",
    ]


def test_a_key_written_three_times_was_first_written_once():
    assert mistakes("a: 1\nb: 1\na: [{b: 1}]\na: [{b: 2}]\n") == [
        "m.yaml:3:1: a: is written twice; first at line 1; delete one of them",
        "m.yaml:4:1: a: is written twice; first at line 1; delete one of them",
    ]


def test_after_a_hundred_mistakes_reading_ends():
    assert len(mistakes("a: 1\n" * 200)) == limits.MISTAKES


def test_mistakes_before_a_broken_end_are_said_too():
    assert mistakes("a: 014\nb: [1\n") == [
        "m.yaml:1:4: a: YAML readers take `014` as 14 or, in octal, 12; write 14",
        "m.yaml:2:4: the [ opened here is not closed; write ] at its end",
    ]


def test_addresses_and_times_are_no_missing_space():
    source = "- http://example.org\n- 12:30\n- 'a:b'\n- x\n"
    assert read_document(source, "m.yaml").data == ["http://example.org", "12:30", "a:b", "x"]


@pytest.mark.filterwarnings("ignore::ruamel.yaml.error.MantissaNoDotYAML1_1Warning")
@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text("0123456789._+-eExo", min_size=1, max_size=8))
def test_what_is_not_doubtful_is_no_other_number_elsewhere(number):
    """No number that passes is another one for ruamel, in YAML 1.1 or 1.2."""
    if (number[0] in "-" and number[1:2] in ("", "-")) or doubtful(number):
        return
    ours = read_document(f"a: {number}\n", "m.yaml").data["a"]
    if isinstance(ours, str):
        return
    for version in ((1, 1), (1, 2)):
        reader = YAML(typ="safe", pure=True)
        reader.version = version
        theirs = reader.load(f"a: {number}\n")["a"]
        # ruamel calls some floats of the core schema text (`-.0`, `1e3`); never another number.
        assert theirs == ours or isinstance(theirs, str), (number, version)


# --- limits --------------------------------------------------------------------------------


def test_nesting_at_and_beyond_the_limit():
    deep = limits.NESTING - 1  # the root mapping is one level
    read_document("a: " + "[" * deep + "]" * deep, "m.yaml")
    assert mistakes("a: " + "[" * (deep + 1) + "]" * (deep + 1)) == [
        f"m.yaml:1:{4 + deep}: a: nested deeper than 32 levels; that is the limit"
    ]


def test_nodes_at_and_beyond_the_limit():
    items = limits.NODES - 3  # the root, one key, one list
    read_document(f"a: [{', '.join(['1'] * items)}]", "m.yaml")
    (said,) = mistakes("a:\n" + "- 1\n" * (items + 1))
    assert said == f"m.yaml:{items + 2}:3: a: more than 10,000 keys and values; that is the limit"


def test_lines_at_and_beyond_the_limit():
    source = "a: 1" + "\n" * (limits.LINES - 1)
    read_document(source, "m.yaml")
    assert mistakes(source + "\n") == ["m.yaml:20001:1: holds 20,001 lines; the limit is 20,000"]


def test_size_at_and_beyond_the_limit():
    source = "a: 1\n#" + "x" * (limits.FILE_BYTES - 6)
    read_document(source, "m.yaml")
    assert mistakes(source + "x") == ["m.yaml:1:1: holds 1,048,577 bytes; the limit is 1,048,576"]


# --- files ---------------------------------------------------------------------------------


def refused(path) -> str:
    with pytest.raises(Mistakes) as caught:
        read_file(path)
    (one,) = caught.value.items
    return f"{one.mark.line}:{one.mark.column}: {one.problem}; {one.mend}"


def test_files_that_are_none(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "machine.yaml").write_text("a: ±\n", "utf-8")
    assert read_file("machine.yaml") == "a: ±\n"
    assert refused("machin.yaml") == "1:1: there is no such file; write machine.yaml"
    assert refused("quite_different.txt") == "1:1: there is no such file; "
    assert refused("machine.yaml/more") == "1:1: there is no such file; "
    assert refused(tmp_path) == "1:1: is a folder, not a file; "
    assert refused("/dev/zero") == "1:1: is not an ordinary file; "
    assert refused("a\0b").startswith("1:1: cannot be read")
    assert refused("x" * 5000).startswith("1:1: cannot be read: ")


def test_files_too_large_are_not_read(tmp_path):
    path = tmp_path / "big.yaml"
    with path.open("wb") as file:
        file.truncate(5 << 30)  # a sparse file of 5 GiB
    assert refused(path) == "1:1: holds 5,368,709,120 bytes; the limit is 1,048,576; "


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"a: 1\nb: \xe9\n", "2:4: byte 0xe9 is not UTF-8; save the file as UTF-8"),
        (b"a: \xc2\xb1\xff", "1:5: byte 0xff is not UTF-8; save the file as UTF-8"),
        ("a: 1".encode("utf-16"), "1:1: byte 0xff is not UTF-8; save the file as UTF-8"),
        (b"a: \xed\xa0\x80", "1:4: byte 0xed is not UTF-8; save the file as UTF-8"),
        (b"x" * (limits.FILE_BYTES + 1), "1:1: holds 1,048,577 bytes; the limit is 1,048,576"),
    ],
)
def test_bytes_that_are_no_text(data, said):
    with pytest.raises(Mistakes) as caught:
        decoded(data, "m.yaml")
    assert str(caught.value) == f"m.yaml:{said}"


def test_a_signature_is_no_part_of_the_text():
    assert decoded("\ufeffa: 1".encode(), "m.yaml") == "a: 1"
