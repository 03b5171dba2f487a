"""From a layouts file, or a CSV with one layout a row, to the layouts of a scene."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from fitcheck import load
from fitcheck.checks import CHECKS
from fitcheck.layouts.choices import Choices, Wheel
from fitcheck.layouts.meant import Values
from fitcheck.layouts.rows import document_of_csv
from fitcheck.layouts.sound import Broken, sound_part
from fitcheck.layouts.stepped import WrongSteps, stepped
from fitcheck.scene import limits
from fitcheck.scene.amounts import Amount
from fitcheck.scene.choices import spelled
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.files import read_file
from fitcheck.scene.kinds import Scalar
from fitcheck.scene.layout_entries import Figure, LayoutsFile, Option, Steps
from fitcheck.scene.mistakes import Mistake, Mistakes, ValueMistake, nearest
from fitcheck.scene.quantity import arithmetic, parse
from fitcheck.scene.refusals import Path as Keys
from fitcheck.scene.schema import check_layouts
from fitcheck.scene.text import Document, read_document

# Where nothing else is asked for, the figure that is taken.
LEAST_DISTANCE = "least_distance"


@dataclass(frozen=True)
class Bounds:
    """What a figure has to reach, in mm or plain numbers; None: no such end."""

    figure: str
    at_least: float | None
    at_most: float | None


@dataclass(frozen=True)
class Layouts:
    """The alternative layouts of one scene, ready to be asked.

    Args:
        file: as typed.
        document: as read.
        scene: the scene's document as read.
        scene_path: its file.
        choices: which layouts there are.
        figures: taken of each layout.
        costs: by figure, name and value what it costs.
        demands: besides the scene's rules.
        rank: (most or least, figure), the most important first.
    """

    file: LayoutsFile
    document: Document
    scene: Document
    scene_path: Path
    choices: Choices
    figures: Mapping[str, Figure]
    costs: Mapping[str, Mapping[str, Mapping[Scalar, float]]]
    demands: tuple[Bounds, ...]
    rank: tuple[tuple[str, str], ...]

    def chosen(self, values: Mapping[str, Scalar]) -> list[tuple[Keys, Option]]:
        """The options that these values choose, each with its path."""
        return [
            (("alternatives", name, str(values[name])), options[str(values[name])])
            for name, options in self.file.alternatives.items()
        ]

    def parameters(self, values: Mapping[str, Scalar]) -> dict[str, str]:
        """The values of scene parameters, as they would be typed."""
        return {name: spelled(value) for name, value in values.items() if name not in self.file.alternatives}


def read_layouts(path: Path, scene: Path | None = None) -> Layouts:
    """Read a layouts file, or a CSV file whose scene is given beside it.

    Raises:
        Mistakes: all of the layouts file, and of the scene besides; a scene alone that is wrong is told
            when it is asked.
    """
    if path.suffix.lower() == ".csv":
        document = document_of_csv(read_file(path), str(path), scene)
    else:
        document = read_document(read_file(path), str(path))
    try:
        file = check_layouts(document)
    except Mistakes as wrong:
        found = [*wrong.items, *_second_look(document, path, scene)]
        raise Mistakes(dict.fromkeys([*found, *_of_the_scene(document, path, scene)])) from None
    try:
        return _Reader(file, document, path, scene).layouts()
    except Mistakes as wrong:
        raise Mistakes(dict.fromkeys([*wrong.items, *_of_the_scene(document, path, scene)])) from None


def _of_the_scene(document: Document, path: Path, scene: Path | None) -> tuple[Mistake, ...]:
    """Mistakes of the scene as drawn: whoever mends the layouts file has both to mend."""
    said = document.data.get("scene") if isinstance(document.data, dict) else None
    written = scene or (path.parent / said if isinstance(said, str) else None)
    if written is None or not written.is_file():
        return ()
    try:
        load(written)
    except Mistakes as wrong:
        return wrong.items
    return ()


def _second_look(document: Document, path: Path, scene: Path | None) -> tuple[Mistake, ...]:
    """Mistakes of value among the sound entries of a file that has mistakes of shape."""
    sound = sound_part(document)
    if sound is None:
        return ()
    file, left, broken = sound
    try:
        _Reader(file, left, path, scene, broken).layouts()
    except Mistakes as wrong:
        return wrong.items
    return ()


class _Reader:
    """Works out what a layouts file says, and collects what is wrong with it."""

    def __init__(
        self,
        file: LayoutsFile,
        document: Document,
        path: Path,
        scene: Path | None,
        broken: Broken | None = None,
    ) -> None:
        self.file, self.document = file, document
        self.scene_path = scene or path.parent / file.scene
        # What a mistake is told about already: what follows from it is not told.
        self.broken = broken or Broken()
        self.mistakes: list[Mistake] = []
        self.varying: dict[str, Keys] = {}

    def layouts(self) -> Layouts:
        """All together.

        Raises:
            Mistakes: all that were found.
        """
        scene = self._scene()
        wheels = tuple(self._wheels(scene))
        choices = Choices(wheels, tuple(self._excluded(wheels)))
        self._not_too_many(choices)
        figures = self.file.figures or {LEAST_DISTANCE: Figure.model_validate({"least_distance": True})}
        self._check_figures(figures)
        costs = {name: self._costs(name, figure, wheels) for name, figure in figures.items() if figure.cost}
        demands, rank = tuple(self._demands(figures)), tuple(self._rank(figures))
        if self.mistakes or scene is None:
            raise Mistakes(self.mistakes)
        return Layouts(
            self.file, self.document, scene, self.scene_path, choices, figures, costs, demands, rank
        )

    def _note(self, path: Keys, wrong: ValueMistake, key: bool = False) -> None:
        subject = next((str(step) for step in reversed(path) if isinstance(step, str)), "")
        self.mistakes.append(Mistake(self.document.mark(path, key), subject, wrong.problem, wrong.mend))

    def _scene(self) -> Document | None:
        """The scene as read; None where it cannot be, and why is noted."""
        if self.broken.scene:
            return None
        inside = self.document.name.endswith(".csv") or self.scene_path.resolve().is_relative_to(
            Path(self.document.name).parent.resolve()
        )
        if not inside:
            self._note(("scene",), ValueMistake("leads out of the folder of the layouts file"))
            return None
        try:
            return read_document(read_file(self.scene_path), str(self.scene_path))
        except Mistakes as wrong:
            if self.scene_path.is_file():
                self.mistakes += wrong.items
            else:
                self.mistakes += [
                    Mistake(self.document.mark(("scene",)), "scene", f"{m.mark.file}: {m.problem}", m.mend)
                    for m in wrong.items
                ]
            return None

    def _wheels(self, scene: Document | None) -> Iterator[Wheel]:
        written = scene.data if scene is not None else None
        known = written.get("parameters") if isinstance(written, dict) else None
        parameters = list(known) if isinstance(known, dict) else [] if scene is not None else None
        for name, varied in self.file.vary.items():
            path: Keys = ("vary", name)
            if self._is_known(name, path, parameters, "parameter of the scene"):
                rows = self._steps(varied, path) if isinstance(varied, Steps) else self._listed(varied, path)
                yield Wheel((name,), tuple((value,) for value in rows))
        for name, options in self.file.alternatives.items():
            if not options:
                self._note(("alternatives", name), ValueMistake("has no options"), key=True)
            self.varying[name] = ("alternatives", name)
            if not any(name in table.columns for table in self.file.tables):
                yield Wheel((name,), tuple((option,) for option in options))
        for at, table in enumerate(self.file.tables):
            for column, name in enumerate(table.columns):
                path = ("tables", at, "columns", column)
                if name in self.file.alternatives:
                    self._options(name, [row[column] for row in table.rows], at)
                elif self._is_known(name, path, parameters, "parameter of the scene, or alternative"):
                    for number, row in enumerate(table.rows):
                        self._readable(row[column], ("tables", at, "rows", number, column))
            yield Wheel(tuple(table.columns), tuple(tuple(row) for row in table.rows))

    def _not_too_many(self, choices: Choices) -> None:
        if choices.count > limits.LAYOUTS:
            longest = max(choices.wheels, key=lambda wheel: len(wheel.rows))
            said = f"makes {choices.count:,} layouts with all that varies; the limit is {limits.LAYOUTS:,}"
            self._note(self.varying[longest.names[0]], ValueMistake(said, "vary less at once"), key=True)

    def _is_known(self, name: str, path: Keys, known: list[str] | None, what: str) -> bool:
        """Whether a name may vary; noted if not. Without a scene that can be read, any may."""
        if name in self.varying:
            said = f"varies already, in line {self.document.mark(self.varying[name], key=True).line}"
            self._note(path, ValueMistake(said), key=True)
            return False
        self.varying[name] = path
        if known is None or name in known:
            return True
        near = nearest(name, known)
        self.broken.varying |= {name, near or name}
        said = f"`{name}` is no {what}; there are {', '.join(known) or 'none'}"
        self._note(path, ValueMistake(said, f"write {near}" if near else ""), key=isinstance(path[-1], str))
        return False

    def _options(self, name: str, said: list[Scalar], table: int) -> None:
        options = self.file.alternatives[name]
        for number, option in enumerate(said):
            if str(option) not in options:
                near = nearest(str(option), options)
                problem = f"`{option}` is no option of {name}; it has {', '.join(options)}"
                column = self.file.tables[table].columns.index(name)
                self._note(
                    ("tables", table, "rows", number, column),
                    ValueMistake(problem, f"write {near}" if near else ""),
                )

    def _listed(self, values: list[Scalar], path: Keys) -> list[Scalar]:
        several = isinstance(self.document.data["vary"][path[1]], list)
        for number, value in enumerate(values):
            self._readable(value, (*path, number) if several else path)
        return values

    def _readable(self, value: Scalar, path: Keys) -> None:
        """Note a figure that does not read; words are for the parameter to judge."""
        if isinstance(value, str) and any(sign.isdigit() for sign in value[:1]):
            try:
                parse(value)
            except ValueMistake as wrong:
                self._note(path, wrong)

    def _steps(self, steps: Steps, path: Keys) -> list[Scalar]:
        try:
            return stepped(steps)
        except WrongSteps as wrong:
            for key, one in wrong.of:
                self._note((*path, key) if key else path, one, key=not key)
            return []

    def _amount(self, value: Scalar, path: Keys) -> Amount | None:
        try:
            return evaluate(arithmetic(value), from_table({}))
        except ValueMistake as wrong:
            self._note(path, wrong)
            return None

    def _excluded(self, wheels: tuple[Wheel, ...]) -> Iterator[Mapping[str, frozenset[Scalar]]]:
        rows = {
            name: Values(row[at] for row in wheel.rows)
            for wheel in wheels
            for at, name in enumerate(wheel.names)
        }
        for at, one in enumerate(self.file.exclude):
            found: dict[str, frozenset[Scalar]] = {}
            for name, written in one.items():
                path: Keys = ("exclude", at, name)
                if (name in rows and not rows[name].all) or (name not in rows and self.broken.varies(name)):
                    continue
                if name not in rows:
                    near = nearest(name, rows)
                    said = f"`{name}` does not vary; {', '.join(rows) or 'nothing'} does"
                    self._note(path, ValueMistake(said, f"write {near}" if near else ""), key=True)
                    continue
                several = isinstance(self.document.data["exclude"][at][name], list)
                found[name] = frozenset(
                    value
                    for number, one_value in enumerate(written)
                    for value in self._meant(one_value, rows[name], (*path, number) if several else path)
                )
            if len(found) == len(one):
                yield found

    def _meant(self, written: Scalar, rows: Values, path: Keys) -> list[Scalar]:
        """The values among rows that are the one written."""
        found = rows.meant(written)
        if not found:
            listed = ", ".join(dict.fromkeys(spelled(value) for value in rows.all[:20]))
            self._note(path, ValueMistake(f"`{spelled(written)}` is none of its values {listed}"))
        return found

    def _check_figures(self, figures: Mapping[str, Figure]) -> None:
        known = [check.name for check in CHECKS]
        for name, figure in figures.items():
            if figure.check is not None and figure.check not in known:
                near = nearest(figure.check, known)
                said = f"there is no check `{figure.check}`; there are {', '.join(known)}"
                self._note(("figures", name, "check"), ValueMistake(said, f"write {near}" if near else ""))
            if figure.length_of is not None and not self.file.runs:
                said = "tubes and cables are not laid"
                self._note(("figures", name, "length_of"), ValueMistake(said, "write runs: yes"), key=True)

    def _costs(self, name: str, figure: Figure, wheels: tuple[Wheel, ...]) -> dict[str, dict[Scalar, float]]:
        assert figure.cost is not None
        found: dict[str, dict[Scalar, float]] = {}
        for of, prices in figure.cost.items():
            path: Keys = ("figures", name, "cost", of)
            values = [row[w.names.index(of)] for w in wheels if of in w.names for row in w.rows]
            if not values:
                if not self.broken.varies(of) and all(of not in wheel.names for wheel in wheels):
                    self._note(path, ValueMistake(f"`{of}` does not vary"), key=True)
                continue
            found[of] = {}
            priced = Values(prices)
            for value in values:
                keys = priced.meant(value)
                if not keys:
                    self._note(path, ValueMistake(f"has no price for {spelled(value)}"), key=True)
                    continue
                amount = self._amount(prices[keys[0]], path)
                if amount is not None:
                    found[of][value] = amount.value
        return found

    def _demands(self, figures: Mapping[str, Figure]) -> Iterator[Bounds]:
        for at, demand in enumerate(self.file.demand):
            path: Keys = ("demand", at)
            self._is_figure(demand.figure, (*path, "figure"), figures)
            ends = [
                None if value is None else self._amount(value, (*path, key))
                for key, value in (("at_least", demand.at_least), ("at_most", demand.at_most))
            ]
            least, most = (None if end is None else end.value for end in ends)
            yield Bounds(demand.figure, least, most)

    def _rank(self, figures: Mapping[str, Figure]) -> Iterator[tuple[str, str]]:
        for at, said in enumerate(self.file.rank):
            sense, _, figure = said.partition(" ")
            self._is_figure(figure, ("rank", at), figures)
            yield sense, figure
        if not self.file.rank:
            # Room counts as the more the better, a price or a length as the less.
            for name, taken in figures.items():
                yield ("most" if taken.check or taken.least_distance else "least"), name

    def _is_figure(self, name: str, path: Keys, figures: Mapping[str, Figure]) -> None:
        if name not in figures and not self.broken.is_figure(name):
            near = nearest(name, figures)
            said = f"there is no figure `{name}`; there are {', '.join(figures)}"
            self._note(path, ValueMistake(said, f"write {near}" if near else ""))
