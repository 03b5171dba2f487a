"""What a shell offers to complete a word of a command with."""

from __future__ import annotations

import os
from pathlib import Path

import typer
import yaml

SHELLS = ("bash", "zsh", "fish")
# A shell that wants to know calls the program with this set.
ASKED_BY = "_FITCHECK_COMPLETE"

ENDINGS = (".yaml", ".yml")
# Larger files are not looked into while somebody waits for a word.
MOST_BYTES = 1 << 20


def scene_files(incomplete: str) -> list[str]:
    """Scene files and folders that a path may go on with."""
    folder, _, begun = incomplete.rpartition("/")
    try:
        there = sorted(Path(folder or ("/" if incomplete.startswith("/") else ".")).iterdir())
    except OSError:
        return []
    stem = f"{folder}/" if "/" in incomplete else ""
    fitting = [one for one in there if one.name.startswith(begun) and not one.name.startswith(".")]
    return [
        f"{stem}{one.name}{'/' if one.is_dir() else ''}"
        for one in fitting
        if one.is_dir() or one.suffix in ENDINGS
    ]


def parameters(context: typer.Context, incomplete: str) -> list[str]:
    """`NAME=` of the parameters of the scene that was named before."""
    # While an option waits for its value, what was typed before it may not be sorted out yet.
    typed = [one for one in os.environ.get("COMP_WORDS", "").split() if one.endswith(ENDINGS)]
    try:
        path = Path(context.params.get("scene") or typed[0])
        if path.stat().st_size > MOST_BYTES:
            return []
        data = yaml.load(path.read_text("utf-8"), Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
        names = list(data["parameters"])
    except (OSError, ValueError, TypeError, LookupError, RecursionError, yaml.YAMLError):
        return []
    return [f"{name}=" for name in names if isinstance(name, str) and name.startswith(incomplete)]


def listen() -> None:
    """Make the program answer a shell that asks."""
    from typer._completion_classes import completion_init

    completion_init()


def script(shell: str) -> str:
    """What a shell has to read once, to ask the program from then on."""
    from typer._completion_shared import get_completion_script

    return get_completion_script(prog_name="fitcheck", complete_var=ASKED_BY, shell=shell).rstrip() + "\n"
