"""A digest of values: equal values give equal digests, in every process."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from pydantic import BaseModel

# Where something stands in its file, and what number it got in this process, say nothing of what it is.
LEFT_OUT = {"line", "serial"}


def add(found: Any, value: Any) -> None:
    """Add a value to a digest of hashlib: plain kinds, arrays, dataclasses, models, and what holds them.

    Raises:
        TypeError: a value of another kind, of which nothing is known.
    """
    said: list[bytes] = []
    _say(said, value)
    found.update(b"".join(said))


def _say(said: list[bytes], value: Any) -> None:
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, (str, int, float)):
        said.append(repr(value).encode() + b",")
    elif isinstance(value, np.ndarray):
        said += [f"{value.dtype}{value.shape}".encode(), value.tobytes()]
    elif isinstance(value, (tuple, list)):
        said.append(f"({len(value)}:".encode())
        for one in value:
            _say(said, one)
    elif is_dataclass(value) and not isinstance(value, type):
        kind = type(value)
        said.append(kind.__name__.encode())
        for name in _fields(kind):
            _say(said, getattr(value, name))
    elif isinstance(value, Mapping):
        said.append(f"{{{len(value)}:".encode())
        for key, one in value.items():
            _say(said, key)
            _say(said, one)
    elif isinstance(value, Set):
        _say(said, sorted(value))
    elif isinstance(value, BaseModel):
        _say(said, dict(value))
    else:
        raise TypeError(f"a {type(value).__name__} has no digest")


@lru_cache(maxsize=256)
def _fields(kind: Any) -> tuple[str, ...]:
    return tuple(one.name for one in fields(kind) if one.name not in LEFT_OUT)
