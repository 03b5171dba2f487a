"""Things made before, by what they were made of."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

T = TypeVar("T")
# So many things are kept, in each of two ages.
KEPT = 40_000


class Kept:
    """Things by the key of what they were made of; what was not asked for lately is dropped.

    A key must say all that the thing hangs on. Identities (`id`) serve only of what the thing itself holds:
    others are given away anew.
    """

    def __init__(self, most: int = KEPT) -> None:
        self._most = most
        self._young: dict[Hashable, Any] = {}
        self._old: dict[Hashable, Any] = {}

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        """The thing for a key, made if it is not there."""
        found = self.get(key)
        if found is None:
            found = make()
            self.put(key, found)
        return found  # type: ignore[no-any-return]

    def get(self, key: Hashable) -> Any:
        """The thing for a key; None where there is none."""
        found = self._young.get(key)
        if found is None:
            found = self._old.pop(key, None)
            if found is not None:
                self._young[key] = found
        return found

    def put(self, key: Hashable, thing: Any) -> None:
        """Keep a thing, no None, under its key."""
        if len(self._young) >= self._most:
            self._old, self._young = self._young, {}
        self._young[key] = thing
