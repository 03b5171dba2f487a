"""The text of a file: is it one, is it small enough, is it UTF-8?"""

from __future__ import annotations

import stat
from pathlib import Path

from fitcheck.scene import limits
from fitcheck.scene.mistakes import Mark, Mistake, Mistakes, nearest


def read_file(path: str | Path) -> str:
    """The text of a file, its size checked before anything is read.

    Raises:
        Mistakes: no such file, a folder or device, too large, not UTF-8, not readable.
    """
    name = str(path)
    path = Path(path)
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            raise refused(name, "is a folder, not a file")
        if not stat.S_ISREG(about.st_mode):
            raise refused(name, "is not an ordinary file")
        if about.st_size > limits.FILE_BYTES:
            raise refused(name, too_large(about.st_size))
        with path.open("rb") as file:
            # One byte more than allowed: the file may grow between the two calls.
            return decoded(file.read(limits.FILE_BYTES + 1), name)
    except (FileNotFoundError, NotADirectoryError):
        raise refused(name, "there is no such file", _nearest_file(path)) from None
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise refused(name, f"cannot be read: {why}") from None


def decoded(data: bytes, name: str) -> str:
    """The text of the bytes of a file or of standard input.

    Raises:
        Mistakes: more than the largest file, or not UTF-8 (at the line of the first wrong byte).
    """
    if len(data) > limits.FILE_BYTES:
        raise refused(name, too_large(len(data)))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = len(data[data.rfind(b"\n", 0, error.start) + 1 : error.start].decode("utf-8")) + 1
        problem = f"byte {data[error.start]:#04x} is not UTF-8"
        raise Mistakes([Mistake(Mark(name, line, column), "", problem, "save the file as UTF-8")]) from None


def refused(name: str, problem: str, mend: str = "") -> Mistakes:
    """The mistake of a file as a whole."""
    return Mistakes([Mistake(Mark(name, 1, 1), "", problem, mend)])


def too_large(size: int) -> str:
    """What is said of a file of so many bytes."""
    return f"holds {size:,} bytes; the limit is {limits.FILE_BYTES:,}"


def _nearest_file(path: Path) -> str:
    """A mend that names the file meant, if the folder has one much like it."""
    try:
        names = sorted(one.name for one in path.parent.iterdir())[:1000]
    except OSError:
        return ""
    near = nearest(path.name, names)
    return f"write {path.parent / near}" if near else ""
