"""Density and viscosity of fresh and sea water at the surface."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

TEMPERATURE_MOST_C = 40.0
SALINITY_MOST_G_KG = 42.0 * 35.16504 / 35.0
"""End of the range of the equation of state: practical salinity 42, as g/kg."""


@dataclass(frozen=True, slots=True)
class Water:
    """What the hydraulics need to know of the water."""

    density_kg_m3: float
    viscosity_pa_s: float

    @property
    def kinematic_m2_s(self) -> float:
        """Kinematic viscosity [m2/s]."""
        return self.viscosity_pa_s / self.density_kg_m3


def _check(temperature_c: float, salinity_g_kg: float) -> None:
    if not 0.0 <= temperature_c <= TEMPERATURE_MOST_C:
        raise ValueError(
            f"water of {temperature_c:g} degC is outside what the formulas cover, 0 to 40 degC"
        )
    if not 0.0 <= salinity_g_kg <= SALINITY_MOST_G_KG:
        raise ValueError(
            f"water of {salinity_g_kg:g} g/kg is outside what the formulas cover, 0 to 42 g/kg"
        )


def density_kg_m3(temperature_c: float, salinity_g_kg: float) -> float:
    """Density of sea water at one atmosphere [kg/m3].

    rho = rho_w(t) + A(t) S + B(t) S^1.5 + C S^2, with t on the scale of 1968 (1.00024 x the scale
    of 1990) and S the practical salinity (35 / 35.16504 x the absolute one in g/kg).

    Range: 0 to 40 degC, practical salinity 0 to 42; ValueError outside.
    Source: one-atmosphere equation of state of sea water 1980, Millero and Poisson 1981.

    >>> round(density_kg_m3(25.0 / 1.00024, 35.16504), 3)
    1023.343
    """
    _check(temperature_c, salinity_g_kg)
    t = 1.00024 * temperature_c
    s = salinity_g_kg * 35.0 / 35.16504
    fresh = 999.842594 + t * (
        6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9)))
    )
    a = 8.24493e-1 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)))
    b = -5.72466e-3 + t * (1.0227e-4 - t * 1.6546e-6)
    return fresh + s * (a + b * sqrt(s) + 4.8314e-4 * s)


def viscosity_pa_s(temperature_c: float, salinity_g_kg: float) -> float:
    """Dynamic viscosity of sea water [Pa s].

    mu = mu_w (1 + A S + B S^2), S in kg/kg; mu_w = 4.2844e-5 + 1 / (0.157 (t + 64.993)^2 - 91.296).

    Range enforced: 0 to 40 degC, 0 to 42 g/kg (the formula itself reaches 180 degC, 150 g/kg).
    Source: Sharqawy, Lienhard and Zubair 2010, eq. 22 and 23; stated accuracy 1.5 %.

    >>> round(viscosity_pa_s(25.0, 35.0), 8)
    0.00095883
    """
    _check(temperature_c, salinity_g_kg)
    t = temperature_c
    s = salinity_g_kg / 1000.0
    fresh = 4.2844e-5 + 1.0 / (0.157 * (t + 64.993) * (t + 64.993) - 91.296)
    a = 1.541 + 1.998e-2 * t - 9.52e-5 * t * t
    b = 7.974 - 7.561e-2 * t + 4.724e-4 * t * t
    return fresh * (1.0 + a * s + b * s * s)


def sea_water(temperature_c: float, salinity_g_kg: float) -> Water:
    """Water of a temperature [degC, 0 to 40] and salinity [g/kg, 0 to 42]; else ValueError."""
    return Water(
        density_kg_m3(temperature_c, salinity_g_kg), viscosity_pa_s(temperature_c, salinity_g_kg)
    )
