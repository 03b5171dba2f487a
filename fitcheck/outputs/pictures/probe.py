"""Can this machine draw at all? Asked in a child process, because a missing library kills the asker."""

from __future__ import annotations

import ctypes
import subprocess
import sys
from functools import lru_cache

MEND = "install libegl1 and libgl1-mesa-dri"
# A driver that hangs must not hang the check; drawing 16 x 16 pixels takes under a second.
PATIENCE_S = 60.0

_DRAW_A_LITTLE = """
import os
os.environ["VTK_DEFAULT_OPENGL_WINDOW"] = "vtkEGLRenderWindow"
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
window = vtkRenderWindow()
window.SetOffScreenRendering(1)
window.SetSize(16, 16)
window.AddRenderer(vtkRenderer())
window.Render()
"""


class NoPicture(Exception):
    """This machine cannot draw; the check itself still runs. `mend` says what to install."""

    def __init__(self, problem: str, mend: str = MEND) -> None:
        super().__init__(f"{problem}; {mend}")
        self.problem, self.mend = problem, mend


@lru_cache(maxsize=1)
def _start() -> subprocess.Popen[bytes] | None:
    if not sys.platform.startswith("linux"):
        return None  # elsewhere the system's own window library draws
    try:
        ctypes.CDLL("libEGL.so.1")
    except OSError:
        raise NoPicture("libEGL.so.1 is not installed") from None
    quiet = subprocess.DEVNULL
    return subprocess.Popen([sys.executable, "-c", _DRAW_A_LITTLE], stdin=quiet, stdout=quiet, stderr=quiet)


def start_probe() -> None:
    """Begin asking, without waiting; raises NoPicture when the library is plainly missing."""
    _start()


@lru_cache(maxsize=1)
def _failure() -> str:
    child = _start()
    if child is None:
        return ""
    try:
        status = child.wait(PATIENCE_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
        return "drawing did not come to an end"
    return "" if status == 0 else "drawing without a screen failed"


def ensure_drawing() -> None:
    """Wait for the answer; raises NoPicture if a 16 x 16 picture could not be drawn. Asked once a process."""
    if problem := _failure():
        raise NoPicture(problem)
