"""Quantities and pipe sizes of the site file, against published factors, `pint`, and ASTM D1785."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from rules.site import quantities, show
from rules.site.pipes import SCHEDULE_40, Pipe, parse_pipe
from rules.site.show import Units

INCH_M = 0.0254  # exactly, by the international yard and pound agreement of 1959
GALLON_M3 = 231 * INCH_M**3  # US gallon = 231 cubic inches exactly, NIST Handbook 44, appendix C


PINT = pint.UnitRegistry()


def inside(kind: str, text: str) -> float:
    """A quantity of the site file as the SI number it is read into."""
    adapter: TypeAdapter[float] = TypeAdapter(getattr(quantities, kind))
    return adapter.validate_python(text)


@pytest.mark.parametrize(
    ("kind", "text", "want"),
    [
        # NIST Special Publication 811, appendix B: inch, foot, gallon, hour, degree Fahrenheit
        ("Length", "1 in", INCH_M),
        ("Length", "1 ft", 0.3048),
        ("Length", "1-1/4 in", 1.25 * INCH_M),
        ("Length", "1 1/2 in", 1.5 * INCH_M),
        ("Length", "3/4 in", 0.75 * INCH_M),
        ("Length", "-40 mm", -0.040),
        ("Length", "40mm", 0.040),
        ("Length", "1.5e-2 m", 0.015),
        ("Length", "1.2 m", 1.2),
        ("Area", "1400 in^2", 1400 * INCH_M**2),
        ("Area", "0.9 m²", 0.9),
        ("Area", "0.9 m**2", 0.9),
        ("Volume", "1 gal", GALLON_M3),
        ("Volume", "1 l", 0.001),
        ("Volume", "40 liter", 0.040),
        ("Flow", "900 gal/h", 900 * GALLON_M3 / 3600),
        ("Flow", "900 gallons per hour", 900 * GALLON_M3 / 3600),
        ("Flow", "900 gph", 900 * GALLON_M3 / 3600),
        ("Flow", "15 gpm", 15 * GALLON_M3 / 60),
        ("Flow", "60 l/min", 0.001),
        ("Flow", "60 lpm", 0.001),
        ("Flow", "3600 l/h", 0.001),
        ("Flow", "3600 lph", 0.001),
        ("Flow", "3.6 m^3/h", 0.001),
        ("Duration", "5 min", 300.0),
        ("Duration", "2 h", 7200.0),
        ("Temperature", "77 degF", 25.0),
        ("Temperature", "25 degC", 25.0),
        ("Salinity", "35 g/kg", 35.0),
        ("Share", "92 %", 0.92),
        ("PulsesPerVolume", "450 pulses/l", 450_000.0),
        ("PulsesPerVolume", "1700 pulses/gal", 1700 / GALLON_M3),
    ],
)
def test_published_factors(kind: str, text: str, want: float) -> None:
    assert inside(kind, text) == pytest.approx(want, rel=1e-12, abs=1e-12)


# (kind, unit in the file, SI unit, least and most number written)
CONVERSIONS = [
    ("Length", "mm", "m", -1e4, 1e4),
    ("Length", "in", "m", -1e3, 1e3),
    ("Size", "ft", "m", 1e-3, 300.0),
    ("Area", "in^2", "m^2", 1e-2, 1e6),
    ("Volume", "gal", "m^3", 0.0, 1e6),
    ("Flow", "gal/h", "m^3/s", 0.0, 1e6),
    ("Flow", "l/min", "m^3/s", 0.0, 1e5),
    ("Duration", "min", "s", 0.0, 1e6),
]


@given(st.sampled_from(CONVERSIONS), st.floats(0.0, 1.0))
def test_what_is_written_in_any_unit_agrees_with_pint(
    conversion: tuple[str, str, str, float, float], at: float
) -> None:
    kind, unit, si, least, most = conversion
    number = least + at * (most - least)
    want = PINT.Quantity(number, unit).to(si).magnitude
    assert inside(kind, f"{number!r} {unit}") == pytest.approx(want, rel=1e-9, abs=1e-15)


@given(st.floats(1e-3, 9.0))
def test_what_is_printed_reads_back_as_it_was(value: float) -> None:
    """Within the last digit printed: 0.1 mm, 0.01 in, 0.1 l/min, 1 gal/h, 0.1 l, 0.01 gal."""
    metric, us = Units.METRIC, Units.US
    assert inside("Length", show.length(value, metric)) == pytest.approx(value, abs=0.00006)
    assert inside("Length", show.length(value, us)) == pytest.approx(value, abs=0.0051 * INCH_M)
    assert inside("Volume", show.volume(value, metric)) == pytest.approx(value, abs=0.00006)
    assert inside("Volume", show.volume(value, us)) == pytest.approx(value, abs=0.0051 * GALLON_M3)
    flow = value / 1000
    assert inside("Flow", show.flow(flow, metric)) == pytest.approx(flow, abs=0.051e-3 / 60)
    assert inside("Flow", show.flow(flow, us)) == pytest.approx(flow, abs=0.51 * GALLON_M3 / 3600)


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("Length", "40"),
        ("Length", "mm"),
        ("Length", ""),
        ("Length", "40 l"),
        ("Length", "nan mm"),
        ("Length", "inf m"),
        ("Length", "101 m"),
        ("Length", "1-1/0 in"),
        ("Length", "40 mm; import os"),
        # read as arithmetic these would be 15 in, 500 mm, 6 mm and a number without end
        ("Length", "1,5 in"),
        ("Length", "1 500 mm"),
        ("Length", "2*3 mm"),
        ("Length", "9**9**9 m"),
        ("Length", "1 m**999999999"),
        ("Size", "0 mm"),
        ("Size", "-1 mm"),
        ("Flow", "-1 l/h"),
        ("Volume", "-1 l"),
        ("Duration", "-1 s"),
        ("Share", "101 %"),
        ("Share", "-1 %"),
        ("Share", "0.5"),
        ("Share", "1.2.3 %"),
        ("Temperature", "41 degC"),
        ("Temperature", "31 degF"),
        ("Temperature", "25"),
        ("Temperature", "1.2.3 degC"),
        ("Salinity", "61 g/kg"),
    ],
)
def test_what_is_no_quantity_of_its_kind_is_refused_with_a_sentence(kind: str, text: str) -> None:
    with pytest.raises(ValidationError) as caught:
        inside(kind, text)
    message = str(caught.value.errors()[0]["msg"])
    assert message.startswith("Value error, ")
    assert len(message) > 30


# ASTM D1785, schedule 40: outside diameter and least wall give the largest bore [in];
# the wall may be thicker by 0.020 in or 12 %, so this is the mean-wall bore [mm]
ASTM_D1785 = {
    "3/4": (0.824, 20.42),
    "1": (1.049, 26.13),
    "1-1/2": (1.610, 40.39),
    "2": (2.067, 51.99),
    "3": (3.068, 77.26),
}


@pytest.mark.parametrize("size", ASTM_D1785)
def test_schedule_40_bores(size: str) -> None:
    largest_in, mean_mm = ASTM_D1785[size]
    outside, wall = SCHEDULE_40[size]
    assert outside - 2 * wall == pytest.approx(largest_in, abs=1e-9)
    pipe = parse_pipe(f"{size} in sch40")
    assert isinstance(pipe, Pipe)
    assert pipe.bore_m * 1000 == pytest.approx(mean_mm, abs=0.01)
    # the mean lies half way between the largest bore and the least one
    assert pipe.bore_least_m == pytest.approx(2 * pipe.bore_m - largest_in * INCH_M, abs=1e-9)


@pytest.mark.parametrize("text", ["1.5 in sch40", "1-1/2 in sch40", "1 1/2 inch SCH 40"])
def test_one_size_may_be_written_in_several_ways(text: str) -> None:
    pipe = parse_pipe(text)
    assert isinstance(pipe, Pipe)
    assert pipe.bore_m * 1000 == pytest.approx(40.39, abs=0.006)


def test_metric_pipe_has_the_nominal_wall_as_its_least_wall() -> None:
    """EN 1452-2, 50 x 2.4 mm: size and tolerance from memory."""
    pipe = parse_pipe("50x2.4 mm")
    assert isinstance(pipe, Pipe)
    thickest_mm = 2.4 * 1.1 + 0.2
    assert pipe.bore_least_m * 1000 == pytest.approx(50 - 2 * thickest_mm)
    assert pipe.bore_m * 1000 == pytest.approx(50 - 2.4 - thickest_mm)
    assert pipe.area_m2 == pytest.approx(math.pi / 4 * pipe.bore_m**2)


@pytest.mark.parametrize(
    "text", ["5 in sch40", "1.5 in", "50x30 mm", "0 mm bore", "2 m bore", "40.9 bore", "", "x bore"]
)
def test_what_is_no_pipe_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_pipe(text)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (4.24, "4.2 s"),
        (9.99, "10.0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (200.0, "3 min 20 s"),
        (7500.0, "2 h 05 min"),
        (math.inf, "no end"),
    ],
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert show.duration(seconds) == words
