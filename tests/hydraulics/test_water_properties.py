"""Sea water against the current equation of state and published viscosities."""

from __future__ import annotations

import gsw
import pytest

from rules.hydraulics.water import sea_water

ABSOLUTE_35 = 35.16504  # g/kg of sea water whose practical salinity is 35 (TEOS-10)


@pytest.mark.parametrize("temperature_c", [0.5, 10.0, 20.0, 25.0, 28.0, 39.0])
@pytest.mark.parametrize("salinity_g_kg", [0.0, 10.0, ABSOLUTE_35, 41.0])
def test_density_agrees_with_the_thermodynamic_equation_of_2010(temperature_c, salinity_g_kg):
    """Source: gsw (TEOS-10). rtol 2e-5: the equations of 1980 and 2010 differ by up to 15 g/m3."""
    expected = gsw.rho_t_exact(salinity_g_kg, temperature_c, 0.0)
    assert sea_water(temperature_c, salinity_g_kg).density_kg_m3 == pytest.approx(
        float(expected), rel=2e-5
    )


@pytest.mark.parametrize(
    ("temperature_c", "expected"), [(20.0, 1024.7660), (25.0, 1023.34363), (28.0, 1022.3955)]
)
def test_density_of_reef_water_by_value(temperature_c, expected):
    """Source: gsw at practical salinity 35, printed values; rtol 5e-6 between the two equations."""
    assert sea_water(temperature_c, ABSOLUTE_35).density_kg_m3 == pytest.approx(expected, rel=5e-6)


def test_density_check_value_of_the_equation_itself():
    """Source: UNESCO technical papers in marine science 44: S 35, t 25 (1968 scale): 1023.343."""
    water = sea_water(25.0 / 1.00024, ABSOLUTE_35)
    assert water.density_kg_m3 == pytest.approx(1023.343, abs=1e-3)


@pytest.mark.parametrize(
    ("temperature_c", "expected"), [(20.0, 1.07663e-3), (25.0, 9.58828e-4), (30.0, 8.60649e-4)]
)
def test_viscosity_by_value(temperature_c, expected):
    """Source: Sharqawy, Lienhard and Zubair 2010, eq. 22 and 23, at 35 g/kg; rtol of the print."""
    assert sea_water(temperature_c, 35.0).viscosity_pa_s == pytest.approx(expected, rel=1e-5)


def test_viscosity_agrees_with_an_independent_measurement():
    """Source: Millero 1974, 25 degC, 40 g/kg; rtol 1.5 %, the accuracy the formula states."""
    assert sea_water(25.0, 40.0).viscosity_pa_s == pytest.approx(9.6541e-4, rel=1.5e-2)


def test_fresh_water():
    """Source: usual tables of water at 20 degC: 998.2 kg/m3, 1.002 mPa s (from memory)."""
    water = sea_water(20.0, 0.0)
    assert water.density_kg_m3 == pytest.approx(998.2, rel=1e-4)
    assert water.viscosity_pa_s == pytest.approx(1.002e-3, rel=2e-3)
    assert water.kinematic_m2_s == pytest.approx(water.viscosity_pa_s / water.density_kg_m3)


@pytest.mark.parametrize(
    ("temperature_c", "salinity_g_kg"),
    [(-0.1, 35.0), (40.1, 35.0), (25.0, -1.0), (25.0, 43.0), (float("nan"), 35.0)],
)
def test_water_outside_the_formulas_is_refused(temperature_c, salinity_g_kg):
    """No figure comes out of a formula that does not cover it."""
    with pytest.raises(ValueError, match="outside what the formulas cover"):
        sea_water(temperature_c, salinity_g_kg)
