"""Machine code kept on disk, and loaded without numba.

To import numba, and to load what its own cache keeps, takes half a second: half of a whole
check. So an entry point is kept as a bare object file, which llvmlite loads in a
millisecond, and numba is imported only to make it. A file's name holds a fingerprint of
all that its code depends on, and the file a digest of itself: what is loaded is what
would be compiled now, or nothing.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import sys
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import llvmlite.binding as llvm

PACKAGE = Path(__file__).parents[2]
DIGEST = 32


@lru_cache(maxsize=2)
def fingerprint(room: str) -> str:
    """A name that changes with the processor, and with the kernels' sources and the compiler.

    Args:
        room: whose kernels they are, "world" or "runs"; those of runs call those of the world.
    """
    found = hashlib.sha256()
    for folder in ("world",) if room == "world" else ("world", room):
        for source in sorted((PACKAGE / folder / "kernels").glob("*.py")):
            found.update(source.read_bytes())
    found.update(_numba_version() + sys.version.encode())
    return f"{hashlib.sha256(repr(_processor()).encode()).hexdigest()[:6]}-{found.hexdigest()[:12]}"


def _numba_version() -> bytes:
    """What says which numba there is, without importing it."""
    found = importlib.util.find_spec("numba")
    if found is None or found.origin is None:
        raise ImportError("fitcheck needs numba")
    return Path(found.origin).with_name("_version.py").read_bytes()


@lru_cache(maxsize=1)
def _processor() -> tuple[str, str, str]:
    """What code is made for: system, processor, and what it can do."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.get_process_triple(), llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()


def target_machine() -> Any:
    """The processor at hand, for code that is loaded into this process."""
    triple, name, features = _processor()
    relocation = "static" if triple.startswith(("x86", "i386", "i686")) else "default"
    return llvm.Target.from_triple(triple).create_target_machine(
        cpu=name, features=features, opt=3, reloc=relocation, codemodel="jitdefault", jit=True
    )


def function(name: str, room: str, signature: str, make: Callable[[], bytes]) -> int:
    """Address of an entry point's code; made now and kept, unless it is kept already.

    Args:
        name: of the entry point, and of the symbol in the object file.
        room: as for `fingerprint`.
        signature: of the arguments; each has code of its own.
        make: compiles it; its object file.
    """
    stem = f"{name}-{fingerprint(room)}"
    file = f"{stem}-{hashlib.sha256(signature.encode()).hexdigest()[:8]}.o"
    code = next((code for folder in folders() if (code := _read(folder / file))), None)
    if code is None:
        code = make()
        _keep(file, stem, code)
    return _load(name, code)


def is_kept(name: str, room: str) -> bool:
    """Whether an entry point was compiled before, for arguments of some kind."""
    return any(any(folder.glob(f"{name}-{fingerprint(room)}-*.o")) for folder in folders())


def folders() -> Iterator[Path]:
    """Where code may be kept, best first: where Python keeps its own, else the user's cache."""
    yield Path(importlib.util.cache_from_source(__file__)).parent
    home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    yield (Path(home) if home else Path.home() / ".cache") / "fitcheck"


def _read(file: Path) -> bytes | None:
    """Code kept in a file; None if there is none, or not all of it."""
    try:
        held = file.read_bytes()
    except OSError:
        return None
    digest, code = held[:DIGEST], held[DIGEST:]
    return code if hashlib.sha256(code).digest() == digest else None


def _keep(file: str, stem: str, code: bytes) -> None:
    """Write code where it can be written, whole or not at all; what it was of other sources goes."""
    of_processor = stem.rpartition("-")[0]
    for folder in folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            half = folder / f"{file}.{os.getpid()}"
            half.write_bytes(hashlib.sha256(code).digest() + code)
            half.replace(folder / file)
            for old in folder.glob(f"{of_processor}-????????????-????????.o"):
                if not old.name.startswith(stem):
                    old.unlink(missing_ok=True)
            return
        except OSError:
            continue


# Loaded code lives as long as its engine, and that as long as the process.
_engines: list[Any] = []


def _load(name: str, code: bytes) -> int:
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), target_machine())
    engine.add_object_file(llvm.ObjectFileRef.from_data(code))
    engine.finalize_object()
    _engines.append(engine)
    return int(engine.get_function_address(name))
