"""What the entries of a model file come to: arithmetic in place, mistakes noted where they stand."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from fitcheck.parts.pieces import NOTHING, frozen
from fitcheck.scene import limits
from fitcheck.scene.choices import is_among, none_of, spelled
from fitcheck.scene.entries import WORDS, Entry
from fitcheck.scene.expression import Amount, as_angle, as_count, as_length, evaluate
from fitcheck.scene.mistakes import Mistake, ValueMistake, nearest
from fitcheck.scene.quantity import arithmetic

if TYPE_CHECKING:
    from fitcheck.scene.read import Model

Value: TypeAlias = Amount | str | bool
Path: TypeAlias = tuple[str | int, ...]
Raw: TypeAlias = int | float | str | bool

_INDEX = re.compile(r"\[([^\[\]]+)\]")


class PassedOver(Exception):
    """This value or entry cannot be had; why is noted already."""


@dataclass(frozen=True, eq=False)
class Reading:
    """A model's file being read with given values.

    Args:
        model: the model, with its document for positions.
        value: the value of a name; raises ValueMistake or PassedOver.
        names: all names that `value` knows.
        mistakes: where mistakes are noted; shared by all readings of one model.
        indices: of the `repeat` entry being read.
        bent: measurements that something read so far does not follow linearly; shared likewise.
        turned: what a solid read so far is turned by; shared likewise.
    """

    model: Model
    value: Callable[[str], Value]
    names: Callable[[], Sequence[str]]
    mistakes: list[Mistake]
    indices: Mapping[str, int]
    bent: set[str] = field(default_factory=set)
    turned: set[str] = field(default_factory=set)

    @contextmanager
    def at(self, path: Path, subject: str = "", key: bool = False) -> Iterator[None]:
        """Note a ValueMistake raised inside as standing at `path`, and pass the entry over."""
        try:
            yield
        except ValueMistake as wrong:
            self.note(path, wrong, subject, key)
            raise PassedOver from None

    def note(self, path: Path, wrong: ValueMistake, subject: str = "", key: bool = False) -> None:
        """Note a mistake at `path`; the subject is the last name of the path unless given."""
        mark = self.model.document.mark(path, key, wrong.offset)
        said = subject or next((step for step in reversed(path) if isinstance(step, str)), "")
        self.mistakes.append(Mistake(mark, said, wrong.problem, wrong.mend))

    def amount(self, raw: Raw, path: Path) -> Amount:
        """What a written number, quantity or arithmetic comes to."""
        with self.at(path):
            return self.worked_out(raw)

    def worked_out(self, raw: Raw) -> Amount:
        """The same without a place.

        Raises:
            ValueMistake: what is written is wrong, or holds an uncertainty.
        """
        if isinstance(raw, bool):
            raise ValueMistake(f"expected a number, found {'yes' if raw else 'no'}")
        if isinstance(raw, int | float):
            return Amount(float(raw), bare=True)
        return evaluate(arithmetic(raw), self._number)

    def _number(self, name: str) -> Amount:
        if name in self.indices:
            return Amount(float(self.indices[name]))
        value = self.value(name)
        if isinstance(value, Amount):
            return value
        said = ("yes" if value else "no") if isinstance(value, bool) else value
        raise ValueMistake(f"{name} is `{said}`, which cannot be calculated with")

    def calculated(self, raw: Raw) -> bool:
        """Whether what is written names another value."""
        return isinstance(raw, str) and any(name in self.names() for name in arithmetic(raw).names)

    def length(self, raw: Raw, path: Path) -> float:
        """A length, mm."""
        with self.at(path):
            return as_length(self._used(self.worked_out(raw)))

    def angle(self, raw: Raw, path: Path) -> float:
        """An angle, degrees."""
        with self.at(path):
            amount = self._used(self.worked_out(raw))
            if amount.sway is not None:
                self.turned.update(amount.sway.rests)
            return as_angle(amount)

    def count(self, raw: Raw, path: Path) -> int:
        """A whole number."""
        with self.at(path):
            return as_count(self._jumping(self.worked_out(raw)))

    def _used(self, amount: Amount) -> Amount:
        """The amount, noting what it does not follow linearly."""
        if amount.sway is not None:
            self.bent.update(amount.sway.bent)
        return amount

    def _jumping(self, amount: Amount) -> Amount:
        """The same where nothing made of the amount is linear in it: a count, a choice."""
        if amount.sway is not None:
            self.bent.update(amount.sway.rests)
        return amount

    def lengths(self, raws: Sequence[Raw], path: Path) -> np.ndarray:
        """Lengths of a list, mm: a point, a pair."""
        return frozen(np.array([self.length(raw, (*path, k)) for k, raw in enumerate(raws)]))

    def direction(self, raw: str | Sequence[Raw], path: Path) -> np.ndarray:
        """A unit vector: `+x` … `-z`, or three numbers of one kind."""
        if isinstance(raw, str):
            vector = np.zeros(3)
            vector["xyz".index(raw[1])] = -1.0 if raw[0] == "-" else 1.0
            return frozen(vector)
        amounts = [self._used(self.amount(one, (*path, k))) for k, one in enumerate(raw)]
        vector = np.array([amount.value for amount in amounts])
        with self.at(path):
            if len({(amount.length, amount.angle) for amount in amounts if amount.value}) > 1:
                raise ValueMistake("three numbers of one kind make a direction, not lengths and numbers")
            size = float(np.linalg.norm(vector))
            if size < NOTHING:
                raise ValueMistake("three zeros are no direction", "write +z")
        return frozen(vector / size)

    def text(self, raw: str) -> str:
        """A text; the name of a parameter that holds one stands for what it holds."""
        if raw in self.names():
            value = self.value(raw)
            if isinstance(value, str):
                return value
        return raw

    def reference(self, raw: str, path: Path) -> str:
        """A name with its indices worked out: `post[i + 1]` is `post[3]`."""
        if "[" not in raw:
            return raw
        return _INDEX.sub(lambda found: f"[{self.count(found[1], path)}]", raw)

    def instances(self, path: Path, entry: Entry) -> Iterator[tuple[str, Reading]]:
        """The entries that `repeat` and `when` make of one: full names, and readings with indices."""
        name = str(path[-1])
        for indices in self._repeated(path, entry):
            inner = replace(self, indices=indices) if indices else self
            if inner._wanted(path, entry):
                yield name + "".join(f"[{k}]" for k in indices.values()), inner

    def _repeated(self, path: Path, entry: Entry) -> Iterator[dict[str, int]]:
        counts = {}
        for index, raw in entry.repeat.items():
            place = (*path, "repeat", index)
            counts[index] = self.count(raw, place)
            with self.at(place, key=True):
                if counts[index] < 0:
                    raise ValueMistake(f"{counts[index]} of something cannot be made")
                if np.prod([float(count) for count in counts.values()]) > limits.REPEAT:
                    raise ValueMistake(f"makes more than {limits.REPEAT:,} entries; that is the limit")
        for chosen in itertools.product(*(range(1, count + 1) for count in counts.values())):
            yield dict(zip(counts, chosen, strict=True))

    def _wanted(self, path: Path, entry: Entry) -> bool:
        for name, options in entry.when.items():
            place = (*path, "when", name)
            with self.at(place, key=True):
                value: Value = Amount(float(self.indices[name])) if name in self.indices else self.value(name)
            self._refuse_options(name, options, place)
            if isinstance(value, Amount):
                self._jumping(value)
            with self.at(place):
                if not is_among(value, options, self.worked_out):
                    return False
        return True

    def _refuse_options(self, name: str, options: Sequence[Raw], place: Path) -> None:
        parameter = self.model.file.parameters.get(name)
        if parameter is None or not parameter.choices:
            return
        with self.at(place):
            for option in options:
                meant = spelled(option) if parameter.type in WORDS else self.worked_out(option)
                if not is_among(meant, parameter.choices, self.worked_out):
                    raise none_of(spelled(option), parameter.choices)


def said(amount: Amount) -> str:
    """An amount with its unit, for messages."""
    unit = " mm" if amount.length == 1 else "°" if amount.angle == 1 else ""
    return f"{amount.value:.10g}{unit}"


def unknown(name: str, known: Sequence[str]) -> ValueMistake:
    """The mistake of a name that a model does not have."""
    near = nearest(name, known)
    return ValueMistake(f"there is no `{name}` in this model", f"write {near}" if near else "")
