"""Pressure loss of a loop at a flow: an estimate, with its range.

Friction by Colebrook's equation, bends by Rennels, steps of the bore by Rennels' sharp contractions and
expansions, all through the `fluids` library; blocks and radiators by the curves given for them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.loops.properties import Liquid

# Drawn tube and plastic, mm (handbook value); and what a tube may have after years, from memory.
SMOOTH, ROUGH = 0.0015, 0.01
# Below the one flow is laminar, above the other turbulent; between them it may be either.
LAMINAR, TURBULENT = 2040.0, 4000.0
# Handbooks' bend losses differ by so much; the insides of fittings are not known; a curve is read off a plot.
BENDS, STEPS, CURVES = 0.1, 0.5, 0.1
# A bend tighter than so many diameters is as good as a sharp corner.
TIGHTEST = 0.5
# A litre an hour in m³/s.
LITRE_AN_HOUR = 1e-3 / 3600


@dataclass(frozen=True)
class Bore:
    """A length of bore: diameter, straight length and arcs in all, mm, and its bends.

    Args:
        owner: the run or fitting.
        diameter: mm.
        length: of the centre line, mm.
        bends: (angle in radians, radius in mm) each; a radius of 0 is a sharp corner.
    """

    owner: str
    diameter: float
    length: float
    bends: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Wide:
    """A wide space on the way: `curve` has its losses (l/h, kPa), where they are given.

    `free` is one that costs nothing but entry and exit: a reservoir, or a pump, that gives pressure.
    """

    owner: str
    curve: tuple[tuple[float, float], ...] = ()
    free: bool = False


@dataclass(frozen=True)
class Loss:
    """A pressure loss, kPa: as worked out, at least, at most."""

    likely: float
    least: float
    most: float

    def __add__(self, other: Loss) -> Loss:
        return Loss(self.likely + other.likely, self.least + other.least, self.most + other.most)


@dataclass(frozen=True)
class Losses:
    """What a loop takes, kPa.

    Args:
        total: of all that is known.
        by_owner: of each run and part, in the order of flow.
        unknown: parts whose loss nobody gave: the total is without them.
        speed: greatest speed in a tube, m/s.
        reynolds: least and greatest Reynolds number in a tube.
    """

    total: Loss
    by_owner: dict[str, Loss]
    unknown: tuple[str, ...]
    speed: float
    reynolds: tuple[float, float]


NOTHING = Loss(0.0, 0.0, 0.0)


def losses(way: Sequence[Bore | Wide], flow: float, liquid: Liquid) -> Losses:
    """Pressure loss once round a loop.

    Args:
        way: bores and wide spaces in the order of flow, the last leading into the first.
        flow: litres an hour.
        liquid: what flows.

    Raises:
        ImportError: the optional library is not installed (`pip install fitcheck[flow]`).
    """
    by_owner: dict[str, Loss] = {}
    unknown: list[str] = []
    speeds, numbers = [0.0], []
    for before, here in zip([*way[-1:], *way[:-1]], way, strict=True):
        loss = _step(before, here, flow, liquid)
        if isinstance(here, Bore):
            loss += _along(here, flow, liquid)
            speeds.append(speed(here.diameter, flow))
            numbers.append(reynolds(here.diameter, flow, liquid))
        elif here.curve:
            loss += curve_loss(here.curve, flow)
        elif not here.free:
            unknown.append(here.owner)
        by_owner[here.owner] = by_owner.get(here.owner, NOTHING) + loss
    total = sum(by_owner.values(), NOTHING)
    spread = (min(numbers, default=0.0), max(numbers, default=0.0))
    return Losses(total, by_owner, tuple(dict.fromkeys(unknown)), max(speeds), spread)


def speed(diameter: float, flow: float) -> float:
    """Mean speed in a bore (mm) at a flow (l/h), m/s."""
    return flow * LITRE_AN_HOUR / (math.pi * (diameter / 1000) ** 2 / 4)


def reynolds(diameter: float, flow: float, liquid: Liquid) -> float:
    """Reynolds number in a bore, mm, at a flow, l/h."""
    return liquid.density * speed(diameter, flow) * diameter / 1000 / liquid.viscosity


def friction(diameter: float, flow: float, liquid: Liquid) -> Loss:
    """Darcy friction factor of a bore, mm, at a flow, l/h."""
    from fluids.friction import friction_factor

    number = reynolds(diameter, flow, liquid)
    likely = float(friction_factor(Re=number, eD=SMOOTH / diameter))
    least = float(friction_factor(Re=number, eD=0.0))
    most = float(friction_factor(Re=number, eD=ROUGH / diameter))
    if LAMINAR <= number <= TURBULENT:
        least = min(least, 64 / number)
    return Loss(likely, least, max(likely, most))


def _along(bore: Bore, flow: float, liquid: Liquid) -> Loss:
    """Friction and bends of a bore: f (L / D) rho v² / 2 + K rho v² / 2, kPa."""
    head = _head(bore.diameter, flow, liquid)
    factor = friction(bore.diameter, flow, liquid)
    share = head * bore.length / bore.diameter
    loss = Loss(factor.likely * share, factor.least * share, factor.most * share)
    number = reynolds(bore.diameter, flow, liquid)
    for angle, radius in bore.bends:
        if radius >= TIGHTEST * bore.diameter:
            # What the arc's length takes is in the friction; the handbook's value holds it too.
            whole = bend(bore.diameter, angle, radius, number)
            arc = factor.likely * radius * angle / bore.diameter
            loss += _spread(max(whole - arc, 0.0) * head, BENDS * whole * head)
        else:
            loss += _spread(mitre(angle) * head, STEPS * mitre(angle) * head)
    return loss


def bend(diameter: float, angle: float, radius: float, number: float) -> float:
    """Loss coefficient of a rounded bend, the friction of its arc included; mm and radians."""
    from fluids.fittings import bend_rounded

    return float(
        bend_rounded(
            Di=diameter / 1000, angle=math.degrees(angle), rc=radius / 1000, Re=number,
            roughness=SMOOTH / 1000, method="Rennels",
        )
    )  # fmt: skip


def mitre(angle: float) -> float:
    """Loss coefficient of a sharp corner, radians."""
    from fluids.fittings import bend_miter

    return float(bend_miter(angle=math.degrees(angle), method="Rennels"))


def _step(before: Bore | Wide, here: Bore | Wide, flow: float, liquid: Liquid) -> Loss:
    """What the change of bore between two costs: entry, exit, contraction, expansion; kPa."""
    from fluids.fittings import contraction_sharp, diffuser_sharp, entrance_sharp, exit_normal

    if isinstance(before, Bore) and isinstance(here, Bore):
        if math.isclose(before.diameter, here.diameter):
            return NOTHING
        narrow, wide = sorted((before.diameter, here.diameter))
        if here.diameter < before.diameter:
            factor, of = float(contraction_sharp(Di1=wide, Di2=narrow)), narrow
        else:
            factor, of = float(diffuser_sharp(Di1=narrow, Di2=wide)), narrow
        return _of(factor, of, STEPS, flow, liquid)
    if isinstance(here, Bore):
        # A curve is measured from port to port: ends and all.
        known = isinstance(before, Wide) and before.curve
        return NOTHING if known else _of(float(entrance_sharp()), here.diameter, STEPS, flow, liquid)
    if isinstance(before, Bore):
        return NOTHING if here.curve else _of(float(exit_normal()), before.diameter, BENDS, flow, liquid)
    return NOTHING


def _of(factor: float, diameter: float, spread: float, flow: float, liquid: Liquid) -> Loss:
    loss = factor * _head(diameter, flow, liquid)
    return _spread(loss, spread * loss)


def _head(diameter: float, flow: float, liquid: Liquid) -> float:
    """rho v² / 2, kPa."""
    return liquid.density * speed(diameter, flow) ** 2 / 2000


def _spread(loss: float, spread: float) -> Loss:
    return Loss(loss, max(loss - spread, 0.0), loss + spread)


def curve_loss(curve: Sequence[tuple[float, float]], flow: float) -> Loss:
    """Loss by a given curve, kPa: linear between its points in the logarithms of both.

    Beyond its ends it goes on as the square of the flow, as turbulent losses do.
    """
    flows, kpa = np.array(curve, float).T
    if flow <= flows[0]:
        loss = kpa[0] * (flow / flows[0]) ** 2
    elif flow >= flows[-1]:
        loss = kpa[-1] * (flow / flows[-1]) ** 2
    else:
        loss = math.exp(np.interp(math.log(flow), np.log(flows), np.log(kpa)))
    return _spread(float(loss), CURVES * float(loss))
