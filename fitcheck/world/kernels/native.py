"""What is compiled, and how it is called.

Kernels call each other as plain functions; all of them become part of the entry points,
which are what Python calls. Nothing here imports numba before something has to be compiled.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from functools import cached_property, update_wrapper
from typing import Any, TypeVar, cast

import numpy as np

from fitcheck.world.kernels import kept

Function = TypeVar("Function", bound=Callable[..., Any])

# What a bare entry point may give back, as its annotation says it.
RESULTS: dict[str, Any] = {"None": None, "int": ctypes.c_int64, "float": ctypes.c_double}


class Native:
    """A function that is compiled into those that call it, or when Python calls it."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self.name = function.__name__
        # The room of the house whose kernel it is: `fitcheck.<room>.kernels`.
        self.room = function.__module__.removeprefix("fitcheck.").partition(".")[0]
        update_wrapper(self, function)

    @cached_property
    def dispatcher(self) -> Any:
        """What numba knows it as."""
        from fitcheck.world.kernels.machine_code import dispatcher

        return dispatcher(self.function)

    @property
    def _numba_type_(self) -> Any:
        """Asked by numba where another function calls this one."""
        return self.dispatcher._numba_type_

    def __call__(self, *values: Any, **named: Any) -> Any:
        return self.dispatcher(*values, **named)


class Entry(Native):
    """An entry point that numba itself keeps on disk, under a name with the fingerprint of its sources.

    numba renews a kept function when its own file changes, but not when one that it calls does.
    """

    @cached_property
    def dispatcher(self) -> Any:
        """What numba knows it as."""
        from fitcheck.world.kernels.machine_code import kept_dispatcher

        self.function.__qualname__ = f"{self.name}_{kept.fingerprint(self.room)}"
        return kept_dispatcher(self.function)


class BareEntry(Native):
    """An entry point kept as bare machine code, which is called without numba.

    It takes whole arrays, plain numbers, and named tuples of them; fills arrays; and gives
    back nothing or a number. Its kernels allocate nothing and raise nothing.
    """

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        self._loaded: dict[str, Callable[..., Any]] = {}

    @property
    def is_kept(self) -> bool:
        """Whether it was compiled before, in this process or for a file on disk."""
        return bool(self._loaded) or kept.is_kept(self.name, self.room)

    def __call__(self, *values: Any, **named: Any) -> Any:
        if named:
            raise TypeError(f"{self.name} takes its arguments in order only")
        flat: list[Any] = []
        signature = ",".join([_flattened(value, flat) for value in values])
        code = self._loaded.get(signature)
        if code is None:
            code = self._loaded[signature] = self._load(signature, values, flat)
        return code(*flat)

    def _load(self, signature: str, values: tuple[Any, ...], flat: list[Any]) -> Callable[..., Any]:
        def make() -> bytes:
            from fitcheck.world.kernels.machine_code import machine_code

            return machine_code(self, self.function.__annotations__["return"], values)

        address = kept.function(self.name, self.room, signature, make)
        result = RESULTS[self.function.__annotations__["return"]]
        return ctypes.CFUNCTYPE(result, *(_kind(value) for value in flat))(address)


def _flattened(value: Any, flat: list[Any]) -> str:
    """The letters that stand for an argument in a signature; as C takes it, it is added to `flat`."""
    if isinstance(value, np.ndarray):
        if not value.flags.c_contiguous:
            raise TypeError("a kernel takes whole arrays only")
        flat += (value.ctypes.data, *value.shape)
        return f"{value.dtype.str}{value.ndim}"
    if hasattr(value, "_fields"):
        return f"{type(value).__name__}({','.join([_flattened(inner, flat) for inner in value])})"
    if not isinstance(value, int | float):
        raise TypeError(f"a kernel takes no {type(value).__name__}")
    flat.append(value)
    return "b" if isinstance(value, bool) else "i" if isinstance(value, int) else "f"


def _kind(value: Any) -> Any:
    """What C calls a plain value; addresses and lengths of arrays pass as whole numbers."""
    if isinstance(value, bool):
        return ctypes.c_bool
    return ctypes.c_int64 if isinstance(value, int) else ctypes.c_double


def native(function: Function) -> Function:
    """Compile into the entry points that call it."""
    return cast(Function, Native(function))


def entry(function: Function) -> Function:
    """Compile at the first call and keep the code on disk, if there is a place to keep it."""
    return cast(Function, Entry(function))


def bare_entry(function: Function) -> Function:
    """As `entry`, for kernels that allocate nothing: loaded a hundred times faster, without numba."""
    return cast(Function, BareEntry(function))


def is_kept(function: Any) -> bool:
    """Whether an entry point was compiled before; else its first call waits for the compiler."""
    return bool(function.is_kept)
