"""Parts that stand in one frame: the scene's, or the sub-parts of one assembly.

Values are read one by one, when something asks for them: a feature of one part may set a
parameter of another, so neither the order of the file nor that of the parts matters.
A value that cannot be read is noted once, and what rests on it is passed over in silence.

Over 400 lines in one class, since names, values, parts and places ask each other in both directions:
parted, each half would need the other.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np

from fitcheck.parts.build import FileName, GivenMistake, build_shape, evaluate_model
from fitcheck.parts.features import Compartment, Face, Feature, Port, Shape
from fitcheck.scene.amounts import is_equal
from fitcheck.scene.choices import is_among, kind_of, none_of, spelled
from fitcheck.scene.expression import (
    Amount,
    Constant,
    Operation,
    as_angle,
    as_count,
    as_length,
    as_number,
    evaluate,
)
from fitcheck.scene.general import General, plus_minus, plus_minus_angle
from fitcheck.scene.mistakes import Mistakes, ValueMistake, nearest
from fitcheck.scene.quantity import Expression, Uncertain, arithmetic, parse
from fitcheck.scene.read import Model
from fitcheck.scene.sway import Sway
from fitcheck.scene.text import Document
from fitcheck.world.desk import Desk, Keys, PassedOver
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.node import (
    ENDS,
    SIZES,
    Child,
    Found,
    Node,
    Value,
    anchor,
    around,
    base,
    features,
    find,
    mirrored_node,
    segments,
    unknown,
    whole_part,
)
from fitcheck.world.once import Once
from fitcheck.world.placing import place_part
from fitcheck.world.shared import KeptNode
from fitcheck.world.world import Contact, Measurement


class Space(Once):
    """Named parts in one frame, read and placed when asked for.

    `values` and `written` give plain names (parameters), worked out or still as written.
    `own` is the shape of the assembly itself, whose features its sub-parts may rest on.
    `broken` names entries whose mistakes are told already.
    """

    def __init__(
        self,
        desk: Desk,
        document: Document,
        path: Keys,
        entries: Mapping[str, Any],
        values: Mapping[str, Value],
        written: Mapping[str, Any] | None = None,
        own: Shape | None = None,
        model: str = "",
        broken: frozenset[str] = frozenset(),
    ) -> None:
        super().__init__(desk, document, path, entries, written or {}, shares=not model)
        self.values, self.own, self.model, self.broken = values, own, model, broken

    # --- names -----------------------------------------------------------------

    def instances(self) -> list[tuple[str, str, dict[str, Value]]]:
        """Every part as (full name, its entry, values of its indices), in file order."""
        found: list[tuple[str, str, dict[str, Value]]] = []
        for name in self.entries:
            try:
                found += self._instances_of(name)
            except PassedOver:
                continue
        return found

    def _instances_of(self, name: str) -> list[tuple[str, str, dict[str, Value]]]:
        return self.worked("number of", name, partial(self._expand, name))

    def _expand(self, name: str) -> list[tuple[str, str, dict[str, Value]]]:
        if name in self.broken:
            raise PassedOver(name)
        entry = self.entry(name)
        repeat = entry.get("repeat") or {}
        counts = [
            self.number(raw, "count", (*self.path, name, "repeat", key), {}, f"{name}.repeat")
            for key, raw in repeat.items()
        ]
        total = int(np.prod(counts))
        if total > 1000:
            mark = self.document.mark((*self.path, name, "repeat"))
            raise self.desk.note(mark, "repeat", ValueMistake(f"makes {total} parts; the limit is 1,000"))
        found: list[tuple[str, str, dict[str, Value]]] = []
        for picked in itertools.product(*[range(1, int(n) + 1) for n in counts]):
            indices: dict[str, Value] = {key: Amount(float(i)) for key, i in zip(repeat, picked, strict=True)}
            if self._wanted(entry.get("when") or {}, indices, (*self.path, name, "when")):
                found.append((name + "".join(f"[{i}]" for i in picked), name, indices))
        return found

    def _wanted(self, when: Mapping[str, Any], indices: Mapping[str, Value], path: Keys) -> bool:
        """Whether every parameter or index named in `when` has one of the values listed."""
        for key, allowed in when.items():
            options = allowed if isinstance(allowed, list) else [allowed]
            have = indices[key] if key in indices else self.parameter(key)
            if have is None:
                near = nearest(key, [*indices, *self.written, *self.values])
                wrong = ValueMistake(f"there is no parameter `{key}` here", f"write {near}" if near else "")
                raise self.desk.note(self.document.mark((*path, key), key=True), key, wrong)
            if isinstance(have, Amount) and have.sway is not None:
                self.desk.bends(have.sway.rests)
            for option in options:
                with self.noting((*path, key)):
                    meant = self._worked_out(option) if isinstance(have, Amount) else spelled(option)
                self._refuse_other(key, option, meant, (*path, key))
            with self.noting((*path, key)):
                if not is_among(have, options, self._worked_out):
                    return False
        return True

    def _refuse_other(self, name: str, written: Any, meant: Value, path: Keys) -> None:
        """Refuse a value that is none of the choices of its parameter, a scene's or a model's."""
        entry = (self.document.data.get("parameters") or {}).get(name)
        if entry is not None:
            self._reads(("parameter", name))
        choices = entry.get("choices") if isinstance(entry, dict) else None
        if choices is None:
            return
        with self.noting(("parameters", name, "choices")):
            allowed = is_among(meant, choices, self._worked_out)
        if not allowed:
            raise self.desk.note(self.document.mark(path), name, none_of(spelled(written), choices))

    def _worked_out(self, written: Any) -> Amount:
        return evaluate(arithmetic(written), lambda name: self.lookup(name, {}))

    def instance(self, name: str) -> tuple[str, dict[str, Value]]:
        """Entry and indices of one part.

        Raises:
            ValueMistake: there is no such part; says the nearest.
        """
        if base(name) in self.entries:
            for full, entry, indices in self._instances_of(base(name)):
                if full == name:
                    return entry, indices
        known = list(self._part_names())
        known += [*self.written, *self.values, *(features(self.own) if self.own else ())]
        near = nearest(name, known)
        problem = f"there is no `{name}` here"
        if base(name) in self.entries:
            count = sum(base(n) == base(name) for n in known)
            problem += f" ({base(name)}[1] to {base(name)}[{count}] are)"
        raise ValueMistake(problem, f"write {near}" if near else "")

    def _part_names(self) -> Iterator[str]:
        """Names to suggest, also while some of them are still being worked out."""
        for name in self.entries:
            try:
                yield from (full for full, _, _ in self._instances_of(name))
            except (PassedOver, ValueMistake):
                yield name

    # --- parts -----------------------------------------------------------------

    def node(self, name: str) -> Node:
        """The part with its values, not yet placed."""
        self.instance(name)
        return self.worked(f"{self.model} size of".strip(), name, lambda: self._node(name))

    def frame(self, name: str) -> Frame:
        """Where the part stands: space_from_part."""
        self.instance(name)
        return self.worked(f"{self.model} place of".strip(), name, lambda: self._placed(name))

    def _placed(self, name: str) -> Frame:
        """The frame, the very one of other layouts in which it has the same figures."""
        frame = place_part(self, name)
        figures = frame.rotation.tobytes(), frame.origin.tobytes()
        return self.desk.shared.frames.of(figures, lambda: frame)

    def _node(self, name: str) -> Node:
        key, indices = self.instance(name)
        entry = self.entry(key)
        path = (*self.path, key)
        model = self.desk.models[entry["model"]]
        declared = model.document.data.get("parameters") or {}
        given: dict[str, Value] = {}
        with self.gathering() as tries:
            for parameter, raw in (entry.get("with") or {}).items():
                place = (*path, "with", parameter)
                if parameter not in declared:
                    near = nearest(parameter, declared)
                    wrong = ValueMistake(
                        f"{model.name} has no parameter `{parameter}`; "
                        f"it has {', '.join(declared) or 'none'}",
                        f"write {near}" if near else "",
                    )
                    tries.failed(self.desk.note(self.document.mark(place, key=True), parameter, wrong))
                    continue
                for value in tries(
                    partial(self.typed, raw, declared[parameter], place, indices, f"{name}.{parameter}")
                ):
                    given[parameter] = value
        try:
            values = evaluate_model(model, given)
        except GivenMistake as wrong:
            place = (*path, "with", wrong.name)
            is_given = wrong.name in (entry.get("with") or {})
            mark = self.document.mark(place if is_given else path, key=not is_given)
            raise self.desk.note(mark, wrong.name, wrong) from None
        except Mistakes as wrong:
            self.desk.mistakes.update(wrong.items)
            raise PassedOver(name) from None
        node = assemble(self.desk, model, values)
        mirror = (entry.get("place") or {}).get("mirror")
        return mirrored_node(node, "xyz".index(mirror)) if mirror else node

    # --- values ----------------------------------------------------------------

    def typed(
        self, raw: Any, declared: Mapping[str, Any], path: Keys, indices: Mapping[str, Value], name: str
    ) -> Value:
        """A value read as a parameter of that type; `any` is a number of whatever kind."""
        kind = declared.get("type", "length")
        if kind in ("length", "angle", "count", "number", "any"):
            return self.amount(raw, kind, path, indices, name)
        if kind == "flag":
            return self.flag(raw, path, name)
        text = spelled(raw)
        if kind == "choice" and text not in map(spelled, declared.get("choices", ())):
            named = self.parameter(text) if text in self.written or text in self.values else None
            if isinstance(named, str):
                return named
        return self.file(text) if kind == "file" else text

    def file(self, text: str) -> FileName:
        """A file's name, from the folder of the file that names it; or a parameter that holds one."""
        named = self.parameter(text) if text in self.written or text in self.values else text
        if isinstance(named, FileName):
            return named
        folder = self.desk.models[self.model].folder if self.model else self.desk.folder
        return FileName(named if isinstance(named, str) else text, folder)

    def flag(self, raw: Any, path: Keys, name: str) -> bool:
        """yes, no, or the name of a parameter that is one of them."""
        if isinstance(raw, bool):
            return raw
        if raw in ("yes", "no"):
            return bool(raw == "yes")
        if isinstance(raw, str) and (raw in self.written or raw in self.values):
            named = self.parameter(raw)
            if isinstance(named, bool):
                return named
        wrong = ValueMistake(f"`{raw}` is neither yes nor no")
        raise self.desk.note(self.document.mark(path), name.rpartition(".")[2], wrong)

    def number(self, raw: Any, kind: str, path: Keys, indices: Mapping[str, Value], name: str) -> float:
        """A plain number, mm or degrees, of a value that must be of one kind."""
        got = self.amount(raw, kind, path, indices, name)
        if got.sway is not None:
            self.desk.bends(got.sway.bent if kind in ("length", "angle") else got.sway.rests)
            if kind == "angle":
                self.desk.turns(got.sway.rests)
        return got.value

    def turn(
        self, raw: Any, path: Keys, indices: Mapping[str, Value], name: str, leg: Callable[[], float]
    ) -> float:
        """Degrees that a part is turned by; `leg` tells the shorter leg of that angle, mm, if it is asked."""
        got = self._general_turn(raw, path, name, leg)
        if got is None:
            return self.number(raw, "angle", path, indices, name)
        assert got.sway is not None
        self.desk.turns(got.sway.rests)
        return got.value

    def _general_turn(self, raw: Any, path: Keys, name: str, leg: Callable[[], float]) -> Amount | None:
        """A plain angle with the general tolerance that holds for it; None if none does."""
        general = self.desk.general
        if general is None or self.model or not general.holds(str(path[0]), str(path[1])):
            return None
        with self.noting(path):
            plain = self._plain_angle(raw)
            off = None if plain is None else plus_minus_angle(general.grade, plain, leg())
        if plain is None or off is None:
            return None
        name, line = _written_as(name), self.document.mark(path).line
        # The parts of a repeat may have legs of their own: one angle as written is one measurement.
        known = self.desk.uncertain.get(name)
        off = off if known is None else max(off, known.high - known.nominal)
        return self._measured(
            Measurement(name, plain - off, plain, plain + off, line, general=True, angle=True)
        )

    def _plain_angle(self, raw: Any) -> float | None:
        """Degrees of a figure, or of a parameter that is one; None for anything else."""
        if isinstance(raw, str) and raw in self.written:
            value, written = self.parameter(raw), self.written[raw]
            figure = parse(written["value"] if isinstance(written, dict) else written)
            is_figure = isinstance(figure, Expression) and _is_figure(figure)
            angle = isinstance(value, Amount) and (value.kind == (0, 1) or value.bare)
            return as_angle(value) if is_figure and angle and isinstance(value, Amount) else None
        parsed = parse(raw)
        if isinstance(parsed, Uncertain) or not _is_figure(parsed):
            return None
        return as_angle(evaluate(parsed, lambda n: self.lookup(n, {})))

    def amount(self, raw: Any, kind: str, path: Keys, indices: Mapping[str, Value], name: str) -> Amount:
        """A value of one kind (length, angle, count, number), with its mistakes noted."""
        with self.noting(path):
            parsed = parse(raw)
            if isinstance(parsed, Uncertain):
                turns = kind == "angle" or (kind == "any" and parsed.nominal.kind == (0, 1))
                due = as_angle if turns else as_length
                low, nominal, high = (
                    None if part is None else due(part) for part in (parsed.low, parsed.nominal, parsed.high)
                )
                line = self.document.mark(path).line
                assert nominal is not None
                ends = nominal if low is None else low, nominal, math.inf if high is None else high
                one = Measurement(_written_as(name), *ends, line, parsed.measured, angle=turns)
                return self._measured(one)
            if self.desk.general is not None and not self.model:
                general = self._general(self.desk.general, parsed, kind, path, name)
                if general is not None:
                    return self._measured(general)
            got = evaluate(parsed, lambda n: self.lookup(n, indices))
            return _as(kind, got)

    def _general(
        self, general: General, written: Expression, kind: str, path: Keys, name: str
    ) -> Measurement | None:
        """A plain length with the general tolerance that holds for it; None if none does."""
        constant = written.steps[0]
        if len(written.steps) > 1 or not isinstance(constant, Constant):
            return None
        section, owner, *below = map(str, path)
        size = kind == "length" and section == "parts" and below[:1] == ["with"]
        figure = kind == "any" and section == "parameters" and constant.amount.kind == (1, 0)
        if not (size or figure) or not general.holds(section, owner):
            return None
        value = as_length(constant.amount)
        off = plus_minus(general.grade, value)
        if off is None:
            return None
        line = self.document.mark(path).line
        return Measurement(_written_as(name), value - off, value, value + off, line, general=True)

    def _measured(self, one: Measurement) -> Amount:
        """An uncertain length or angle at the value that it is taken at."""
        value, sway = self.desk.measured(one), Sway((one.name,), (), one.low, one.high)
        return Amount(value, angle=1, sway=sway) if one.angle else Amount(value, length=1, sway=sway)

    def _looked_up(self, said: str, value: float, boxes: np.ndarray | None = None) -> Amount:
        """A length taken from where something stands; of `boxes` (n, 2, 3) the outermost."""
        name = f"{self.model}:{said}"
        self.desk.looked_up(name, value, boxes)
        return Amount(value, length=1, sway=Sway((name,)))

    def parameter(self, name: str) -> Value | None:
        """Value of a plain name in this space, or None when it is no parameter."""
        if name in self.values:
            return self.values[name]
        if name in self.written:
            return self.worked("parameter", name, lambda: self._parameter(name))
        return None

    def _parameter(self, name: str) -> Value:
        if name in self.broken:
            raise PassedOver(name)
        raw = self.written[name]
        self._reads(("parameter", name))
        path: Keys = ("parameters", name)
        declared: dict[str, Any] = {}
        if isinstance(raw, dict):
            declared, raw, path = raw, raw["value"], (*path, "value")
        choices = declared.get("choices") or ()
        loose = "flag" if isinstance(raw, bool) or raw in ("yes", "no") else "any"
        kind = declared.get("type") or (kind_of(choices) if choices else None) or loose
        got = self.typed(raw, {"type": kind, "choices": choices}, path, {}, name)
        self._refuse_other(name, raw, got, path)
        if isinstance(got, Amount):
            self._refuse_outside(name, raw, got, declared.get("range") or ())
        return got

    def _refuse_outside(self, name: str, written: Any, have: Amount, ends: Sequence[Any]) -> None:
        """Refuse a figure outside the range of its parameter."""
        for end, sign, word in zip(ends, (-1, 1), ("below", "above"), strict=False):
            if end is None or end == "none":
                continue
            with self.noting(("parameters", name, "range")):
                limit = self._worked_out(end)
                beyond = not is_equal(have, limit) and sign * (have.value - limit.value) > 0
            if beyond:
                wrong = ValueMistake(f"{written} is {word} {end}, the end of its range", f"write {end}")
                raise self.desk.note(self.document.mark(("parameters", name, "value")), name, wrong)

    def lookup(self, name: str, indices: Mapping[str, Value]) -> Amount:
        """What a name in arithmetic stands for.

        Raises:
            ValueMistake: unknown, or not a number.
            PassedOver: its own mistake is noted already.
        """
        first, *rest = segments(name)
        value: Value | None = None
        if not rest:
            value = indices.get(first)
            value = self.parameter(first) if value is None else value
            if value is None:
                self.instance(first)
                raise ValueMistake(f"`{name}` is a part; name one of its measures, such as {name}.top")
        else:
            value = self._measure(first, tuple(rest), name)
        if not isinstance(value, Amount):
            raise ValueMistake(f"`{name}` is {'a flag' if isinstance(value, bool) else 'text'}, not a number")
        return value

    def _measure(self, first: str, rest: tuple[str, ...], said: str) -> Value:
        """A parameter of a part, or a coordinate of it or of one of its features."""
        found, place = self.walk((first, *rest), said)
        *between, last = found.rest or ("",)
        if between or not last:
            raise unknown(found.node, found.rest[0] if found.rest else last, said)
        frame = place() @ found.frame if last in (*ENDS, "x", "y", "z", *SIZES) and found.feature else None
        if found.feature is None:
            if last in found.node.values:
                return found.node.values[last]
            if last in ENDS:
                row, axis = ENDS[last]
                boxes = found.node.boxes(place() @ found.frame)
                return self._looked_up(said, float(around(boxes)[row, axis]), boxes)
        elif frame is not None and isinstance(found.feature, Compartment) and last not in ("x", "y", "z"):
            bounds = box_bounds(found.feature, frame)
            if last in SIZES:
                return self._looked_up(said, float(np.ptp(bounds[:, SIZES[last]])))
            row, axis = ENDS[last]
            return self._looked_up(said, float(bounds[row, axis]))
        elif frame is not None and last in ("x", "y", "z"):
            return self._looked_up(said, float(frame.point(anchor(found.feature))["xyz".index(last)]))
        raise unknown(found.node, last, said)

    # --- paths -----------------------------------------------------------------

    def walk(self, path: tuple[str, ...], said: str) -> tuple[Found, Callable[[], Frame]]:
        """What a path leads to, and a way to ask where its part stands (later, if at all)."""
        first = path[0]
        if self.own is not None and first in features(self.own):
            own = Node(self.model, dict(self.values), self.own)
            return find(own, path, said), lambda: IDENTITY
        self.instance(first)
        found = find(self.node(first), path[1:], said)
        leaf = f"{first}.{found.leaf}" if found.leaf else first
        return Found(leaf, found.node, found.frame, found.feature, found.rest), lambda: self.frame(first)

    def feature(
        self, said: str, indices: Mapping[str, Value], wanted: type[Feature] | None = None, called: str = ""
    ) -> tuple[str, Feature, Frame]:
        """A feature by its written path: (leaf name, feature, space_from_leaf).

        `called` is the word for it in a mistake, if `wanted` does not say it.
        """
        written = self.spelled(said, indices)
        found, place = self.walk(segments(written), written)
        word = called or ({Face: "face", Port: "port"}.get(wanted, "feature") if wanted else "feature")
        if found.feature is None or found.rest or (wanted and not isinstance(found.feature, wanted)):
            if found.feature is None and not found.rest:
                raise whole_part(found.node, written, word)
            missing = ".".join(found.rest) or segments(written)[-1]
            raise unknown(found.node, missing, written, word)
        return found.leaf, found.feature, place() @ found.frame

    def spelled(self, said: str, indices: Mapping[str, Value]) -> str:
        """A path with its indices worked out: `fan[i + 1]` -> `fan[2]`."""

        def number(match: re.Match[str]) -> str:
            index = parse(match.group(1))
            if isinstance(index, Uncertain):
                raise ValueMistake(f"`{match.group(1)}` is no index: it is not certain")
            amount = evaluate(index, lambda n: self.lookup(n, indices))
            if amount.sway is not None:
                self.desk.bends(amount.sway.rests)
            return f"[{as_count(amount)}]"

        return re.sub(r"\[([^\[\]]+)\]", number, said)

    @property
    def contacts(self) -> list[Contact]:
        """The contacts meant so far, in the order of the parts."""
        return [contact for name, _, _ in self.instances() for contact in self.meant.get(name, ())]


def assemble(desk: Desk, model: Model, values: Mapping[str, Value]) -> Node:
    """Build a model's own shape and place its sub-parts in its frame."""
    key = id(model), repr(sorted(values.items()))
    known = desk.shared.nodes.get(key)
    if known is None or not desk.is_as_now(known[2]):
        known = _assembled(desk, model, values)
        desk.shared.nodes.put(key, known)
    desk.rest_on(known[2])
    return known[1]  # type: ignore[no-any-return]


def _assembled(desk: Desk, model: Model, values: Mapping[str, Value]) -> KeptNode:
    made = desk.traced(partial(_assemble, desk, model, values))
    return model, made.value, made.rests


def _assemble(desk: Desk, model: Model, values: Mapping[str, Value]) -> Node:
    try:
        shape = build_shape(model, values)
    except Mistakes as wrong:
        desk.mistakes.update(wrong.items)
        raise PassedOver(model.name) from None
    desk.bends(shape.bent)
    desk.turns(shape.turned)
    use = model.document.data.get("use") or {}
    space = Space(desk, model.document, ("use",), use, values, own=shape, model=model.name)
    children: dict[str, Child] = {}
    with space.gathering() as tries:
        for name, _, _ in space.instances():
            for child in tries(partial(_stand, space, name)):
                children[name] = child
    return Node(model.name, dict(values), shape, children, tuple(space.contacts))


def _stand(space: Space, name: str) -> Child:
    return Child(space.node(name), space.frame(name))


def box_bounds(space: Compartment, frame: Frame) -> np.ndarray:
    """(2, 3) bounds of a compartment's corners in the outer frame, mm."""
    corners = np.array(list(itertools.product(*zip(space.low, space.high, strict=True))))
    moved = frame.point(corners)
    return np.array([moved.min(axis=0), moved.max(axis=0)])


def _as(kind: str, got: Amount) -> Amount:
    """The amount as one kind: checked, and no longer bare."""
    if kind == "length":
        return Amount(as_length(got), length=1, sway=got.sway)
    if kind == "angle":
        return Amount(as_angle(got), angle=1, sway=got.sway)
    if kind == "count":
        return Amount(float(as_count(got)), sway=got.sway)
    if kind == "number":
        return Amount(as_number(got), sway=got.sway)
    return got


def _is_figure(written: Expression) -> bool:
    """Whether a figure alone is written, with its sign."""
    constant, *more = written.steps
    signs = all(isinstance(step, Operation) and step.does == "negate" for step in more)
    return isinstance(constant, Constant) and signs


def _written_as(name: str) -> str:
    """The name of a value as it is written: one text for all parts of a repeat."""
    return re.sub(r"\[[0-9]+\]", "", name)
