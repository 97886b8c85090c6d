"""What stands in the guard's place does what such a thing would do, and no more."""

from __future__ import annotations

import pytest

from rules.signals import EventKind
from rules.site.model import Site
from simulator import library
from simulator.night.outcome import Outcome
from simulator.night.runner import NONE, run
from simulator.night.standins import STANDINS, foreseen_s, harmed_s
from simulator.story.drill import Drill


def _cuts(outcome: Outcome) -> list[float]:
    return [event.t_s for event in outcome.events if event.kind is EventKind.PUMP_CUT]


def _night(site: Site, name: str, keeper: str) -> Outcome:
    return run(site, library.load_drill(name), 1, keeper=keeper, trace=False)


@pytest.fixture(scope="module", params=["classroom", "rack"])
def site(request: pytest.FixtureRequest) -> Site:
    return library.load_site(request.param)


def test_a_high_float_keeps_blocked_drains_off_the_floor_and_hunts(site: Site) -> None:
    """It holds the water, and starts the pump again and again: nothing latches."""
    night = _night(site, "all-drains-blocked", "high-float")
    assert night.spilled_total_m3 == 0.0
    assert len(_cuts(night)) > 10


def test_a_high_float_alone_lets_the_pump_run_dry_and_two_do_not(site: Site) -> None:
    """The low float is what makes the difference."""
    assert _night(site, "return-runs-dry", "high-float").dry_s > 100.0
    assert _night(site, "return-runs-dry", "two-floats").dry_s == 0.0


def test_a_low_flow_relay_comes_late_to_blocked_drains_and_stays_off(site: Site) -> None:
    """The flow falls only when the pump draws air: by then water is on the floor."""
    night = _night(site, "all-drains-blocked", "low-flow")
    assert night.spilled_total_m3 > 0.005
    assert len(_cuts(night)) == 1


def test_a_low_flow_relay_takes_a_power_cut_for_none(site: Site) -> None:
    """It hangs on the same mains."""
    assert _cuts(_night(site, "power-cut", "low-flow")) == []
    assert len(_cuts(_night(site, "pump-dies", "low-flow"))) == 1


def test_the_oracle_cuts_at_the_onset_and_only_where_harm_would_come(site: Site) -> None:
    """All drains blocked: at once. A pump that dies harms nobody, so it does nothing."""
    drill = library.load_drill("all-drains-blocked")
    onset_s = drill.cause_s
    assert onset_s is not None
    assert foreseen_s(site, drill, 1) == onset_s
    night = run(site, drill, 1, keeper="oracle", trace=False)
    assert _cuts(night) == pytest.approx([onset_s], abs=0.11)
    assert night.spilled_total_m3 == 0.0
    assert night.dry_s == 0.0
    assert _cuts(_night(site, "pump-dies", "oracle")) == []


def test_harm_is_when_the_unguarded_night_first_does_it(site: Site) -> None:
    """The look ahead ends where the whole night shows the first water or the first dry pump."""
    drill = library.load_drill("all-drains-blocked")
    harm_s = harmed_s(site, drill, 1)
    whole = run(site, drill, 1, keeper=NONE)
    rows = dict(zip(whole.trace.column("t_s"), whole.trace.column("spilled_m3"), strict=True))
    first_s = next((t_s for t_s, spilled in rows.items() if spilled >= 1e-4), drill.lasts)
    assert 120.0 < harm_s <= first_s + 1.0


@pytest.mark.parametrize("keeper", list(STANDINS))
def test_without_float_or_meter_they_do_nothing(keeper: str) -> None:
    """A site without sensors: every set-up lets the pump run."""
    bare = library.load_site("classroom").model_copy(update={"sensors": {}})
    drill = Drill.model_validate(
        {
            "title": "t",
            "story": "s",
            "starts_at": "22:00",
            "lasts": "3 min",
            "happens": [{"at": "60 s", "what": "pump dies", "where": "return-pump"}],
            "must_not": [{"what": "spill"}],
        }
    )
    night = run(bare, drill, 1, keeper=keeper, trace=False)
    assert _cuts(night) == []
    assert not [e for e in night.events if e.kind is EventKind.TOP_OFF_OPENED]
