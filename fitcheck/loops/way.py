"""What the coolant flows through on its way round, in the terms of the pressure loss."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fitcheck.loops.circuit import Circuit, Step
from fitcheck.loops.flow import Bore, Wide
from fitcheck.loops.plumbing import Net, bore_of
from fitcheck.parts.features import Wet
from fitcheck.parts.tubes import angles_between
from fitcheck.runs.route import Route


def way(found: Net, around: Circuit, curves: Mapping[str, Sequence[Sequence[float]]]) -> list[Bore | Wide]:
    """Bores and wide spaces in the order of flow.

    Args:
        found: what is joined to what.
        around: the way round.
        curves: pressure losses (l/h, kPa) of parts by full name.
    """
    return [one for step in around.steps for one in _passed(found, step, curves)]


def _passed(found: Net, step: Step, curves: Mapping[str, Sequence[Sequence[float]]]) -> Iterator[Bore | Wide]:
    run = found.runs.get(step.item)
    if run is not None:
        assert run.corners is not None
        bends = tuple((bend.angle, run.radius) for bend in Route(run.corners, run.radius).bends)
        yield Bore(step.item, bore_of(run), run.length, bends)
        return
    part = found.parts[step.item]
    ends = {spot.removeprefix(f"{step.item}.") for spot in (step.enters, step.leaves)}
    for wet in part.shape.wet.values():
        if wet.line is not None and ends <= set(wet.ports):
            yield _channel(step.item, wet)
            return
    curve = tuple((float(flow), float(loss)) for flow, loss in curves.get(step.item, ()))
    yield Wide(step.item, curve, _free(tuple(part.shape.wet.values())))


def _free(spaces: Sequence[Wet]) -> bool:
    """Whether a part costs nothing but entry and exit: it gives pressure, or is empty inside."""
    if any(space.pump is not None for space in spaces):
        return True
    return all(space.share == 1 and not space.unsure for space in spaces)


def _channel(owner: str, wet: Wet) -> Bore:
    assert wet.line is not None
    legs = np.diff(wet.line, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    turns = angles_between(legs / lengths[:, None])
    return Bore(owner, wet.bore, float(lengths.sum()), tuple((float(t), 0.0) for t in turns if t > 1e-6))
