"""A site that nobody had in mind: drills run on it or say why not, and the guard holds."""

from __future__ import annotations

import pytest

from rules.site.model import Site
from simulator.library import drills_by_group, load_drill
from simulator.night.runner import run
from simulator.signals.stand import PlantBoard
from simulator.story.drill_file import parse_drill
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.story.script import Script
from simulator.water.plant import Plant
from tests.simulator.nights import Ask, Nights, failed

LACKS = {
    "Workshop reef has no top-off valve": (
        "drain-blocked-while-filling", "guard-killed-while-filling", "healthy-night",
        "leak-told-by-fresh-water", "long-healthy-night", "return-runs-low", "slow-leak-hidden",
        "top-off-half-open", "top-off-stuck-open", "top-off-stuck-open-drain-blocked",
        "top-off-stuck-shut", "valve-relay-welded",
    ),
    "Workshop reef has no reservoir": ("pump-draws-air", "reservoir-empty", "return-runs-dry"),
    "Workshop reef has no first baffle": ("first-baffle-blocked", "first-baffle-shut"),
    "Workshop reef has no first screen": (
        "sponge-and-overflow-blocked", "sponge-clogs-over-a-night", "sponge-rinsed",
    ),
    "Workshop reef has no top-off float": (
        "floats-swapped", "top-off-float-stuck-dry", "top-off-float-stuck-wet",
        "top-off-never-asked",
    ),
    "Workshop reef has no level sensor of the first overflow box": (
        "main-drain-grows-over", "main-drain-loses-a-little", "main-drain-loses-a-tenth",
    ),
    'Workshop reef has no row "weak-flow" of its own': ("own-row-weak-flow",),
    "Workshop reef has no spare pump": ("spare-pump-dead",),
}  # fmt: skip
SAID = {name: sentence for sentence, names in LACKS.items() for name in names}
WATERS = ("drains", "pump", "sump and screens", "refugium and branches", "power")
PLAYED = [
    name
    for group, drills in drills_by_group().items()
    for name in drills
    if name not in SAID and (group in WATERS or "water" in group)
]
NO_GUARDING = frozenset({"drain-capacity", "spill-edge"})

NO_ROLE = """
title = "Nothing is named"
story = "The two pumps of the water change have drifted apart in a hot and dry week."
starts_at = "04:00"
lasts = "20 min"
[[happens]]
at = "0 s"
what = "dry air"
a_day = "5 %"
[[happens]]
at = "1 min"
over = "1 min"
what = "water change differs"
share = "80 %"
more = "in"
[[happens]]
at = "8 min"
what = "power cut"
lasts = "1 min"
cause = true
[[must]]
what = "alarm"
hazard = "mains"
within = "5 s"
[[must]]
what = "pump runs at the end"
[[must_not]]
what = "alarm"
hazard = "chamber-high"
[[must_not]]
what = "spill"
[[must_not]]
what = "dry run"
"""


@pytest.mark.parametrize("asked", [Ask(name, "workshop") for name in PLAYED], ids=str)
def test_guard_holds_what_no_drill_was_written_for(asked: Ask, night: Nights) -> None:
    outcome = night(asked)
    assert outcome.not_applicable is None
    assert outcome.passed, f"seed {asked.seed}: {failed(outcome)}"
    if (
        asked.name != "slot-blocked"
    ):  # where no float hangs, a pad on the floor is the first to know
        assert outcome.spilled_total_m3 == 0.0
    assert outcome.needless_stop_s == 0.0


@pytest.mark.parametrize("name", SAID)
def test_what_it_lacks_is_said(name: str, workshop: Site) -> None:
    outcome = run(workshop, load_drill(name), 11)
    assert outcome.not_applicable == SAID[name]
    assert not outcome.passed
    assert outcome.findings == ()


@pytest.mark.parametrize(
    "asked", [Ask("all-drains-blocked", "workshop", without=NO_GUARDING, lasts_s=300.0)], ids=str
)
def test_it_spills_with_its_protection_out(asked: Ask, night: Nights) -> None:
    outcome = night(asked)
    assert outcome.spilled_m3["display"] > 0.001
    assert not outcome.passed


def test_a_drill_that_names_no_role_runs(workshop: Site, classroom: Site) -> None:
    """What comes in too much is a trickle: the guard rides over a power cut, and nothing else."""
    drill = parse_drill(NO_ROLE, "no-role.toml")
    assert not any(hasattr(happening, "where") for happening in drill.happens)
    outcome = run(workshop, drill, 11)
    assert outcome.passed, failed(outcome)
    assert {hazard for _, hazard, _ in outcome.alarms} == {"mains"}
    assert outcome.needless_stop_s == 0.0
    elsewhere = run(classroom, drill, 11)
    assert elsewhere.not_applicable == "Classroom reef has no water change"


def test_its_water_change_comes_to_differ(workshop: Site) -> None:
    """Over a minute, by 80 % of what is exchanged; "out" would be the other way."""
    for more, sign in (("in", 1.0), ("out", -1.0)):
        drill = parse_drill(NO_ROLE.replace('more = "in"', f'more = "{more}"'), "no-role.toml")
        plant = Plant(workshop, 0, exact=True)
        script = Script(workshop, PlantBoard(workshop, plant), drill)
        change, seen = plant.water_change, []
        assert change is not None
        for t_s in (59.0, 60.0, 90.0, 120.0, 200.0):
            script.advance(t_s)
            seen.append(change.differs)
        assert seen == pytest.approx([0.0, 0.0, sign * 0.4, sign * 0.8, sign * 0.8])
        unequal_m3_s = change.coming_m3_s - change.going_m3_s
        assert unequal_m3_s == pytest.approx(sign * 0.8 * 0.060 / 86400)


def test_its_parts_have_their_words(workshop: Site) -> None:
    assert resolve(workshop, "chamber", "every display") == ("display",)
    assert resolve(workshop, "chamber", "return chamber") == ("sump",)
    assert resolve(workshop, "chamber", "inlet chamber") == ("bay",)
    assert resolve(workshop, "passage", "first under-baffle of the inlet chamber") == ("slot",)
    with pytest.raises(NoSuchRoleError, match="has no screen"):
        resolve(workshop, "passage", "screen")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_water_appears_or_vanishes_in_it(workshop: Site, seed: int) -> None:
    """Through blocks, stops, leaks, buckets and an unequal water change; no chamber under none."""
    plant = Plant(workshop, seed)
    plant.settle()
    total_m3 = plant.total_m3
    plant.evaporating_m3_s *= 1000
    assert plant.water_change is not None
    plant.water_change.differs = 1.0
    for number in range(300):
        if number % 50 == 10:
            plant.condition[("main-drain", "open-drain", "slot")[number // 50 % 3]] = 0.0
        if number == 200:
            plant.condition.update(dict.fromkeys(plant.condition, 1.0))
        plant.command("lifter-relay", number % 70 > 20)
        plant.rises["riser"].beside = 0.2 if 100 < number < 140 else 0.0
        plant.leak_m3_s = {"bay": 1e-4} if number % 100 > 60 else {}
        plant.stream_m3_s = {"sump": -5e-4 if number % 100 > 50 else 3e-4}
        plant.advance(1.0)
        assert plant.total_m3 == pytest.approx(total_m3, rel=1e-9)
        assert min(plant.volume_m3) >= 0.0
    assert plant.leaked_m3 > 0.0
    assert plant.evaporated_m3 > 0.0


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_good_day_there_stays_as_it_is(workshop: Site, seed: int) -> None:
    """Its valve was set by nobody's wish: the siphon finds a level of its own and holds it."""
    plant = Plant(workshop, seed)
    plant.settle()
    assert plant.level_m("sump") == pytest.approx(0.220, abs=1e-6)
    stood_m = plant.levels_m()
    plant.advance(300.0)
    for key, level_m in plant.levels_m().items():
        assert level_m == pytest.approx(stood_m[key], abs=0.004 if key == "box" else 0.0005)
    assert plant.spilled_total_m3 == 0.0
    assert plant.flows_m3_s["main-drain"] > 0.75 * plant.flows_m3_s["riser"]
