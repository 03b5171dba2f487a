"""The shape of scene and model files: what is refused, in which words, where, and whether the mend helps.

The JSON Schemas are held against the library jsonschema (an independent validator of draft 2020-12), on the
examples of both READMEs, on the mistakes below, and on random damage.
"""

from __future__ import annotations

import copy
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from demo_rules import RULES, PairRule
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pydantic import Field

from fitcheck.checks import RULE_TYPES
from fitcheck.scene.mistakes import Mistake, Mistakes
from fitcheck.scene.read import library
from fitcheck.scene.rules import Length, Rule
from fitcheck.scene.schema import check_model, check_scene, model_schema, scene_schema
from fitcheck.scene.text import read_document

ROOT = Path(__file__).parents[1]


SCENE = Draft202012Validator(scene_schema(RULES))
MODEL = Draft202012Validator(model_schema())


def scene_mistakes(text: str, rules: dict[str, Any] = RULES) -> tuple[Mistake, ...]:
    """What is wrong with the text of a scene."""
    try:
        check_scene(read_document(text, "s.yaml"), rules)
    except Mistakes as wrong:
        return wrong.items
    return ()


def model_mistakes(text: str) -> tuple[Mistake, ...]:
    """What is wrong with the text of a model."""
    try:
        check_model(read_document(text, "m.yaml"))
    except Mistakes as wrong:
        return wrong.items
    return ()


# --- the examples of both READMEs ---


def blocks(path: Path) -> dict[str, list[str]]:
    """Indented blocks of a page by their section's heading; commands are no blocks."""
    found: dict[str, list[str]] = {}
    heading, block = "", []
    for line in [*path.read_text(encoding="utf-8").splitlines(), ""]:
        if line.startswith("    ") and not line.startswith("    fitcheck "):
            block.append(line[4:])
            continue
        if block:
            found.setdefault(heading, []).append("\n".join(block))
            block = []
        if line.startswith("#"):
            heading = line.strip("# ")
    return found


def scene_examples() -> list[str]:
    found = blocks(ROOT / "scenes" / "README.md")
    # The tutorial is run as a whole, the example of a layouts file is held against its own reader.
    others = (texts for heading, texts in found.items() if not heading.startswith("From the tape measure"))
    return [text for texts in others for text in texts if not text.startswith("scene:")]


def model_examples() -> list[str]:
    wanted = []
    for heading, texts in blocks(ROOT / "models" / "README.md").items():
        for text in texts:
            # Blocks of single entries stand under the section that is the heading.
            own = "" if text.split(":")[0] in ("derive", "faces", "use", "wet") else f"{heading.lower()}:\n"
            wanted.append(own + (re.sub("^", "  ", text, flags=re.M) if own else text))
    return wanted


def test_examples_of_the_scene_page():
    examples = scene_examples()
    editor = Draft202012Validator(scene_schema(RULE_TYPES))
    keys = {text.split(":")[0] for text in examples}
    assert keys == {"parameters", "parts", "runs", "loops", "touches", "rules", "views"}
    for text in examples:
        whole = text if text.startswith("parts:") else f"{text}\nparts: {{}}\n"
        assert scene_mistakes(whole, RULE_TYPES) == (), text
        assert not list(editor.iter_errors(read_document(whole, "s").data)), text


def test_examples_of_the_model_page():
    examples = model_examples()
    keys = {line.split(":")[0] for text in examples for line in text.splitlines() if line[0] != " "}
    assert keys == {
        "parameters", "derive", "solids", "faces", "ports", "holes", "openings", "keep_clear", "compartments",
        "use", "wet", "electric",
    }  # fmt: skip
    for text in examples:
        whole = f"model: m\n{text}\n"
        assert model_mistakes(whole) == (), text
        assert not list(MODEL.iter_errors(read_document(whole, "m").data)), text


def test_an_editor_marks_nothing_in_the_built_in_models():
    for path in library().values():
        assert not list(MODEL.iter_errors(read_document(path.read_text(encoding="utf-8"), path.name).data)), (
            path
        )


def test_every_key_of_the_tables_is_in_the_schema():
    for page, schema in (("scenes", SCENE.schema), ("models", MODEL.schema)):
        table = (ROOT / page / "README.md").read_text(encoding="utf-8").split("## Keys")[1].split("\n\n")[0]
        rows = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
        keys = re.findall(r"`(\w+)`", "".join(rows))
        assert set(keys) == set(schema["properties"])


@pytest.mark.parametrize("page", ["scenes", "models"])
def test_schema_is_sound_and_helps(page):
    schema = (SCENE if page == "scenes" else MODEL).schema
    Draft202012Validator.check_schema(schema)
    assert "$id" not in schema
    for name, group in {"file": schema, **schema["$defs"]}.items():
        assert group["description"], name
        for key, inner in group.get("properties", {}).items():
            assert inner.get("description") or "$ref" in inner, f"{name}.{key} has no help"


# --- mistakes: text, what is said, whether an editor marks it too ---


def table(name: str) -> list[tuple[str, str]]:
    """Wrong texts with all that is said of each, from a page beside this file."""
    page = Path(__file__).with_name(name).read_text(encoding="utf-8")
    rows = []
    for block in page.split("\n\n")[1:]:
        lines = block.strip("\n").split("\n")
        text = [line for line in lines if not line.startswith("    ")]
        rows.append(("\n".join(text), "\n".join(line[4:] for line in lines if line.startswith("    "))))
    return rows


LENGTH = "expected a length, such as 30 mm or 1 1/4 in"

# What no JSON Schema can see: names that clash or hide others, and how many directions a rest has.
BEYOND_EDITORS = (
    "is taken: line", "direction", "of the choices", "choices are missing", "has no", "yes or no, found `3`",
    "is male or female", "turn and turns",
)  # fmt: skip

CASES = [(scene_mistakes, SCENE, "s", *row) for row in table("wrong_scenes.txt")]
CASES += [(model_mistakes, MODEL, "m", *row) for row in table("wrong_models.txt")]


@pytest.mark.parametrize(("check", "editor", "name", "text", "said"), CASES, ids=[row[3] for row in CASES])
def test_mistake_is_said_and_mended(check, editor, name, text, said):
    found = check(text)
    assert [str(one) for one in found] == [f"{name}.yaml:{line}" for line in said.split("\n")]
    if not any(words in said for words in BEYOND_EDITORS):
        assert list(editor.iter_errors(read_document(text, name).data)), "an editor sees nothing"
    for mistake in found:
        if mistake.mend:
            mended = check(apply(mistake, text))
            assert len(mended) < len(found), mended
            assert (mistake.subject, mistake.problem) not in {(one.subject, one.problem) for one in mended}


def apply(mistake: Mistake, text: str) -> str:
    """Type the mend in where the mistake is marked: `write X`, or `add X` before it."""
    lines = text.splitlines()
    line, start = lines[mistake.mark.line - 1], mistake.mark.column - 1
    word, _, typed = mistake.mend.partition(" ")
    assert word in ("write", "add")
    written = re.compile(r"[^,:{}\[\]]+").match(line, start)
    assert written, "nothing stands at the mark"
    typed = typed if word == "write" else f"{typed}, {written[0]}"
    lines[mistake.mark.line - 1] = line[:start] + typed + line[written.end() :]
    return "\n".join(lines)


def test_all_mistakes_at_once_in_order_of_lines():
    text = (
        "title: 3\nparts:\n  a: {modle: b}\n  B: {model: c}\n  d: {model: e, place: {at: [1, 2]}}\nruls: {}\n"
    )
    assert [(one.mark.line, one.subject) for one in scene_mistakes(text)] == [
        (1, "title"), (3, "modle"), (4, "B"), (5, "at"), (6, "ruls"),
    ]  # fmt: skip


def test_there_are_many_mistakes():
    assert len(CASES) >= 80
    assert sum("; write " in said or "; add " in said for *_, said in CASES) >= 25


def test_no_word_of_the_library_shows():
    said = "\n".join(str(one) for check, _, _, text, _ in CASES for one in check(text))
    assert len(said) > 5000
    for word in ("nput should", "valid ", "Extra ", "permitted", "Field required", "pydantic", "function-"):
        assert word not in said


# --- random damage: an editor must not mark what is read ---

WHOLE_SCENE = {
    "title": "t",
    "parameters": {"n": 4, "core": "54 ± 0.5 mm", "e": {"value": "rear", "choices": ["front", "rear"]}},
    "parts": {
        "case": {"model": "tower", "with": {"depth": 640}},
        "radiator": {
            "model": "radiator",
            "place": {
                "rest": "back", "on": "case.hall.floor", "turn": 90, "front": "16 mm", "centre": "across",
            },
            "inside": "case.hall",
        },
        "pad": {
            "model": "pad",
            "place": {
                "rest": "back", "on": "case.wall", "left": 1, "also_on": "case.rib",
                "ruler": [{"mine": "top", "theirs": "case.lid", "apart": "3 mm", "towards": "bottom"}],
            },
        },
        "drain": {"model": "drain", "place": {"join": "inlet", "to": "radiator.port[1]", "mirror": "x"}},
        "drive": {"repeat": {"i": 2}, "model": "drive", "place": {"at": ["i * 3", 0, 0], "turns": []}},
    },
    "touches": [{"between": "case.floor_panel", "and": "drive*", "gives": 0.5}],
    "rules": {
        "clearance": {"default": 2},
        "room": [{"for": "drain", "side": "rear", "of": "case", "at_least": 3}],
    },
    "views": {"v": {"look": "from left", "cut": {"x": "155 mm"}, "hide": ["case"]}},
}  # fmt: skip
WHOLE_MODEL = {
    "model": "m",
    "parameters": {"a": {"type": "length", "default": "30 mm", "range": ["none", 40]}},
    "derive": {"b": "a / 2", "c": {"pick": "a", "from": {"30": 1}, "otherwise": 2}},
    "solids": {
        "d": {"box": {"low": [0, 0, 0], "high": ["a", 1, 1]}, "role": "core", "when": {"a": [30, 40]}},
        "e": {
            "prism": {"along": "x", "from": 0, "to": 1, "outline": [[0, 0], [1, 0], [1, 1]]},
            "transparent": "yes",
        },
        "f": {"sheet": {"low": [0, 0, 0], "high": [1, 1, 1]}, "turn": {"about": "z", "by": 3}},
        "g": {"tube": {"path": [[0, 0, 0], [0, 0, 1]], "diameter": 3}},
    },
    "faces": {"h": {"of": ["d"], "side": "+z"}, "j": {"at": [0, 0, 0], "normal": "+x", "size": [1, 2]}},
    "ports": {"k": {"at": [0, 0, 0], "axis": [1, 0, "a"], "thread": "G1/4", "gender": "male"}},
    "holes": {"l": {"at": [0, 0, 0], "axis": "+z", "diameter": 3, "cuts": "f", "repeat": {"u": 2}}},
    "openings": {"n": {"at": [0, 0, 0], "axis": "+z", "slot": [3, 1], "cuts": "f"}},
    "keep_clear": {"o": {"cylinder": {"from": [0, 0, 0], "to": [0, 0, 1], "diameter": 3}, "why": "w"}},
    "compartments": {"p": {"low": [0, 0, 0], "high": [1, 1, 1], "walls": {"floor": "d"}}},
    "use": {"q": {"model": "fan", "with": {"size": "a"}, "place": {"at": [0, 0, 0]}}},
}  # fmt: skip


def routes(data: Any, route: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in the data but the top."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [found for key, value in inner for found in ((*route, key), *routes(value, (*route, key)))]


VALUES: list[Any] = [
    3, -1.5, "x", "+x", "a b", "12 mm", "none", "", [], {}, [1, 2, 3], ["a"], {"a": 1}, True, "yes", [[1, 2]],
    "case.hall", "drive*", None, {"low": [0, 0, 0], "high": [1, 1, 1]}, {"x": 1},
]  # fmt: skip
KEYS = [
    "fresh",
    "Fresh",
    "floor",
    "at",
    "rest",
    "on",
    "side",
    "of",
    "from",
    "value",
    "box",
    "thread",
    "x",
    "centre",
]


@st.composite
def damaged(draw: st.DrawFn, whole: dict[str, Any]) -> dict[str, Any]:
    """The whole file with one to three places dropped, renamed, replaced or added to."""
    data = copy.deepcopy(whole)
    for _ in range(draw(st.integers(1, 3))):
        route = draw(st.sampled_from(routes(data)))
        group = data
        for step in route[:-1]:
            group = group[step]
        key = route[-1]
        deed = draw(st.sampled_from(["drop", "replace", "rename", "add"]))
        if deed == "drop":
            del group[key]
        elif deed == "replace" or isinstance(group, list):
            group[key] = copy.deepcopy(draw(st.sampled_from(VALUES)))
        else:
            value = group.pop(key) if deed == "rename" else copy.deepcopy(draw(st.sampled_from(VALUES)))
            group[draw(st.sampled_from(KEYS))] = value
    return data


def agree(data: dict[str, Any], check: Any, editor: Draft202012Validator) -> None:
    found = check(json.dumps(data))
    marked = sorted(error.message for error in editor.iter_errors(json.loads(json.dumps(data))))
    if not found:
        assert not marked
    said = [str(one) for one in found]
    if said and not marked:
        assert all(any(words in one for words in BEYOND_EDITORS) for one in said), said


def test_whole_files_are_right():
    assert scene_mistakes(json.dumps(WHOLE_SCENE)) == model_mistakes(json.dumps(WHOLE_MODEL)) == ()


@settings(deadline=None, derandomize=True, max_examples=300)
@given(data=damaged(WHOLE_SCENE))
def test_editor_and_reader_agree_on_damaged_scenes(data):
    agree(data, scene_mistakes, SCENE)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(data=damaged(WHOLE_MODEL))
def test_editor_and_reader_agree_on_damaged_models(data):
    agree(data, model_mistakes, MODEL)


@pytest.mark.long
@settings(deadline=None, derandomize=True, max_examples=5000)
@given(scene=damaged(WHOLE_SCENE), model=damaged(WHOLE_MODEL))
def test_editor_and_reader_agree_at_length(scene, model):
    agree(scene, scene_mistakes, SCENE)
    agree(model, model_mistakes, MODEL)


# --- what the readers of typed files rely on ---


class Either(Rule):
    """A field of two shapes."""

    either: Length | PairRule = Field(description="A length, or a pair.")


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("3 mm", []),
        ("{between: a, and: b, at_least: 3}", []),
        (
            "{between: a, and: b, at_last: 3}",
            ["2:42: at_last: unknown key; allowed here: between, and, at_least; write at_least"],
        ),
        ("[1]", [f"2:21: either: {LENGTH}, found a list"]),
        ("{between: a, and: b, at_least: [1]}", [f"2:52: at_least: {LENGTH}, found a list"]),
    ],
)
def test_a_field_of_two_shapes_is_blamed_for_the_one_meant(written, said):
    document = read_document(f"parts: {{}}\nrules: {{e: {{either: {written}}}}}", "s")
    try:
        check_scene(document, {"e": Either})
        found = []
    except Mistakes as wrong:
        found = [str(one).removeprefix("s:") for one in wrong.items]
    assert found == said


def test_choices_of_a_length_are_compared_when_they_are_worked_out():
    choices = {"type": "length", "choices": ["120 mm", "140 mm"]}
    assert scene_mistakes(json.dumps({"parameters": {"a": {"value": "12 cm", **choices}}, "parts": {}})) == ()
    assert (
        model_mistakes(json.dumps({"model": "m", "parameters": {"a": {"default": "12 cm", **choices}}})) == ()
    )


def test_typed_scene():
    file = check_scene(read_document(json.dumps(WHOLE_SCENE), "s"), RULES)
    assert file.parameters["n"].value == 4
    assert file.parameters["e"].choices == ["front", "rear"]
    place = file.parts["radiator"].place
    assert place is not None
    assert (place.way, place.rulers, place.turn) == ("rest", {"front": "16 mm"}, 90)
    assert file.parts["drain"].place is not None
    assert file.parts["drain"].place.way == "join"
    assert sorted(file.rules) == ["clearance", "room"]
    assert file.rules["room"][0].for_ == "drain"
    assert file.touches[0].and_ == "drive*"


def test_typed_model():
    file = check_model(read_document(json.dumps(WHOLE_MODEL), "m"))
    assert file.parameters["a"].range == [None, 40]
    assert file.faces["h"].of == ["d"]
    assert file.ports["k"].link == "thread"
    assert file.solids["e"].transparent is True
    assert type(file.solids["e"].shape).__name__ == "Prism"
    assert file.openings["n"].shape == "slot"


def test_types_load_without_geometry():
    loaded = "import sys, fitcheck.scene.read; print(*sys.modules)"
    modules = subprocess.run(
        [sys.executable, "-c", loaded], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "pydantic" in modules
    assert not {"numpy", "trimesh", "pyvista", "jsonschema", "manifold3d"} & set(modules)
