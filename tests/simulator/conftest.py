"""What the tests of the plant share: the demo sites, and a bench of two tanks."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from rules.site.model import Site
from rules.site.parse import parse_site
from tests.simulator.nights import Ask, Nights, site

BENCH = """
[site]
id = "bench"
name = "Bench"

[water]
temperature = "25 degC"
evaporation = "0 %"

[chambers.tank]
bottom = "1000 mm"
rim = "600 mm"
area = "1 m^2"

[chambers.sump]
bottom = "0 mm"
rim = "600 mm"
area = "2 m^2"
level = "300 mm"

[passages.edge]
kind = "weir"
from = "tank"
to = "sump"
crest = "400 mm"
width = "200 mm"

[passages.riser]
kind = "branch"
pump = "lifter"
to = "tank"
outlet = "350 mm"
pipe = "40.94 mm bore"
length = "1.5 m"
fittings = ["elbow-90", "exit"]

[pumps.lifter]
from = "sump"
intake = "50 mm"
run_on = "2 s"
curve = [
  { flow = "0 l/min", head = "3 m" },
  { flow = "60 l/min", head = "2 m" },
  { flow = "100 l/min", head = "0 m" },
]

[outputs.lifter-relay]
kind = "pump"
pump = "lifter"
pin = 17
safe = "low"
"""


@pytest.fixture
def bench_text() -> str:
    """The site file of the bench, to be changed."""
    return BENCH


@pytest.fixture
def bench() -> Site:
    """A tank of 1 m2 with a weir of 0.2 m over a sump."""
    return parse_site(BENCH, "bench.toml")


@pytest.fixture(scope="session")
def classroom() -> Site:
    """The demo site with a siphon drain."""
    return site("classroom")


@pytest.fixture(scope="session")
def rack() -> Site:
    """The demo site with four displays and no siphon drain."""
    return site("rack")


@pytest.fixture(scope="session")
def workshop() -> Site:
    """The site that no drill was written for."""
    return site("workshop")


def _asked(item: pytest.Item) -> Ask | None:
    """The night that a test has as its parameter, if it has one; other tests have other asks."""
    found = item.callspec.params.get("asked") if hasattr(item, "callspec") else None
    return found if isinstance(found, Ask) else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Nights last: they run in the background meanwhile."""
    items.sort(key=lambda item: _asked(item) is not None)


@pytest.fixture(scope="session", autouse=True)
def night(request: pytest.FixtureRequest) -> Iterator[Nights]:
    """Runs nights; those that the tests of this session have as a parameter `asked` run ahead."""
    asks = [ask for item in request.session.items if (ask := _asked(item)) is not None]
    with Nights(asks) as nights:
        yield nights
