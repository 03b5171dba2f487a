"""The process that turns STEP into triangles: `python -P step_kernel.py FACET`, STEP in, binary glTF out.

It is started by `mesh_step.py` and is no part of any other process: what a stranger's file makes the kernel
do ends here, within limits that the operating system holds. It imports nothing of fitcheck.
"""

from __future__ import annotations

import contextlib
import os
import sys

# What the process may use: address space (the kernel's libraries alone take 0.4 GB), seconds of processor,
# bytes written.
MEMORY, SECONDS, WRITTEN = 4 << 30, 60, 200 << 20
# Open files: what it writes lies in memory, but goes through the numbers of a few.
FILES = 16
# Exit codes besides 0: the library is not installed, or the file gave nothing.
MISSING, NOTHING = 3, 4
# Largest angle between neighbouring facets, radians: small roundings still get a few.
ANGLE = 0.5


def main() -> int:
    """Read the file from standard input, write glTF to standard output."""
    # The kernel prints what it does: it gets no place to print to.
    out = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    try:
        import cascadio
    except ImportError:
        return MISSING
    data = sys.stdin.buffer.read()
    _bound()
    glb = cascadio.load(data, tol_linear=float(sys.argv[1]), tol_angular=ANGLE, use_parallel=False)
    if not glb:
        return NOTHING
    with os.fdopen(out, "wb") as stream:
        stream.write(glb)
    return 0


def _bound() -> None:
    """From now on: bounded memory, time and output, no core file, few open files."""
    with contextlib.suppress(
        ImportError
    ):  # other systems have no such limits; the clock of the caller still ends it
        import resource

        for what, most in (
            (resource.RLIMIT_AS, MEMORY),
            (resource.RLIMIT_CPU, SECONDS),
            (resource.RLIMIT_FSIZE, WRITTEN),
            (resource.RLIMIT_CORE, 0),
            # A STEP file may name others, by any path: they are never read.
            (resource.RLIMIT_NOFILE, FILES),
        ):
            _, hard = resource.getrlimit(what)
            least = most if hard == resource.RLIM_INFINITY else min(most, hard)
            with contextlib.suppress(ValueError, OSError):  # one that this system does not set
                resource.setrlimit(what, (least, least))


if __name__ == "__main__":
    code = main()
    # At once: what the kernel does while it is taken down is of no use, and may crash.
    os._exit(code)
