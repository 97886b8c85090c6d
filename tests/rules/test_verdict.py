"""The verdict on a site: what makes it unsafe, what is a condition, and what it must not say."""

from __future__ import annotations

import pytest

from rules.assessment.assess import assess
from rules.engine import plan_for
from rules.verdict import Finding, Verdict, Weight, judge
from tests.rules.nights import Night, changed, edited, site_of, text_of, without_table

CLASSROOM = text_of("classroom")


def verdict_on(text: str) -> Verdict:
    """The verdict on a site's text."""
    plan = plan_for(site_of(text))
    return judge(plan, assess(plan))


def unsafe(text: str) -> list[Finding]:
    """Why a site is not safe; each with its place and a remedy."""
    verdict = verdict_on(text)
    assert verdict.words == "NOT SAFE TO LEAVE"
    found = [finding for finding in verdict.findings if finding.weight is Weight.UNSAFE]
    for finding in found:
        assert finding.subject
        assert finding.remedy
    assert verdict.findings[0].weight is Weight.UNSAFE, "the heaviest comes first"
    return found


def conditions(text: str) -> list[Finding]:
    """On what conditions a site is sound."""
    verdict = verdict_on(text)
    assert verdict.words == "SOUND WITH CONDITIONS"
    found = [finding for finding in verdict.findings if finding.weight is Weight.CONDITION]
    for finding in found:
        assert finding.subject
        assert finding.remedy
    return found


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_the_demo_sites_are_sound(name: str) -> None:
    verdict = verdict_on(text_of(name))
    assert verdict.words == "SOUND"
    assert verdict.weight is Weight.FACT
    assert len(verdict.findings) > 5


# --- not safe ------------------------------------------------------------------------------------


def test_a_pump_that_the_guard_cannot_cut() -> None:
    found = unsafe(without_table(CLASSROOM, "outputs.pump-relay"))
    assert any(
        "the guard cannot cut it" in f.sentence and f.subject == "return pump" for f in found
    )
    assert any("nothing the guard has would stop it" in f.sentence for f in found)


def test_no_emergency_drain_and_a_float_too_high_for_the_main_drain() -> None:
    text = without_table(CLASSROOM, "passages.emergency-drain")
    text = edited(text, "sensors.display-high", height='"599 mm"')
    text = edited(text, "sensors.box-watch", height='"349 mm"')
    found = unsafe(text)
    main = [f for f in found if f.sentence.startswith("main drain blocked")]
    assert len(main) == 1
    assert main[0].subject == "overflow box"
    assert "too late" in main[0].sentence
    assert "hang the float lower" in main[0].remedy


def test_a_drain_down_that_does_not_fit_below() -> None:
    text = edited(CLASSROOM, "passages.riser", outlet='"100 mm"', siphon_break=None)
    found = unsafe(text)
    assert any("every power cut spills" in f.sentence and f.subject == "return pump" for f in found)


def test_a_pump_that_fills_the_display_before_any_float_can_speak() -> None:
    text = changed(
        CLASSROOM,
        ('{ flow = "0 l/h", head = "3.0 m" }', '{ flow = "0 l/h", head = "6.0 m" }'),
        ('{ flow = "2000 l/h", head = "2.55 m" }', '{ flow = "4000 l/h", head = "5.5 m" }'),
        ('{ flow = "4000 l/h", head = "1.65 m" }', '{ flow = "8000 l/h", head = "4.5 m" }'),
        ('{ flow = "5400 l/h", head = "0.2 m" }', '{ flow = "12000 l/h", head = "0.2 m" }'),
    )
    found = unsafe(text)
    assert any("blocked" in f.sentence and f.subject == "overflow box" for f in found)
    assert any("slow the pump" in f.remedy for f in found)


def test_drains_that_carry_less_than_the_pump_lifts() -> None:
    found = unsafe(edited(CLASSROOM, "passages.main-drain", pipe='"3/4 in sch40"'))
    assert any("margin 0." in f.sentence and f.subject == "overflow box" for f in found)
    assert any("throttle the pump, or fit a larger drain" in f.remedy for f in found)


def test_a_run_on_that_outlasts_the_warning() -> None:
    found = unsafe(edited(CLASSROOM, "pumps.return-pump", run_on='"60 s"'))
    assert any("too late" in f.sentence for f in found)


def test_a_display_whose_comb_may_block_unseen() -> None:
    found = unsafe(without_table(CLASSROOM, "sensors.display-high"))
    assert any("comb blocked" in f.sentence and f.subject == "display" for f in found)


def test_a_watch_that_would_not_cut_does_not_count_as_a_warning() -> None:
    """Near the working level it is a notice only; the display's float must then be in time."""
    near = edited(CLASSROOM, "sensors.box-watch", height='"169 mm"')
    (low,) = [f for f in conditions(near) if "too low" in f.sentence]
    assert low.subject == "float in the overflow box"
    found = unsafe(edited(near, "sensors.display-high", height='"599 mm"'))
    assert any("high float of the display speaks" in f.sentence for f in found)
    night = Night(site_of(near))
    night.good(120)
    night.wet("box-watch")
    night.run(60)
    assert night.cut_at is None


@pytest.mark.parametrize("chamber", ["overflow box", "refugium"])
def test_what_the_verdict_says_the_guard_sees_the_guard_cuts(chamber: str) -> None:
    """The float that the verdict names must cut, by itself, when it turns wet."""
    site = site_of(CLASSROOM)
    sentences = [
        f.sentence for f in verdict_on(CLASSROOM).findings
        if f.subject == chamber and "sees it after" in f.sentence
    ]  # fmt: skip
    assert sentences
    for sentence in sentences:
        named = [k for k in site.floats() if f"; the {site.label(k)} sees it after" in sentence]
        assert len(named) == 1
        night = Night(site)
        night.good(120)
        night.wet(named[0])
        night.run(3)
        assert night.cut_after_s is not None


# --- conditions ----------------------------------------------------------------------------------

CONDITIONS = {
    "a float turned over": (
        edited(CLASSROOM, "sensors.display-high", closed_when='"wet"'),
        ("high float of the display", "a cut cable reads as all well", 'closed_when = "dry"'),
    ),
    "a low float turned over": (
        edited(CLASSROOM, "sensors.return-low", closed_when='"dry"'),
        ("low float of the return chamber", "a cut cable reads as all well", "wet"),
    ),
    "no encryption": (
        edited(CLASSROOM, "broker", tls="false"),
        ("Classroom reef", "without encryption", "set tls = true"),
    ),
    "no broker": (
        without_table(CLASSROOM, "broker"),
        ("Classroom reef", "nobody is told", "add a [broker] table"),
    ),
    "no heartbeat": (
        without_table(CLASSROOM, "outputs.heartbeat"),
        ("Classroom reef", "no heartbeat output", "external timer relay"),
    ),
    "a pin pulled to on": (
        edited(CLASSROOM, "outputs.pump-relay", pin="7"),
        ("pump relay", "GPIO 7 is pulled to the on side", "GPIO 9 to 27"),
    ),
    "a pin pulled to off, and the relay the other way": (
        edited(CLASSROOM, "outputs.pump-relay", safe='"high"'),
        ("pump relay", "GPIO 17 is pulled to the on side", "0 to 8"),
    ),
    "no low float": (
        without_table(CLASSROOM, "sensors.return-low"),
        ("return chamber", "no dry-run float hangs there", "hang one between"),
    ),
    "no high float below": (
        without_table(CLASSROOM, "sensors.return-high"),
        ("return chamber", "no spill-edge float hangs there", "hang one between"),
    ),
    "no leak pad": (
        without_table(CLASSROOM, "sensors.floor-pad"),
        ("the floor", "no leak pad", "under the lowest rim"),
    ),
    "no emergency drain": (
        without_table(CLASSROOM, "passages.refugium-emergency"),
        ("refugium", "it has no emergency drain", "standpipe"),
    ),
    "a plugged siphon break would flood": (
        edited(CLASSROOM, "passages.riser", outlet='"400 mm"'),
        ("return pump", "with plugged siphon breaks", "clean the siphon breaks"),
    ),
    "a reservoir too large": (
        edited(CLASSROOM, "chambers.reservoir", area='"0.6 m^2"'),
        ("return chamber", "do not fit, water leaves a tank", "smaller reservoir"),
    ),
    "a reservoir that fits alone": (
        edited(CLASSROOM, "chambers.reservoir", area='"0.26 m^2"'),
        ("return chamber", "a stop after it would spill", "smaller reservoir"),
    ),
}


@pytest.mark.parametrize("what", CONDITIONS)
def test_what_makes_a_sound_site_sound_with_conditions(what: str) -> None:
    text, (subject, sentence, remedy) = CONDITIONS[what]
    (found,) = [f for f in conditions(text) if sentence in f.sentence]
    assert found.subject == subject
    assert remedy in found.remedy


def test_a_high_pin_with_a_relay_released_by_high_is_no_condition() -> None:
    """GPIO 0 to 8 are pulled up at power-on (BCM2835 ARM Peripherals, table 6-31)."""
    text = edited(CLASSROOM, "outputs.pump-relay", pin="7", safe='"high"')
    assert verdict_on(text).words == "SOUND"


def test_findings_are_sentences_without_shouting() -> None:
    for name in ("classroom", "rack"):
        for finding in verdict_on(text_of(name)).findings:
            assert "nan" not in finding.sentence
            assert "inf" not in finding.sentence
            assert "!" not in finding.sentence
