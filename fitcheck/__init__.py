"""fitcheck: does it fit? Checks the inside of a computer case from a text file.

    import fitcheck
    report = fitcheck.check("scenes/dome_render.yaml", {"fan_row": 5})
    print(report.verdict, [f.sentence for f in report.findings])

`load` gives the placed world alone, `check_world` asks it, `render` draws it, `placements` asks parts of it
in a great many places.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitcheck.report import Report
    from fitcheck.world.placements import Placements
    from fitcheck.world.world import World

__version__ = "0.1.0"
__all__ = ["__version__", "check", "check_world", "load", "placements", "render"]


def load(source: Path | str, values: Mapping[str, object] | None = None, name: str | None = None) -> World:
    """Read a scene and place its parts.

    Args:
        source: path of a scene file, or (with `name`) the text of one.
        values: scene parameters to set, by name, as they would be typed.
        name: what to call a scene given as text; its relative paths start at the working folder.

    Raises:
        Mistakes: all mistakes of the file, each with its place and mend.
    """
    from fitcheck.checks import RULE_TYPES
    from fitcheck.scene.mistakes import Mistakes
    from fitcheck.scene.read import read_scene
    from fitcheck.world.forest import prepare
    from fitcheck.world.resolve import resolve, second_look

    given = {key: str(value) for key, value in (values or {}).items()}
    where = Path(source) if name is None else str(source)
    try:
        scene = read_scene(where, given, RULE_TYPES, name)
    except Mistakes as wrong:
        if wrong.sound is None:
            raise
        raise Mistakes([*wrong.items, *second_look(wrong.sound)]) from None
    world = resolve(scene)
    prepare(world)
    return world


def check(source: Path | str, values: Mapping[str, object] | None = None, name: str | None = None) -> Report:
    """Read, place, and ask every check; arguments as for `load`."""
    return check_world(load(source, values, name))


def check_world(
    world: World, facts: bool = True, tell: Callable[[str], None] | None = None, fast: bool = False
) -> Report:
    """Ask every check of a placed world; without `facts`, only what bears on the verdict.

    `tell` hears the name of each check before it is asked. `fast`, for a scene that is asked by itself:
    what was asked before is remembered, on disk, and on Linux a copy of the process asks some of the checks.

    Raises:
        ValueMistake: a rule asks what cannot be asked of this world.
    """
    from fitcheck.report import check_world as ask

    return ask(world, facts, tell, fast)


def placements(world: World, moving: Sequence[Sequence[str]]) -> Placements:
    """Parts of a world that take many other places at once: which interfere, how near they come.

    For searches of your own: a hundred thousand verdicts a second. Moves are given as arrays, see
    `Placements.interfere`. Pairs that the scene lets touch are left out, wherever the parts are moved to.

    Args:
        world: as loaded.
        moving: names of the parts of each group that moves as one.

    Raises:
        ValueMistake: a name that the scene does not have.
    """
    from fitcheck.checks.names import choose
    from fitcheck.world.bodies import bodies
    from fitcheck.world.contacts import permitted
    from fitcheck.world.placements import Placements

    solids = bodies(world)
    groups = []
    for names in moving:
        chosen = [choose(world, name) for name in names]
        groups.append(
            [k for k, b in enumerate(solids.all) if any(c.holds(b.part_name, b.solid) for c in chosen)]
        )
    return Placements(solids, groups, permitted(world, solids))


def render(world: World, out: Path | str, view: str | None = None, report: Report | None = None) -> None:
    """Draw a view (of the scene file, or the clearance overview) as a PNG file.

    Raises:
        NoPicture: off-screen drawing is not possible here; says what to install.
    """
    from fitcheck.outputs.pictures import render_file

    render_file(world, report or check_world(world, facts=False), Path(out), view)
