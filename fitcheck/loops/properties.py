"""Density and viscosity of water, from a reference library (CoolProp, IAPWS-95 and IAPWS 2008)."""

from __future__ import annotations

from dataclasses import dataclass

# Pressure of the room, Pa.
ROOM = 101_325.0


@dataclass(frozen=True)
class Liquid:
    """Density, kg/m³, and dynamic viscosity, Pa s."""

    density: float
    viscosity: float


def water(celsius: float) -> Liquid:
    """Water at a temperature and the pressure of the room.

    Raises:
        ImportError: the optional library is not installed (`pip install fitcheck[flow]`).
    """
    from CoolProp.CoolProp import PropsSI

    def ask(what: str) -> float:
        return float(PropsSI(what, "T", celsius + 273.15, "P", ROOM, "Water"))

    return Liquid(ask("D"), ask("V"))
