"""What all commands share: their options, a scene read and checked, what is said and how it ends."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn, TypeVar

import typer

if TYPE_CHECKING:
    from fitcheck.report import Report
    from fitcheck.world.world import World

T = TypeVar("T")

# Exit codes besides those of the verdict: a wrong call or file, a crash, a key that stops the program, a
# reader that went away.
WRONG, CRASH, INTERRUPTED, PIPE = 2, 70, 130, 141
# What is said when kernels are compiled, by whose they are.
WAITS = {
    "world": "compiling the geometry kernels; this happens once and takes up to a minute …\n",
    "runs": "compiling the kernels for tubes and cables; this happens once and takes up to a minute …\n",
}

app = typer.Typer(
    name="fitcheck",
    help="Does it fit? Checks the inside of a computer case from a text file.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _scene_files(incomplete: str) -> list[str]:
    from fitcheck.completing import scene_files

    return scene_files(incomplete)


def _parameters(ctx: typer.Context, incomplete: str) -> list[str]:
    from fitcheck.completing import parameters

    return parameters(ctx, incomplete)


SceneArgument = Annotated[
    str,
    typer.Argument(metavar="SCENE", help="Scene file, or - for standard input.", autocompletion=_scene_files),
]
SetOption = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="NAME=VALUE",
        help="Set a scene parameter; may be given several times.",
        autocompletion=_parameters,
    ),
]
InchesOption = Annotated[
    bool, typer.Option("--inches", help="Say lengths in inches, rounded; the rounding is said too.")
]
DebugOption = Annotated[
    bool, typer.Option("--debug", help="Show the full trace if the program itself fails.")
]


def reading(work: Callable[[], T]) -> T:
    """Do work that reads files; their mistakes end the program with exit code 2."""
    from fitcheck.outputs.text import mistakes_text
    from fitcheck.scene.mistakes import Mistakes

    try:
        return work()
    except Mistakes as wrong:
        refuse(mistakes_text(wrong, pointing=sys.stderr.isatty()))


def refuse(message: str, code: int = WRONG) -> NoReturn:
    """Say why not, and end."""
    tell(message + "\n")
    raise typer.Exit(code)


def say(text: str) -> None:
    """Write to standard output; a reader that went away ends us with 141, never with 1."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(PIPE) from None


def say_lengths(text: str, inches: bool) -> None:
    """Write to standard output, on demand with the lengths in inches and how they are rounded."""
    if inches:
        from fitcheck.outputs.inches import ROUNDED, in_inches

        text = f"{in_inches(text)}({ROUNDED})\n"
    say(text)


def write_out(out: Path, content: bytes) -> None:
    """Write the file of `--out`, whole or not at all, or end with why it cannot be written."""
    from fitcheck.layouts.whole_file import whole_file

    try:
        with whole_file(out) as file:
            file.write(content)
    except OSError as why:
        refuse(f"--out {out}: {why.strerror or why}")


def tell(text: str) -> None:
    """Write to standard error."""
    sys.stderr.write(text)
    sys.stderr.flush()


def colour() -> bool:
    """Whether what is said may have colours."""
    return sys.stdout.isatty() and "NO_COLOR" not in os.environ


def announce_compilation(elsewhere: bool = False) -> None:
    """From now on say what the wait is for where something is compiled, once for each kind of kernels.

    Args:
        elsewhere: other processes are going to compile: said at once, if nothing is kept yet.
    """
    from fitcheck.outputs.progress import instead
    from fitcheck.world.kernels import is_compiled
    from fitcheck.world.kernels.waits import tell_of_waits

    said: set[str] = set()

    def begin(room: str) -> None:
        if room in WAITS and room not in said:
            said.add(room)
            tell(instead(sys.stderr) + WAITS[room])

    tell_of_waits(begin)
    if elsewhere and not is_compiled():
        begin("world")


def checked(
    scene: str, given: list[str] | None, facts: bool = False, quiet: bool = False
) -> tuple[World, Report]:
    """Load and check a scene, or end with its mistakes."""
    world = placed(scene, given, quiet)
    return world, _asked(world, scene, facts, quiet)


def placed(scene: str, given: list[str] | None, quiet: bool = False) -> World:
    """Load a scene and lay its runs, or end with its mistakes."""
    return _laid(loaded(scene, given), quiet)


def loaded(scene: str, given: list[str] | None) -> World:
    """Load a scene, its runs not laid, or end with its mistakes."""
    from fitcheck import load

    values = given_values(given)
    text = sys.stdin.read() if scene == "-" else None
    announce_compilation()
    return reading(lambda: load(scene, values) if text is None else load(text, values, name="-"))


def _asked(world: World, scene: str, facts: bool, quiet: bool) -> Report:
    """All checks, their names in one line while they are asked; what a rule asks that cannot be ends it."""
    from fitcheck import check_world
    from fitcheck.outputs.progress import rewritten_line
    from fitcheck.scene.mistakes import ValueMistake

    asking = ""

    def begin(check: str) -> None:
        nonlocal asking
        asking = check
        write(f"asking: {check.replace('_', ' ')}")

    with rewritten_line(sys.stderr, silent=quiet) as write:
        try:
            return check_world(world, facts, begin, fast=True)
        except ValueMistake as wrong:
            line = world.lines.get(asking)
            place = f"{scene}:{line}" if line else scene
            mend = f"; {wrong.mend}" if wrong.mend else ""
            refuse(f"{place}: {asking}: {wrong.problem}{mend}")


def given_values(given: list[str] | None) -> dict[str, str]:
    """Values of options `--set`, by name."""
    values = {}
    for item in given or []:
        name, equals, value = item.partition("=")
        if not equals or not name:
            refuse(f"--set {item}: expected NAME=VALUE, such as --set fan_row=5")
        values[name] = value
    return values


def _laid(world: World, quiet: bool) -> World:
    """The world with its runs laid; says which run is searched for."""
    from fitcheck.outputs.progress import rewritten_line
    from fitcheck.runs.lay import laid

    with rewritten_line(sys.stderr, silent=quiet) as write:
        return laid(world, lambda number, run: write(f"laying runs: {number} of {len(world.wishes)}, {run}"))
