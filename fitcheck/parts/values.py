"""A model's parameters and derived values: defaults, kinds, ranges, choices, any order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, NoReturn

from fitcheck.parts.reading import PassedOver, Path, Raw, Reading, Value, said, unknown
from fitcheck.scene.amounts import EQUAL
from fitcheck.scene.choices import is_among, is_same, none_of, spelled
from fitcheck.scene.expression import Amount, as_angle, as_count, as_length, as_number
from fitcheck.scene.mistakes import Mistake, Mistakes, ValueMistake, nearest
from fitcheck.scene.models import Parameter, Pick
from fitcheck.scene.sway import bent_by

if TYPE_CHECKING:
    from fitcheck.scene.read import Model

# Values that lead to each other against the order of the file; keeps the recursion shallow.
CHAIN = 24
AMOUNTS = ("length", "angle", "count", "number")


class GivenMistake(ValueMistake):
    """A value given to a model is wrong; `name` is the parameter, whoever gave it knows the place.

    `also` holds the further ones of the same call.
    """

    def __init__(self, name: str, problem: str, mend: str = "", also: tuple[GivenMistake, ...] = ()) -> None:
        super().__init__(problem, mend)
        self.name, self.also = name, also


class FileName(str):
    """The name of a file and the folder it starts from and may not leave."""

    __slots__ = ("folder",)
    folder: FilePath

    def __new__(cls, name: str, folder: FilePath) -> FileName:
        """A name as written in a file of that folder."""
        made = super().__new__(cls, name)
        made.folder = folder
        return made

    def __repr__(self) -> str:
        """Names of two folders are two values, also where values are told apart by their text."""
        return f"FileName({str.__repr__(self)}, {str(self.folder)!r})"


def evaluate_model(
    model: Model, given: Mapping[str, Value], folder: FilePath | None = None
) -> dict[str, Value]:
    """All parameters and derived values of a model, in the order of its file.

    Args:
        model: parameters and `derive`.
        given: values by parameter; the others take their defaults.
        folder: of the file that gives them, where its `file` values start; the model's own if
            not given.

    Returns:
        Lengths and angles as amounts with their dimension, counts and numbers as amounts without,
        flags as bool, all else as text.

    Raises:
        GivenMistake: an unknown or missing parameter, a wrong kind, out of range, no choice.
        Mistakes: what is wrong in the model's own file.
    """
    return _Values(model, given, folder or model.folder).all()


def typed(kind: str, value: Value) -> Value:
    """A value as a parameter of that kind holds it.

    Raises:
        ValueMistake: it is of another kind.
    """
    if kind in AMOUNTS:
        if not isinstance(value, Amount):
            raise ValueMistake(f"expected {_EXPECTED[kind]}, found `{spelled(value)}`")
        if kind == "length":
            return Amount(as_length(value), length=1, sway=value.sway)
        if kind == "angle":
            return Amount(as_angle(value), angle=1, sway=value.sway)
        return Amount(float(as_count(value) if kind == "count" else as_number(value)), sway=value.sway)
    if kind == "flag":
        if isinstance(value, bool) or value in ("yes", "no"):
            return value in (True, "yes")
        shown = spelled(value)
        raise ValueMistake(f"expected yes or no, found `{shown}`")
    return value if isinstance(value, str) else spelled(value)


_EXPECTED = {
    "length": "a length, such as 30 mm or 1 1/4 in",
    "angle": "an angle in degrees, such as 90",
    "count": "a whole number, such as 3",
    "number": "a number, such as 0.5",
}


class _Values:
    """Values worked out on demand, each once, so that they may be written in any order."""

    def __init__(self, model: Model, given: Mapping[str, Value], folder: FilePath) -> None:
        self.model, self.given, self.folder = model, given, folder
        self.parameters, self.derive = model.file.parameters, model.file.derive
        self.names = (*self.parameters, *self.derive)
        self.done: dict[str, Value] = {}
        self.failed: set[str] = set()
        self.opened: list[str] = []
        self.mistakes: list[Mistake] = []
        self.given_mistakes: list[GivenMistake] = []
        self.reading = Reading(model, self.value, lambda: self.names, self.mistakes, {})

    def all(self) -> dict[str, Value]:
        """Every value, or every mistake."""
        for name in self.given:
            if name not in self.parameters:
                near = nearest(name, self.parameters)
                has = ", ".join(self.parameters) or "none"
                problem = f"{self.model.name} has no parameter `{name}`; it has {has}"
                mend = f"write {near}" if near else ""
                self.given_mistakes.append(GivenMistake(name, problem, mend))
        for name in self.names:
            self._try(name)
        if self.given_mistakes:
            first, *others = self.given_mistakes
            raise GivenMistake(first.name, first.problem, first.mend, tuple(others))
        if self.mistakes:
            raise Mistakes(self.mistakes)
        return {name: self.done[name] for name in self.names}

    def _try(self, name: str) -> None:
        try:
            self.value(name)
        except PassedOver:
            pass
        except ValueMistake as wrong:
            # Only a circle that begins here; anything else is noted where it is written.
            self.reading.note(self._path(name), wrong)
            self.failed.add(name)

    def value(self, name: str) -> Value:
        """The value of one name, worked out now if it is not yet.

        Raises:
            ValueMistake: an unknown name, or one that depends on itself.
            PassedOver: it has a mistake that is noted.
        """
        if name in self.done:
            return self.done[name]
        if name in self.failed:
            raise PassedOver
        if name not in self.parameters and name not in self.derive:
            raise unknown(name, self.names)
        if name in self.opened:
            circle = " → ".join([*self.opened[self.opened.index(name) :], name])
            raise ValueMistake(f"{name} depends on itself: {circle}")
        if len(self.opened) >= CHAIN:
            raise ValueMistake(f"more than {CHAIN} values lead to each other; that is the limit")
        self.opened.append(name)
        try:
            self.done[name] = self._parameter(name) if name in self.parameters else self._derived(name)
        except PassedOver:
            self.done.pop(name, None)
            self.failed.add(name)
            raise
        finally:
            self.opened.pop()
        return self.done[name]

    def _path(self, name: str) -> Path:
        return ("parameters", name, "default") if name in self.parameters else ("derive", name)

    def _parameter(self, name: str) -> Value:
        parameter = self.parameters[name]
        if name in self.given:
            try:
                value = typed(parameter.type, self.given[name])
            except ValueMistake as wrong:
                self._refuse(name, f"{wrong.problem} ({self._stated(name)})", wrong.mend)
            if parameter.type == "file" and not isinstance(value, FileName):
                value = FileName(str(value), self.folder)
        elif parameter.default is None:
            meaning = f" ({parameter.meaning})" if parameter.meaning else ""
            self._refuse(
                name, f"{self.model.name} needs {name}{meaning} and has no default for it", "give it"
            )
        else:
            value = self._default(name, parameter, parameter.default)
        # Known before it is checked: a range may name what is derived from this very value.
        self.done[name] = value
        self._check_choices(name, parameter, value)
        if parameter.range is not None and isinstance(value, Amount):
            self._check_range(name, parameter, value)
        return value

    def _default(self, name: str, parameter: Parameter, raw: Raw) -> Value:
        path = self._path(name)
        with self.reading.at(path, name):
            if parameter.type in AMOUNTS:
                return typed(parameter.type, self.reading.worked_out(raw))
            value = typed(parameter.type, raw if isinstance(raw, str | bool) else spelled(raw))
        return FileName(str(value), self.model.folder) if parameter.type == "file" else value

    def _check_choices(self, name: str, parameter: Parameter, value: Value) -> None:
        if not parameter.choices:
            return
        with self.reading.at(("parameters", name, "choices"), name):
            if is_among(value, parameter.choices, self.reading.worked_out):
                return
        wrong = none_of(said(value) if isinstance(value, Amount) else spelled(value), parameter.choices)
        self._refuse(name, f"{wrong.problem} ({self._stated(name)})", wrong.mend)

    def _check_range(self, name: str, parameter: Parameter, value: Amount) -> None:
        assert parameter.range is not None
        ends: list[Amount | None] = []
        for k, raw in enumerate(parameter.range):
            path = ("parameters", name, "range", k)
            if raw is None:
                ends.append(None)
                continue
            with self.reading.at(path, name):
                value_there = typed(parameter.type, self.reading.worked_out(raw))
                assert isinstance(value_there, Amount)
                ends.append(value_there)
        low, high = ends
        below = low is not None and value.value < low.value - EQUAL
        above = high is not None and value.value > high.value + EQUAL
        if not below and not above:
            return
        if low is not None and high is not None:
            problem = f"{said(value)} is outside {said(low)} to {said(high)}"
        elif low is not None:
            problem = f"{said(value)} is below {said(low)}"
        else:
            assert high is not None
            problem = f"{said(value)} is above {said(high)}"
        end = low if below else high
        assert end is not None
        self._refuse(name, f"{problem} ({self._stated(name)})", f"write {said(end)}")

    def _refuse(self, name: str, problem: str, mend: str) -> NoReturn:
        """Blame whoever gave the value; a plain default of the model is the model's own mistake."""
        parameter = self.parameters[name]
        raw = parameter.default
        if name not in self.given and raw is not None:
            if not self.reading.calculated(raw):
                self.reading.note(self._path(name), ValueMistake(problem, mend), name)
                raise PassedOver
            # Arithmetic over names that may have been given: giving this one as well helps.
            problem, mend = f"its default {raw}: {problem}", f"give {name}: {mend.removeprefix('write ')}"
        self.given_mistakes.append(GivenMistake(name, problem, mend))
        raise PassedOver

    def _stated(self, name: str) -> str:
        mark = self.model.document.mark(("parameters", name), key=True)
        return f"{self.model.name}, {mark.file}:{mark.line}"

    def _derived(self, name: str) -> Value:
        raw = self.derive[name]
        path: Path = ("derive", name)
        if not isinstance(raw, Pick):
            return self.reading.amount(raw, path)
        with self.reading.at((*path, "pick"), name):
            sought = self.value(raw.pick)
        picked = self._picked(name, raw, sought, path)
        # Another row may be picked at another value of what is sought.
        named = sought.sway if isinstance(sought, Amount) else None
        return replace(picked, sway=bent_by(picked.sway, named))

    def _picked(self, name: str, raw: Pick, sought: Value, path: Path) -> Amount:
        for key, result in raw.from_.items():
            place: Path = (*path, "from", spelled(key))
            with self.reading.at(place, name, key=True):
                found = is_same(sought, key, self.reading.worked_out)
            if found:
                return self.reading.amount(result, place)
        if raw.otherwise is not None:
            return self.reading.amount(raw.otherwise, (*path, "otherwise"))
        has = ", ".join(map(spelled, raw.from_))
        shown = said(sought) if isinstance(sought, Amount) else spelled(sought)
        problem = f"{raw.pick} is {shown}, which is none of {has}"
        self.reading.note(path, ValueMistake(problem, "add it to from, or give otherwise"))
        raise PassedOver
