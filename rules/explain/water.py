"""The page of the viscosity of the site's water."""

from __future__ import annotations

from rules.explain.ground import Ground
from rules.explain.page import VISCOSITY, Page, Unit
from rules.hydraulics.water import density_kg_m3, sea_water, viscosity_pa_s

DEGREE = Unit("degC")
SALINITY = Unit("g/kg")
DENSITY = Unit("kg/m3")
DYNAMIC = Unit("Pa s")

PURE = (
    "999.842594 + 6.793952e-2 * tp - 9.095290e-3 * tp^2 + 1.001685e-4 * tp^3 "
    "- 1.120083e-6 * tp^4 + 6.536332e-9 * tp^5"
)
FIRST = "(8.24493e-1 - 4.0899e-3 * tp + 7.6438e-5 * tp^2 - 8.2467e-7 * tp^3 + 5.3875e-9 * tp^4)"
SECOND = "(1.0227e-4 * tp - 5.72466e-3 - 1.6546e-6 * tp^2)"
"""The equation of state of sea water 1980, as it is printed: see `rules.hydraulics.water`."""


def viscosity(ground: Ground, figure: str) -> Page:
    """The page of the kinematic viscosity, from temperature and salinity."""
    table = ground.site.water
    water = sea_water(table.temperature, table.salinity)
    page = Page(figure, "kinematic viscosity of the site's water", ground.units)
    page.section("Asked")
    page.say("How hard the water resists shearing, for its weight; friction in pipes hangs on it.")
    page.section("Given")
    page.given("t", table.temperature, DEGREE, "temperature", "water.temperature")
    page.given("S", table.salinity, SALINITY, "salinity", "water.salinity")
    page.section("Worked")
    t, kg_kg = table.temperature, table.salinity / 1000.0
    pure = viscosity_pa_s(t, 0.0)
    title = "Viscosity of fresh water (Sharqawy, Lienhard and Zubair 2010, eq. 23)"
    formula = "4.2844e-5 + 1 / (0.157 * (t + 64.993)^2 - 91.296)"
    page.step(title, "muw", formula, pure, DYNAMIC)
    page.step("Salinity as a share", "Sk", "S / 1000", kg_kg)
    page.step(
        "Viscosity with its salt (the same, eq. 22; stated accuracy 1.5 %)",
        "mu",
        "muw * (1 + (1.541 + 1.998e-2 * t - 9.52e-5 * t^2) * Sk "
        "+ (7.974 - 7.561e-2 * t + 4.724e-4 * t^2) * Sk^2)",
        water.viscosity_pa_s,
        DYNAMIC,
    )
    page.step("Temperature on the scale of 1968", "tp", "1.00024 * t", 1.00024 * t, DEGREE)
    practical = table.salinity * 35.0 / 35.16504
    page.step("Practical salinity", "Sp", "S * 35 / 35.16504", practical)
    title = "Density of fresh water (equation of state 1980, Millero and Poisson 1981)"
    page.step(title, "rhow", PURE, density_kg_m3(t, 0.0), DENSITY)
    formula = f"rhow + {FIRST} * Sp + {SECOND} * Sp^1.5 + 4.8314e-4 * Sp^2"
    page.step("Density with its salt (the same)", "rho", formula, water.density_kg_m3, DENSITY)
    title = "Kinematic viscosity"
    page.step(title, "nu", "mu / rho", ground.viscosity_m2_s, VISCOSITY)
    page.range_and_doubt(
        "The formulas hold from 0 to 40 degC and from 0 to 42 g/kg, at one atmosphere. In "
        "turbulent flow friction goes with about its fourth root (Blasius 1913), so a tenth more "
        "takes at most 1.3 % off the flow of a full pipe."
    )
    page.result(ground.viscosity_m2_s, VISCOSITY)
    return page
