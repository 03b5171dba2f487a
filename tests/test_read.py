"""From files to a scene with its models: which are read, which refused, in which words."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from demo_rules import RULES

from fitcheck.scene import read
from fitcheck.scene.limits import ASSEMBLY_DEPTH
from fitcheck.scene.mistakes import Mark, Mistakes
from fitcheck.scene.read import Scene, library, read_model, read_scene


def model(name: str, *uses: str) -> str:
    """Text of a model that uses others."""
    used = ", ".join(f"s{at}: {{model: {other}}}" for at, other in enumerate(uses))
    return f"model: {name}\nuse: {{{used}}}\n"


@pytest.fixture
def shelf(tmp_path, monkeypatch) -> Path:
    """A folder for the scene; the built-in models are fan, row (of fans) and tower."""
    built_in = tmp_path / "library"
    built_in.mkdir()
    for name, uses in {"fan": (), "row": ("fan",), "tower": ()}.items():
        (built_in / f"{name}.yaml").write_text(model(name, *uses))
    monkeypatch.setattr(
        read, "library", lambda: {file.stem: file for file in sorted(built_in.glob("*.yaml"))}
    )
    folder = tmp_path / "desk"
    folder.mkdir()
    return folder


def scene(folder: Path, text: str, **overrides: str) -> Scene:
    """Read a scene written into the folder."""
    file = folder / "s.yaml"
    file.write_text(text, encoding="utf-8")
    return read_scene(file, overrides, RULES)


def said(folder: Path, text: str, **overrides: str) -> list[str]:
    """What is wrong with it, the folder's own path left out."""
    with pytest.raises(Mistakes) as wrong:
        scene(folder, text, **overrides)
    return [str(one).replace(f"{folder}{os.sep}", "") for one in wrong.value.items]


# --- the models that ship ---


def test_every_built_in_model_is_read_without_mistake():
    files = library()
    assert len(files) > 5
    for name, path in files.items():
        assert read_model(path).file.model == name


def test_library_of_an_installed_package_lies_inside_it(tmp_path, monkeypatch):
    package = tmp_path / "site" / "fitcheck"
    (package / "scene").mkdir(parents=True)
    (package / "library").mkdir()
    (package / "library" / "bolt.yaml").write_text(model("bolt"))
    (tmp_path / "site" / "models").mkdir()
    monkeypatch.setattr(read, "__file__", str(package / "scene" / "read.py"))
    assert library() == {"bolt": package / "library" / "bolt.yaml"}


def test_library_of_a_checkout_lies_beside_the_package(tmp_path, monkeypatch):
    (tmp_path / "fitcheck" / "scene").mkdir(parents=True)
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "nut.yaml").write_text(model("nut"))
    monkeypatch.setattr(read, "__file__", str(tmp_path / "fitcheck" / "scene" / "read.py"))
    assert library() == {"nut": tmp_path / "models" / "nut.yaml"}


# --- which models are read ---


@pytest.fixture
def opened(monkeypatch) -> list[str]:
    """Names of the files that are read, as they are."""
    names: list[str] = []
    real = read.read_file

    def note(path: Path) -> str:
        names.append(path.name)
        return real(path)

    monkeypatch.setattr(read, "read_file", note)
    return names


def test_only_models_that_are_named_are_read(shelf, opened):
    found = scene(shelf, "parts: {a: {model: row}, b: {model: row}}")
    assert sorted(found.models) == ["fan", "row"]
    assert opened == ["s.yaml", "row.yaml", "fan.yaml"]
    assert found.folder == shelf
    assert found.models["row"].file.use["s0"].model == "fan"


def test_own_models_are_read_beside_the_scene(shelf):
    (shelf / "mine").mkdir()
    (shelf / "mine" / "bracket.yaml").write_text(model("bracket", "fan"))
    found = scene(shelf, "model_folders: [mine]\nparts: {a: {model: bracket}}")
    assert sorted(found.models) == ["bracket", "fan"]
    assert found.models["bracket"].folder == shelf / "mine"
    assert found.models["bracket"].document.name == str(shelf / "mine" / "bracket.yaml")
    assert found.models["fan"].document.name == "models/fan.yaml"


def test_text_is_read_from_the_working_folder(shelf, monkeypatch):
    (shelf / "mine").mkdir()
    (shelf / "mine" / "bracket.yaml").write_text(model("bracket"))
    monkeypatch.chdir(shelf)
    found = read_scene("model_folders: [mine]\nparts: {a: {model: bracket}}", {}, RULES)
    assert list(found.models) == ["bracket"]
    assert found.document.name == "<standard input>"
    assert read_scene("parts: {}", {}, RULES, "stdin").document.name == "stdin"


def test_rules_are_typed(shelf):
    found = scene(shelf, "parts: {}\nrules: {clearance: {default: 2 mm}}")
    assert found.file.rules["clearance"].default == "2 mm"


# --- models that cannot be had ---


def test_unknown_model_with_the_nearest_name(shelf):
    assert said(shelf, "parts: {a: {model: rwo}}") == [
        "s.yaml:1:20: model: there is no model `rwo`; write row"
    ]
    assert list(scene(shelf, "parts: {a: {model: row}}").models) == ["row", "fan"]


def test_unknown_model_like_no_other_lists_them_all(shelf):
    assert said(shelf, "parts: {a: {model: quux}}") == [
        "s.yaml:1:20: model: there is no model `quux`; there are fan, row, tower"
    ]


def test_unknown_model_inside_a_model_is_marked_there(shelf):
    (shelf / "mine").mkdir()
    (shelf / "mine" / "pile.yaml").write_text(model("pile", "fann"))
    assert said(shelf, "model_folders: [mine]\nparts: {a: {model: pile}}") == [
        f"mine{os.sep}pile.yaml:2:19: model: there is no model `fann`; write fan"
    ]


def test_mistakes_of_scene_and_models_come_together(shelf):
    (shelf / "mine").mkdir()
    (shelf / "mine" / "one.yaml").write_text("model: one\nsolid: {}\n")
    (shelf / "mine" / "two.yaml").write_text("model: tow\n")
    text = (
        "model_folders: [mine]\nparts:\n  a: {model: one}\n  b: {model: two}\n  c: {model: fnn, wiht: {}}\n"
    )
    assert said(shelf, text) == [
        f"mine{os.sep}one.yaml:2:1: solid: unknown key; write solids",
        f"mine{os.sep}two.yaml:1:8: model: the file is named two.yaml, so its model is two; found `tow`; "
        "write two",
        "s.yaml:5:14: model: there is no model `fnn`; write fan",
        "s.yaml:5:19: wiht: unknown key; allowed here: model, with, place, inside, repeat, when; write with",
    ]


def test_a_model_cannot_be_part_of_itself(shelf):
    (shelf / "mine").mkdir()
    for name, uses in {"a": "b", "b": "c", "c": "b"}.items():
        (shelf / "mine" / f"{name}.yaml").write_text(model(name, uses))
    assert said(shelf, "model_folders: [mine]\nparts: {p: {model: a}, q: {model: c}}") == [
        f"mine{os.sep}c.yaml:2:19: model: a model cannot be part of itself: b uses c uses b"
    ]


@pytest.mark.parametrize("depth", [ASSEMBLY_DEPTH, ASSEMBLY_DEPTH + 1, 600])
def test_models_in_models_are_limited(shelf, depth):
    (shelf / "mine").mkdir()
    for k in range(1, depth + 1):
        below = [f"m{k + 1}"] if k < depth else []
        (shelf / "mine" / f"m{k}.yaml").write_text(model(f"m{k}", *below))
    text = "model_folders: [mine]\nparts: {p: {model: m1}}"
    if depth <= ASSEMBLY_DEPTH:
        assert len(scene(shelf, text).models) == depth
        return
    assert said(shelf, text) == [
        f"s.yaml:2:20: model: `m1` uses models more than {ASSEMBLY_DEPTH} deep in each other; "
        "that is the limit"
    ]


def test_diamonds_are_read_once_and_not_mistaken_for_circles(shelf, opened):
    """Each of 12 levels uses the next twice: 4,096 ways down, 13 files."""
    (shelf / "mine").mkdir()
    for k in range(13):
        below = [f"m{k + 1}"] * 2 if k < 12 else []
        (shelf / "mine" / f"m{k}.yaml").write_text(model(f"m{k}", *below))
    scene(shelf, "model_folders: [mine]\nparts: {p: {model: m0}}")
    assert len(opened) == 14


# --- folders ---


def test_own_folder_has_the_nearest_name(shelf):
    (shelf / "brackets").mkdir()
    assert said(shelf, "model_folders: [braket]\nparts: {}") == [
        "s.yaml:1:17: model_folders: there is no folder `braket` beside the scene; write brackets"
    ]
    scene(shelf, "model_folders: [brackets]\nparts: {}")


@pytest.mark.parametrize("written", ["..", "../library", "/", "inside/../.."])
def test_own_folder_stays_in_the_scenes(shelf, written):
    (shelf / "inside").mkdir()
    assert said(shelf, f"model_folders: [{written}]\nparts: {{}}") == [
        f"s.yaml:1:17: model_folders: `{written}` is not inside the scene's folder"
    ]


def test_links_do_not_lead_out(shelf, tmp_path):
    (tmp_path / "secret").mkdir()
    (tmp_path / "secret" / "key.yaml").write_text(model("key"))
    (shelf / "linked").symlink_to(tmp_path / "secret")
    (shelf / "mine").mkdir()
    (shelf / "mine" / "key.yaml").symlink_to(tmp_path / "secret" / "key.yaml")
    assert said(shelf, "model_folders: [linked, mine]\nparts: {}") == [
        "s.yaml:1:17: model_folders: `linked` is not inside the scene's folder",
        "s.yaml:1:25: model_folders: mine/key.yaml leads out of the scene's folder",
    ]


def test_names_of_built_in_models_are_taken(shelf):
    (shelf / "mine").mkdir()
    own = shelf / "mine" / "fan.yaml"
    own.write_text(model("fan"))
    text = "model_folders: [mine]\nparts: {a: {model: %s}}"
    assert said(shelf, text % "fan") == [
        "s.yaml:1:17: model_folders: mine/fan.yaml has the name of a built-in model; "
        "rename the file and its model to my_fan"
    ]
    own.rename(own.with_name("my_fan.yaml")).write_text(model("my_fan"))
    assert list(scene(shelf, text % "my_fan").models) == ["my_fan"]


def test_two_own_models_of_one_name(shelf):
    for folder in ("a", "b"):
        (shelf / folder).mkdir()
        (shelf / folder / "hook.yaml").write_text(model("hook"))
    assert said(shelf, "model_folders: [a, b]\nparts: {}") == [
        f"s.yaml:1:20: model_folders: b/hook.yaml has the name of a{os.sep}hook.yaml; "
        "rename the file and its model to my_hook"
    ]


def test_missing_scene_and_empty_one(shelf):
    with pytest.raises(Mistakes, match=re.escape("there is no such file")):
        read_scene(shelf / "none.yaml", {}, RULES)
    assert said(shelf, "# nothing yet\n") == ["s.yaml:1:1: nothing is written in it"]


# --- values from the command line ---

SIZES = """\
parameters:
  fan_row: 4
  core: 54 ± 0.5 mm
  end: {value: rear, choices: [front, rear]}
  lid: {value: yes, type: flag, meaning: closed}
parts: {}
"""


def test_override_takes_the_place_of_the_value(shelf):
    found = scene(shelf, SIZES, fan_row="5", end="front", core=" at most 60 mm ", lid="false")
    values = {name: entry.value for name, entry in found.file.parameters.items()}
    assert values == {"fan_row": 5, "core": "at most 60 mm", "end": "front", "lid": False}
    assert found.file.parameters["end"].choices == ["front", "rear"]
    assert found.file.parameters["lid"].meaning == "closed"
    assert found.document.data["parameters"]["end"] == {"value": "front", "choices": ["front", "rear"]}
    assert found.overrides["fan_row"] == "5"


def test_marks_of_overridden_values_name_the_option(shelf):
    document = scene(shelf, SIZES, fan_row="5", end="front").document
    assert document.mark(("parameters", "fan_row")) == Mark("--set fan_row=5", 0, 0)
    assert document.mark(("parameters", "end", "value")) == Mark("--set end=front", 0, 0)
    assert document.mark(("parameters", "end", "choices")).line == 4
    assert document.mark(("parameters", "fan_row"), key=True).line == 2
    assert document.mark(("parameters", "core")).line == 3
    assert document.mark(("parameters",)).line == 2
    assert document.mark(()).line == 1


def test_unknown_override_with_the_nearest_name(shelf):
    assert said(shelf, SIZES, fan_rwo="5") == [
        "--set fan_rwo=5: fan_rwo: the scene has no such parameter; it has fan_row, core, end, lid; "
        "write fan_row"
    ]
    assert said(shelf, "parts: {}", n="1") == ["--set n=1: n: the scene has no such parameter; it has none"]


def test_override_is_checked_as_the_value_is(shelf):
    assert said(shelf, SIZES, end="rera", core="") == [
        "--set core=: core: nothing is written after the =; write 54 ± 0.5 mm, as the scene has it",
        "--set end=rera: end: `rera` is none of the choices front, rear; write rear",
    ]
    assert scene(shelf, SIZES, end="rear").file.parameters["end"].value == "rear"
