"""What a space works out is worked out once, and taken over from other layouts where it rests on the same.

What the work reads of the file goes through here, so that it is noted; so do the contacts that it means.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TypeVar

from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.text import Document
from fitcheck.world.desk import Desk, Gathering, Keys, PassedOver
from fitcheck.world.shared import MEASUREMENT, Leaf, Worked
from fitcheck.world.world import Contact

T = TypeVar("T")


class Once:
    """Values of one space by what they are and whose.

    Args:
        desk: what the resolution shares.
        document, path: the file, and where in it the entries stand.
        entries, written: parts and parameters as written.
        shares: take over from other layouts; what parts of an assembly come to is kept with the assembly.
    """

    def __init__(
        self,
        desk: Desk,
        document: Document,
        path: Keys,
        entries: Mapping[str, Any],
        written: Mapping[str, Any],
        shares: bool,
    ) -> None:
        self.desk, self.document, self.path = desk, document, path
        self.entries, self.written = entries, written
        self.meant: dict[str, list[Contact]] = {}
        self._memo: dict[tuple[str, str], Worked | PassedOver] = {}
        self._kept = desk.shared.values_of((path, *entries, "", *written)) if shares else None
        self._tokens: dict[Leaf, Hashable] = {}

    def entry(self, name: str) -> Mapping[str, Any]:
        """The entry of a part, as written."""
        self._reads(("part", name))
        return self.entries[name]  # type: ignore[no-any-return]

    def means(self, name: str, contact: Contact) -> None:
        """Note a contact that the placement of a part means."""
        meant = self.meant.setdefault(name, [])
        meant.append(contact)
        if self._kept is not None and self.desk.tracing:
            self.desk.tracing[-1].contacts[name] = meant

    def worked(self, what: str, name: str, work: Callable[[], T]) -> T:
        """What work gives that reads of the file only by way of this space, done once.

        Raises:
            PassedOver: it rests on a value whose mistake is noted.
        """
        key = (what, name)
        got = self._memo.get(key)
        if got is None:
            try:
                got = self._found(key) or self._kept_as(key, self.desk.once(f"{what} {name}", work))
            except PassedOver as passed:
                got = passed
            self._memo[key] = got
        if isinstance(got, PassedOver):
            raise got
        self.desk.rest_on(got.rests)
        return got.value  # type: ignore[no-any-return]

    def _found(self, key: tuple[str, str]) -> Worked | None:
        """What an earlier layout came to, where it read the same."""
        found = None if self._kept is None else self._kept.find(key, self._token)
        if found is None or not self.desk.fits_below(found.rests):
            return None
        self.meant.update(found.rests.contacts)
        return found

    def _kept_as(self, key: tuple[str, str], worked: Worked) -> Worked:
        if self._kept is not None and worked.rests.sound:
            self._kept.keep(key, worked)
        return worked

    def _reads(self, leaf: Leaf) -> None:
        if self._kept is not None and self.desk.tracing:
            self.desk.tracing[-1].reads[leaf] = self._token(leaf)

    def _token(self, leaf: Leaf) -> Hashable:
        """What stands for an entry of the file: what is written there, and on which line."""
        found = self._tokens.get(leaf)
        if found is None:
            section, name = leaf
            if section == MEASUREMENT:
                return self.desk.trace.taken.get(name)
            where: Keys = ("parameters",) if section == "parameter" else self.path
            written = self.written if section == "parameter" else self.entries
            line = self.document.mark((*where, name), key=True).line
            found = self._tokens[leaf] = repr(written[name]), line
        return found

    @contextmanager
    def noting(self, path: Keys, subject: str = "") -> Iterator[None]:
        """Within this, a wrong value is noted at a path; its last name is the subject unless given."""
        try:
            yield
        except ValueMistake as wrong:
            said = subject or next((str(step) for step in reversed(path) if isinstance(step, str)), "")
            raise self.desk.note(self.document.mark(path), said, wrong) from None

    def gathering(self) -> Gathering:
        """Try several values, and pass over what rests on them only after all were tried."""
        return Gathering()
