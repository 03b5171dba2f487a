"""Every step of the tutorial in scenes/README.md, run as it is written there."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[1]
TEXT = (TOP / "scenes" / "README.md").read_text()
TUTORIAL = re.search(r"(?s)## From the tape measure to the template\n(.*?)\n## ", TEXT)[1]
BLOCKS = re.findall(r"(?s)```(\w+)(?: ([\w.]+))?\n(.*?)```", TUTORIAL)
ANYTHING = "…"


def steps(block):
    """Each command of a block with the lines that it shall say."""
    lines = iter(block.splitlines())
    found: list = []
    for line in lines:
        if line.startswith("$ "):
            found.append((shlex.split(line.removeprefix("$ ")), []))
        else:
            found[-1][1].append(line)
    return found


def is_said(said, shall):
    """Are the lines those that shall be said, with any number of others where the dots stand?"""
    pattern = "".join(r"(?:.*\n)*" if line == ANYTHING else re.escape(line) + r"\n" for line in shall)
    return re.fullmatch(pattern, "".join(f"{line}\n" for line in said)) is not None


def test_every_step_of_the_tutorial(tmp_path):
    pytest.importorskip("reportlab")
    done = 0
    for kind, file, block in BLOCKS:
        if kind == "yaml":
            (tmp_path / file).write_text(block)
            continue
        assert kind == "console"
        for (program, *words), shall in steps(block):
            assert program == "fitcheck"
            ran = subprocess.run(
                [sys.executable, "-c", "from fitcheck.cli import run; run()", *words],
                capture_output=True, text=True, cwd=tmp_path, timeout=300,
            )  # fmt: skip
            said = [*ran.stdout.splitlines(), *ran.stderr.splitlines()]
            said = [line for line in said if not line.startswith("compiling")]
            assert is_said(said, shall), (words, said)
            if "--out" in words:
                made = tmp_path / words[words.index("--out") + 1]
                assert made.exists()
                assert made.is_dir() or made.stat().st_size > 1000
            done += 1
    assert done >= 8


def test_dots_stand_for_any_lines():
    assert is_said(["a", "b", "c"], ["a", ANYTHING])
    assert is_said(["a"], ["a", ANYTHING])
    assert not is_said(["a", "b"], ["a"])
    assert not is_said(["b"], ["a"])
