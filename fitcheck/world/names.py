"""Names that rules, views, touches, runs and loops use, checked against the parts that there are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fitcheck.scene.loop_entries import LoopEntry, written_names, wrong_values
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.rules import each_rule, walk_rule
from fitcheck.scene.run_entries import RunEntry
from fitcheck.world.desk import PassedOver, last_key
from fitcheck.world.node import find, segments, unknown
from fitcheck.world.space import Space
from fitcheck.world.wishes import RunWish
from fitcheck.world.wishing import Wishes
from fitcheck.world.world import Contact, Part


def noted(space: Space, path: tuple[str | int, ...], said: str, known: Any, what: str) -> None:
    """Note an unknown name, unless what it belongs to already has a noted mistake."""
    if said.split(".")[0].partition("[")[0] in space.entries and space.desk.mistakes:
        return
    near = nearest(said, known)
    listed = ", ".join(sorted(known)[:12])
    problem = f"there is no {what} `{said}`" + (f" (there are {listed})" if len(known) <= 12 else "")
    wrong = ValueMistake(problem, f"write {near}" if near else "")
    space.desk.note(space.document.mark(path), last_key(path), wrong)


class Names:
    """Names that rules, views and touches use, checked against what there is."""

    def __init__(self, space: Space, parts: tuple[Part, ...]) -> None:
        self.space, self.parts = space, parts
        self.known: set[str] = set()
        for part in parts:
            self.known |= {part.name, part.group} | {f"{part.name}.{s}" for s in part.shape.solids}
            pieces = part.name.split(".")
            self.known |= {".".join(pieces[:k]) for k in range(1, len(pieces))}
        self.known |= {name.partition("[")[0] for name in self.known if name.endswith("]")}
        self.known |= set(space.document.data.get("runs") or {})

    def part(self, path: tuple[str | int, ...], said: str) -> str:
        """A name of a part, an assembly, a solid, or a pattern; noted when nothing has it."""
        if said.endswith("*"):
            if not any(name.startswith(said[:-1]) for name in self.known):
                noted(self.space, path, said, self.known, "part")
        elif said not in self.known:
            noted(self.space, path, said, self.known, "part")
        return said

    def holes(self, path: tuple[str | int, ...], said: str) -> str:
        """A name of a part or of holes of one (`case.rear_fan_screws`); noted when nothing has it."""
        named = {
            f"{part.name}.{name.partition('[')[0]}"
            for part in self.parts
            for name in (*part.shape.holes, *part.shape.openings)
        }
        known = self.known | named
        found = any(name.startswith(said[:-1]) for name in known) if said.endswith("*") else said in known
        if not found:
            noted(self.space, path, said, known, "part or pattern of holes")
        return said

    def rules(self, written: Mapping[str, Any]) -> dict[str, Any]:
        """Rules with mm and degrees in place of what was written."""
        found: dict[str, Any] = {}
        for name, written_rule in written.items():
            known = len(self.space.desk.mistakes)
            rule = found[name] = walk_rule(written_rule, self._rule_value, ("rules", name))
            # What could not be worked out is 0 here: it is told of already.
            if len(self.space.desk.mistakes) > known:
                continue
            for one, at in each_rule(rule, ("rules", name)):
                for key, said, mend in one.wrong():
                    below = (key,) if isinstance(key, str) else tuple(key)
                    mark = self.space.document.mark((*at, *below))
                    self.space.desk.note(mark, last_key(below), ValueMistake(said, mend))
        return found

    def wishes(self, written: Mapping[str, RunEntry], rules: Mapping[str, Any]) -> tuple[RunWish, ...]:
        """What is demanded of every run; a scene's default clearance holds for its tubes too."""
        default = getattr(rules.get("clearance"), "default", None)
        reader = Wishes(self.space, self.parts, self._rule_value, self._members_of)
        return reader.all(written, default)

    def loops(self, written: Mapping[str, LoopEntry]) -> dict[str, LoopEntry]:
        """Loops with plain values in place of what was written, their names checked."""
        found = {}
        for name, entry in written.items():
            path: tuple[str | int, ...] = ("loops", name)
            for below, said in written_names(entry):
                self.part((*path, *below), said)
            plain = found[name] = walk_rule(entry, self._rule_value, path)
            for below, wrong in wrong_values(plain):
                mark = self.space.document.mark((*path, *below))
                self.space.desk.note(mark, last_key(below), ValueMistake(wrong))
        return found

    def _members_of(self, said: str) -> list[str]:
        return [name for name, _ in self._members(said)]

    def _rule_value(self, kind: str, raw: Any, path: tuple[str | int, ...]) -> Any:
        if kind == "part":
            return self.part(path, str(raw))
        if kind == "holes":
            return self.holes(path, str(raw))
        if kind == "place":
            return self._feature(path, str(raw))
        if kind in ("length", "angle", "count", "number", "share"):
            try:
                kind = "number" if kind == "share" else kind
                return self.space.number(raw, kind, path, {}, ".".join(map(str, path)))
            except PassedOver:
                return 0.0
        return raw

    def _feature(self, path: tuple[str | int, ...], said: str) -> str:
        """A path to a feature, a compartment or a part, checked; given back as written."""
        try:
            node = self.space.node(segments(said)[0])
            found = find(node, segments(said)[1:], said)
            if found.rest and not (found.feature is None and found.rest[0] in found.node.shape.solids):
                raise unknown(found.node, found.rest[0], said)
        except PassedOver:
            return said
        except ValueMistake as wrong:
            self.space.desk.note(self.space.document.mark(path), last_key(path), wrong)
        return said

    def views(self, written: Mapping[str, Any]) -> dict[str, Any]:
        """Views with numbers worked out and names checked."""
        views = {}
        for name, view in written.items():
            view = dict(view or {})
            path = ("views", name)
            if isinstance(view.get("cut"), dict):
                view["cut"] = {
                    axis: self._rule_value("length", raw, (*path, "cut", axis))
                    for axis, raw in view["cut"].items()
                }
            if "explode" in view:
                view["explode"] = self._rule_value("number", view["explode"], (*path, "explode"))
            eyes = ((self.space.document.data.get("rules") or {}).get("sight") or {}).get("eyes") or {}
            if view.get("eye") and view["eye"] not in eyes:
                noted(self.space, (*path, "eye"), str(view["eye"]), eyes, "eye of the rule sight named")
            for key in ("hide", "show"):
                view[key] = [self.part((*path, key, at), said) for at, said in enumerate(view.get(key) or [])]
            views[name] = view
        return views

    def touches(self, written: list[Mapping[str, Any]]) -> list[Contact]:
        """Pairs that the scene lets touch."""
        contacts = []
        for at, touch in enumerate(written):
            path = ("touches", at)
            a = self.part((*path, "between"), touch["between"])
            b = self.part((*path, "and"), touch["and"])
            gives = self._rule_value("length", touch.get("gives", 0), (*path, "gives"))
            contacts += [
                Contact("touches", left, right, solids_a, solids_b, gives)
                for left, solids_a in self._members(a)
                for right, solids_b in self._members(b)
            ]
        return contacts

    def _members(self, said: str) -> list[tuple[str, tuple[str, ...]]]:
        """Leaves (and the one solid) that a name stands for."""
        found: list[tuple[str, tuple[str, ...]]] = []
        for part in self.parts:
            solid = next((s for s in part.shape.solids if f"{part.name}.{s}" == said), "")
            stem = part.name.partition("[")[0]
            if solid:
                found.append((part.name, (solid,)))
            elif (
                part.name == said
                or part.name.startswith((f"{said}.", f"{said}["))
                or (said.endswith("*") and part.name.startswith(said[:-1]))
                or stem == said
            ):
                found.append((part.name, ()))
        return found
