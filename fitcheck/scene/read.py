"""From a file to a `Scene`: typed, with the place of each value, and with the models it names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from fitcheck.scene.files import read_file
from fitcheck.scene.limits import ASSEMBLY_DEPTH
from fitcheck.scene.mistakes import Mistake, Mistakes, nearest
from fitcheck.scene.options import is_option, overridden, section, unknown_options
from fitcheck.scene.refusals import Path as Steps
from fitcheck.scene.schema import ModelFile, RuleTypes, SceneFile, check_model, check_scene
from fitcheck.scene.text import Document, read_document

STANDARD_INPUT = "<standard input>"


@dataclass(frozen=True)
class Model:
    """A model's file; `folder` is where its mesh files are looked for."""

    name: str
    file: ModelFile
    document: Document
    folder: Path


@dataclass(frozen=True)
class Scene:
    """A scene's file with all the models it names, directly or through another model.

    `file` and `document` hold the overriding values already; a mark of such a value names its option.
    `broken` names the parts and parameters whose mistakes are told already (in a second look).
    """

    file: SceneFile
    document: Document
    folder: Path
    overrides: dict[str, str] = field(default_factory=dict)
    models: dict[str, Model] = field(default_factory=dict)
    broken: frozenset[str] = frozenset()


def library() -> dict[str, Path]:
    """The built-in models' files by name: those inside the package, or in a checkout those beside it."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "library"
    return _models_in(inside if inside.is_dir() else package.parent / "models")


def _models_in(folder: Path) -> dict[str, Path]:
    return {path.stem: path for path in sorted(folder.glob("*.yaml"))}


def read_scene(
    source: Path | str, overrides: Mapping[str, str], rule_types: RuleTypes, name: str | None = None
) -> Scene:
    """Read a scene and every model it names.

    Args:
        source: the file; or the text itself, whose folder is then the working one.
        overrides: text of a value by the parameter it stands in for.
        rule_types: the type of each check's rule by the check's name.
        name: what mistakes call the file; the path if not given.

    Raises:
        Mistakes: all of the scene and of the models it names.
    """
    if isinstance(source, Path):
        text, folder, name = read_file(source), source.parent, name or str(source)
    else:
        text, folder, name = source, Path(), name or STANDARD_INPUT
    return scene_of(read_document(text, name), folder, overrides, rule_types)


def scene_of(written: Document, folder: Path, overrides: Mapping[str, str], rule_types: RuleTypes) -> Scene:
    """The scene of a text that was read, with every model it names; as `read_scene`."""
    found = unknown_options(written, overrides)
    document = overridden(written, overrides)
    # A scene with mistakes still has its models looked up: all mistakes are told at once.
    shelf = _Shelf(document, folder)
    models = shelf.models()
    found += shelf.mistakes
    scene = Scene(SceneFile.model_construct(rules={}), document, folder, dict(overrides), models)
    try:
        file = check_scene(document, rule_types)
    except Mistakes as wrong:
        found += wrong.items
        raise _refused(scene, found) from None
    if found:
        raise _refused(scene, found)
    return replace(scene, file=file)


def _refused(scene: Scene, found: list[Mistake]) -> Mistakes:
    found = [scene.document.mended(mistake) for mistake in found]
    return Mistakes(found, _sound(scene, found))


def read_model(path: Path, name: str | None = None) -> Model:
    """Read one model file; `name` is what mistakes call it, the path if not given.

    Raises:
        Mistakes: all of the file, or that it holds another model than its file name says.
    """
    try:
        about = path.stat()
    except OSError:
        return _model_of_file(path, name)
    return _model_as_of(path, name, about.st_mtime_ns, about.st_size)


@lru_cache(maxsize=256)
def _model_as_of(path: Path, name: str | None, changed: int, size: int) -> Model:
    """A model's file as it was then: many layouts of one scene read it once."""
    return _model_of_file(path, name)


def _model_of_file(path: Path, name: str | None) -> Model:
    document = read_document(read_file(path), name or str(path))
    file = check_model(document)
    if file.model != path.stem:
        said = f"the file is named {path.name}, so its model is {path.stem}; found `{file.model}`"
        raise Mistakes([Mistake(document.mark(("model",)), "model", said, f"write {path.stem}")])
    return Model(file.model, file, document, path.parent)


def _sound(scene: Scene, found: list[Mistake]) -> Scene | None:
    """The scene without rules and views, its entries with mistakes named; None if it has no entries."""
    data = scene.document.data if isinstance(scene.document.data, dict) else {}
    sections: dict[str, dict[str, Any]] = {}
    for name in ("parameters", "parts"):
        section = data.get(name, {})
        if not isinstance(section, dict):
            return None
        sections[name] = section
    starts = sorted(
        (scene.document.mark((section, name), key=True), str(name))
        for section, entries in sections.items()
        for name in entries
    )
    ends = [scene.document.mark((key,), key=True) for key in data]
    broken = {name for name, part in sections["parts"].items() if _model_of(part) not in scene.models}
    for mistake in found:
        if is_option(mistake.mark):
            broken.add(mistake.subject)
        if mistake.mark.file != scene.document.name:
            continue
        before = [(mark, name) for mark, name in starts if mark <= mistake.mark]
        if before and not any(before[-1][0] < end <= mistake.mark for end in ends):
            broken.add(before[-1][1])
    plain = {name: section for name, section in sections.items() if section}
    return replace(scene, document=replace(scene.document, data=plain), broken=frozenset(broken))


def _model_of(part: Any) -> Any:
    model = part.get("model") if isinstance(part, dict) else None
    return model if isinstance(model, str) else None


# --- models ---


class _Shelf:
    """The models that a scene can name, read when they are named."""

    def __init__(self, document: Document, folder: Path) -> None:
        self.document, self.folder = document, folder
        self.mistakes: list[Mistake] = []
        self.builtin = library()
        self.own: dict[str, Path] = {}
        folders = section(document, "model_folders", list)
        for at, written in enumerate(folders):
            if isinstance(written, str):
                self._add(written, ("model_folders", at))
        self._read: dict[str, Model] = {}
        self._heights: dict[str, int] = {}

    def models(self) -> dict[str, Model]:
        """Every model that the scene names, directly or through another."""
        for name, part in section(self.document, "parts", dict).items():
            model = part.get("model") if isinstance(part, dict) else None
            path: Steps = ("parts", name, "model")
            if isinstance(model, str) and self._height(model, self.document, path, ()) > ASSEMBLY_DEPTH:
                said = (
                    f"`{model}` uses models more than {ASSEMBLY_DEPTH} deep in each other; that is the limit"
                )
                self._note(self.document, path, said)
        return self._read

    def _note(self, document: Document, path: Steps, problem: str, mend: str = "") -> None:
        subject = next(str(step) for step in reversed(path) if isinstance(step, str))
        self.mistakes.append(Mistake(document.mark(path), subject, problem, mend))

    def _add(self, written: str, path: Steps) -> None:
        """Add the models of one of the scene's own folders."""
        folder = self.folder / written
        if not self._within(folder):
            self._note(self.document, path, f"`{written}` is not inside the scene's folder")
            return
        if not folder.is_dir():
            near = nearest(written, [one.name for one in self.folder.iterdir() if one.is_dir()])
            said = f"there is no folder `{written}` beside the scene"
            self._note(self.document, path, said, f"write {near}" if near else "")
            return
        for name, file in _models_in(folder).items():
            if name in self.builtin or name in self.own:
                other = self._shown(name, self.own[name]) if name in self.own else "a built-in model"
                said = f"{written}/{file.name} has the name of {other}"
                self._note(self.document, path, said, f"rename the file and its model to my_{name}")
            elif not self._within(file):
                self._note(self.document, path, f"{written}/{file.name} leads out of the scene's folder")
            else:
                self.own[name] = file

    def _within(self, path: Path) -> bool:
        """Whether a path, all links followed, lies in the scene's folder."""
        return path.resolve().is_relative_to(self.folder.resolve())

    def _shown(self, name: str, file: Path) -> str:
        """What mistakes call a model's file: the same wherever the package is installed."""
        return str(file) if name in self.own else f"models/{name}.yaml"

    def _model(self, name: str, document: Document, path: Steps) -> Model | None:
        """The model; None if it is unknown or has mistakes (noted)."""
        file = self.own.get(name) or self.builtin.get(name)
        if file is None:
            self._unknown(name, document, path)
            return None
        try:
            self._read[name] = read_model(file, self._shown(name, file))
        except Mistakes as wrong:
            self.mistakes += wrong.items
        return self._read.get(name)

    def _unknown(self, name: str, document: Document, path: Steps) -> None:
        known = [*self.own, *self.builtin]
        near = nearest(name, known)
        said = f"there is no model `{name}`"
        if not near:
            said += f"; there are {', '.join(sorted(known))}"
        self._note(document, path, said, f"write {near}" if near else "")

    def _height(self, name: str, document: Document, path: Steps, chain: tuple[str, ...]) -> int:
        """How many models deep this one is; reads all that it uses, and notes what uses itself."""
        if name in chain:
            around = " uses ".join([*chain[chain.index(name) :], name])
            self._note(document, path, f"a model cannot be part of itself: {around}")
            return 0
        if name not in self._heights:
            model = self._model(name, document, path)
            parts = model.file.use.items() if model and len(chain) <= ASSEMBLY_DEPTH else ()
            below = [
                self._height(part.model, model.document, ("use", key, "model"), (*chain, name))
                for key, part in parts
                if model
            ]
            self._heights[name] = 1 + max(below, default=0)
        return self._heights[name]
