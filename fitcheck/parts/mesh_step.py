"""STEP files as triangles: cut into facets by a process of its own, whose limits the operating system holds.

Surfaces are cut so that facets keep within a length that is asked; that length counts as the mesh's error.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from fitcheck.parts import step_kernel
from fitcheck.parts.mesh_gltf import read_glb
from fitcheck.parts.mesh_written import Written
from fitcheck.scene.mistakes import ValueMistake

# Facets of no stated length lie this near the true surface, mm; and what may be asked.
FACET, FINEST, COARSEST = 0.02, 0.002, 10.0
# The kernel is asked for facets finer by this: it stays at half of what is asked on cylinders, but was
# measured at up to 2.1 times as much on spheres of 1 to 300 mm radius (`tests/test_step.py` measures it).
FINER = 2.5
# The kernel writes single numbers, and so are the moves of nested copies: seven digits of each, a dozen deep.
SINGLE = 12 * 2.0**-24
# Seconds by the clock; it stops by itself after `step_kernel.SECONDS` of the processor's.
PATIENCE = 3 * step_kernel.SECONDS
# By these a file names others. The kernel would open them, whatever their path: it gets to read other words.
ELSEWHERE = re.compile(rb"(?i)\b(DOCUMENT_FIL|APPLIED_EXTERNAL_IDENTIFICATION_ASSIGNMEN)[ET]\b")
END = b"END-ISO-10303-21"


def read_step(data: bytes, facet: float = FACET, part: str | None = None) -> Written:
    """All solids of a STEP file, each copy where the nested placements put it; in metres.

    Args:
        data: of the file.
        facet: how far facets may lie from the true surface, mm.
        part: the one named part that is wanted.

    Raises:
        ValueMistake: the kernel is not installed; the file is none, damaged, too much for the limits.
    """
    if not FINEST <= facet <= COARSEST:
        raise ValueMistake(
            f"facet {facet:g} mm is outside {FINEST:g} to {COARSEST:g} mm", f"write {FACET:g} mm"
        )
    if not data.lstrip()[:4096].startswith(b"ISO-10303-21"):
        raise ValueMistake("cannot be read as STEP: it does not begin with ISO-10303-21", "export it again")
    if END not in data[-4096:]:
        raise ValueMistake(
            f"cannot be read as STEP: it is cut off, {END.decode()} is missing", "export it again"
        )
    inward, others = ELSEWHERE.subn(rb"\1_", data)
    written = read_glb(_facets(inward, facet / FINER), {}, part)
    reach = float(np.abs(written.vertices).max()) * (written.unit or 1.0)
    said = ("it names other files, which are not read",) if others else ()
    return replace(written, soup=True, error=facet + SINGLE * reach, said=said)


def _facets(data: bytes, deflection: float) -> bytes:
    """What the kernel makes of a file, as binary glTF."""
    # An empty folder: the kernel looks for settings, and for what a file names, where it is started.
    with tempfile.TemporaryDirectory() as nowhere, tempfile.TemporaryFile() as out:
        try:
            code = subprocess.run(
                [sys.executable, "-P", str(Path(step_kernel.__file__).resolve()), repr(deflection)],
                input=data, stdout=out, stderr=subprocess.DEVNULL, cwd=nowhere, timeout=PATIENCE, check=False,
                env={name: value for name, value in os.environ.items() if not name.startswith("CSF_")},
            ).returncode  # fmt: skip
        except subprocess.TimeoutExpired:
            raise _too_much() from None
        size = out.seek(0, os.SEEK_END)
        out.seek(0)
        glb = out.read(min(size, step_kernel.WRITTEN))
    if code == step_kernel.MISSING:
        raise ValueMistake(
            "STEP is read by a library that is not installed",
            "run pip install 'fitcheck[step]', or export it as STL",
        )
    if code in KILLED:
        raise _too_much()
    if code != 0 or not size:
        raise ValueMistake(
            "cannot be read as STEP: it is damaged, holds no solid, or too many facets",
            "export it again, or write a larger facet",
        )
    return glb


# How the operating system ends a process over its processor time (as a signal, or as a shell tells it).
KILLED = (-24, -9, 137, 152)


def _too_much() -> ValueMistake:
    problem = (
        f"takes more than {step_kernel.SECONDS} s or {step_kernel.MEMORY >> 30} GB to be cut into facets"
    )
    return ValueMistake(problem, "write a larger facet, or export it as STL")
