"""The door to numba: what is compiled, and what of it is kept on disk.

Only entry points are kept: each holds the machine code of all it calls, so one file is
read for each question asked. numba renews a kept function when its own file changes, but
not when a function that it calls does. It names the file after the function, so each is
renamed by a fingerprint of all kernel sources.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., Any])


def native(function: Function) -> Function:
    """Compile into the entry points that call it."""
    return cast(Function, numba.njit(function))


def fingerprint() -> str:
    """A name that changes with any of the kernel sources: an entry point may call those of any folder."""
    package = Path(__file__).parents[2]
    digest = hashlib.sha256()
    for folder in ("world", "runs"):
        for source in sorted((package / folder / "kernels").glob("*.py")):
            digest.update(source.read_bytes())
    return digest.hexdigest()[:12]


SOURCES = fingerprint()


def entry(function: Function) -> Function:
    """Compile at the first call and keep the code on disk, if there is a place to keep it."""
    function.__qualname__ = f"{function.__name__}_{SOURCES}"
    try:
        return cast(Function, numba.njit(cache=True)(function))
    except RuntimeError:
        # No folder of the package or of the user can be written to.
        return native(function)


def is_kept(compiled: Any) -> bool:
    """Whether an entry point is compiled already: in this process, or on disk."""
    folder = compiled.stats.cache_path
    if compiled.signatures or folder is None:
        return bool(compiled.signatures)
    return any(Path(folder).glob(f"*.{compiled.py_func.__qualname__}-*.nbi"))
