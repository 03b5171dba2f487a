"""Density and viscosity of water from a reference library: IAPWS-95, and the IAPWS 2008 viscosity release."""

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
    from chemicals.iapws import iapws95_rho
    from chemicals.viscosity import mu_IAPWS

    kelvin = celsius + 273.15
    density = float(iapws95_rho(kelvin, ROOM))  # type: ignore[no-untyped-call]
    return Liquid(density, float(mu_IAPWS(kelvin, density)))
