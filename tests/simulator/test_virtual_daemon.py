"""The whole daemon in one night: the same decisions as in the fast way, alerts that arrive, one
trace a seed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon import cli
from rules.signals import Event, EventKind
from rules.site.model import Site
from simulator.library import load_drill
from simulator.night.runner import run
from simulator.story.drill import Drill
from simulator.story.drill_file import parse_drill
from simulator.virtual.broker import matches
from simulator.virtual.play import Stage, run_daemon, staged
from simulator.virtual.trace import Trace
from tests.simulator.nights import failed, shorter

ROOT = Path(__file__).parents[2]
STATE = "homie/5/classroom/$state"


def blocked(*others: str, lasts: str = "6 min", must: str = "") -> Drill:
    """The main drain blocks after a minute, and something else happens as well."""
    text = f"""
title = "A drain, and more"
story = "The main drain blocks, and around the guard something else fails."
starts_at = "03:00"
lasts = "{lasts}"
happens = [
  {{ at = "60 s", what = "block", where = "main drain of the first display", cause = true }},
  {", ".join(f"{{ {other} }}" for other in others)}
]
must = [{{ what = "pump cut", within = "15 s" }}{must}]
must_not = [{{ what = "spill" }}]
"""
    return parse_drill(text, "blocked.toml")


@contextmanager
def played(site: Site, drill: Drill, seed: int = 1) -> Iterator[tuple[Stage, list[str]]]:
    """A night that has been played, with the lines of its trace."""
    trace = Trace(keep=True)
    with staged(site, drill, seed, trace) as stage:
        stage.loop.run_until_complete(stage.world.over)
        yield stage, trace.lines


def first(lines: list[str], what: str, since_s: float = 0.0) -> float:
    """When the first line that holds `what` was written, not before `since_s` [s]."""
    times = (float(line.split(" ", maxsplit=1)[0]) for line in lines if what in line)
    return next(t_s for t_s in times if t_s >= since_s)


def told(events: tuple[Event, ...]) -> list[tuple[EventKind, str]]:
    """What was told, without when."""
    return [(event.kind, event.subject) for event in events]


# --- one seed, one trace -----------------------------------------------------


@pytest.mark.process
def test_one_seed_is_one_trace_bit_for_bit_in_any_process(tmp_path: Path) -> None:
    """Seed 7 has a hang, a broker that hangs, a phone that answers, a disk that stalls."""
    files = [tmp_path / "first", tmp_path / "second"]
    runs = [
        subprocess.Popen(
            [sys.executable, "-m", "simulator.virtual.soak", "--seed", "7", "--nights", "1",
             "--trace", str(file)],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": hashes},
        )
        for file, hashes in zip(files, ("0", "4242"), strict=True)
    ]  # fmt: skip
    assert [each.wait(120.0) for each in runs] == [0, 0]
    one, other = (file.read_bytes() for file in files)
    assert one == other
    for what in (b"loop hangs", b"broker: hangs", b"phone: sends acknowledge", b"disk: stalls"):
        assert what in one


def test_another_seed_is_another_trace(classroom: Site) -> None:
    drill = shorter(load_drill("main-drain-blocked"), 150.0)
    traces = [Trace(), Trace(), Trace()]
    for seed, trace in zip((1, 2, 1), traces, strict=True):
        run_daemon(classroom, drill, seed, trace=trace)
    assert traces[0].digest == traces[2].digest != traces[1].digest
    assert traces[0].count > 100


# --- the same guard -----------------------------------------------------


@pytest.mark.parametrize("name", ["main-drain-blocked", "top-off-stuck-open", "power-cut"])
def test_the_daemon_decides_what_the_guard_alone_decides(classroom: Site, name: str) -> None:
    """Its ticks fall elsewhere within a tenth of a second, so nothing is quite at the same time."""
    drill = load_drill(name)
    fast, whole = run(classroom, drill, 3), run_daemon(classroom, drill, 3)
    assert whole.passed, failed(whole)
    assert told(whole.events) == told(fast.events)
    for one, other in zip(fast.events, whole.events, strict=True):
        assert other.t_s == pytest.approx(one.t_s, abs=1.0), one


def test_ticks_that_are_left_out_change_nothing(classroom: Site) -> None:
    drill = shorter(load_drill("main-drain-blocked"), 300.0)
    few, all_of_them = (
        run_daemon(classroom, drill, 5, every_tick=every_tick) for every_tick in (False, True)
    )
    assert told(few.events) == told(all_of_them.events)
    for one, other in zip(few.events, all_of_them.events, strict=True):
        assert other.t_s == pytest.approx(one.t_s, abs=0.25), one


def test_a_hazard_taken_out_is_missed(classroom: Site) -> None:
    outcome = run_daemon(classroom, blocked(), 1, without=frozenset({"drain-capacity"}))
    assert any("is cut" in each for each in failed(outcome))


# --- the clock -----------------------------------------------------


def test_a_clock_that_jumps_moves_nothing_but_what_is_written_beside_an_alert(
    classroom: Site,
) -> None:
    """Control takes monotonic time; only people read the clock on the wall."""
    jumps = 'at = "30 s", what = "clock jumps", by = "2 h", to = "back"'
    still = 'at = "30 s", what = "clock jumps", by = "0 s", to = "back"'
    with (
        played(classroom, blocked(jumps)) as (moved, _),
        played(classroom, blocked(still)) as (
            unmoved,
            _,
        ),
    ):
        one, other = moved.phone.shown, unmoved.phone.shown
        assert [each.t_s for each in one] == [each.t_s for each in other]
        assert [each.event["text"] for each in one] == [each.event["text"] for each in other]
        assert one[-1].event["wall"].startswith("2026-03-01T01:")
        assert other[-1].event["wall"].startswith("2026-03-01T03:")


# --- the broker -----------------------------------------------------


@pytest.mark.parametrize(
    "fault",
    ['what = "broker down", lasts = "2 min"', 'what = "broker hangs", lasts = "2 min"'],
    ids=["down", "hangs"],
)
def test_an_alert_waits_for_the_broker_and_arrives_once(classroom: Site, fault: str) -> None:
    drill = blocked(f'at = "40 s", {fault}')
    with played(classroom, drill) as (stage, _):
        alerts = [each for each in stage.phone.shown if each.event["kind"] == "alarm-raised"]
        assert len(alerts) == 1
        began_s = stage.world.began_s
        assert began_s + 160.0 < alerts[0].t_s < began_s + 240.0
        status = stage.host.link_status
        assert status is not None
        assert (status.connected, status.alerts_waiting, status.alerts_lost) == (True, 0, 0)


def test_a_connection_that_is_half_open_is_noticed_within_two_keep_alives(classroom: Site) -> None:
    """Keep alive is 15 s: a ping after 15 s of silence, and 15 s for its answer."""
    with played(classroom, blocked('at = "40 s", what = "broker hangs", lasts = "2 min"')) as (
        _,
        lines,
    ):
        hung_s = first(lines, "broker: hangs")
        assert 15.0 < first(lines, "fell silent") - hung_s < 32.0


def test_what_a_broker_took_before_it_hung_comes_twice_and_is_shown_once(classroom: Site) -> None:
    """It takes what lies in its socket once it goes on, and what is sent again: QoS 1."""
    with played(classroom, blocked('at = "61 s", what = "broker hangs", lasts = "2 min"')) as (
        stage,
        _,
    ):
        assert stage.phone.doubles > 0
        ids = [each.id for each in stage.phone.shown]
        assert len(ids) == len(set(ids))


def test_a_killed_guard_is_lost_at_once_and_one_without_power_after_its_keep_alive(
    classroom: Site,
) -> None:
    """A kernel closes the connections of a process; a machine without power closes nothing, and
    the broker waits for one and a half keep alives (MQTT 3.1.1, 3.1.2.10)."""
    killed = blocked('at = "100 s", what = "guard killed", back_after = "60 s"')
    with played(classroom, killed) as (_, lines):
        assert first(lines, f"{STATE} b'lost'") - first(lines, "machine: killed") < 0.1
    dark = blocked('at = "100 s", what = "guard without power", lasts = "60 s"')
    with played(classroom, dark) as (_, lines):
        silent_s = first(lines, f"{STATE} b'lost'") - first(lines, "machine: without power")
        assert 5.0 < silent_s <= 1.5 * 15.0 + 0.1


def test_topic_filters() -> None:
    """Examples of MQTT 3.1.1, 4.7.1."""
    assert matches("sport/tennis/player1/#", "sport/tennis/player1")
    assert matches("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon")
    assert matches("sport/tennis/+", "sport/tennis/player1")
    assert not matches("sport/tennis/+", "sport/tennis/player1/ranking")
    assert not matches("sport/+", "sport")
    assert matches("sport/+", "sport/")
    assert matches("+/+", "/finance")
    assert not matches("+", "/finance")


# --- the process and the disk -----------------------------------------------------


def test_an_upgrade_takes_leave_in_order_with_every_output_off(classroom: Site) -> None:
    drill = blocked('at = "30 s", what = "guard upgraded", back_after = "8 s"', lasts="5 min")
    with played(classroom, drill) as (_, lines):
        asked_s = first(lines, "machine: upgraded")
        assert first(lines, "pump-relay off", asked_s) - asked_s < 0.2
        gone_s = first(lines, "ends with 0")
        assert first(lines, f"{STATE} b'disconnected'") <= gone_s < asked_s + 4.0
        assert not any(f"{STATE} b'lost'" in line for line in lines)
        assert first(lines, f"{STATE} b'ready'", gone_s) < asked_s + 11.0


def test_a_loop_that_hangs_lets_go_of_every_output_within_its_lease(classroom: Site) -> None:
    """2 s, and a tenth until it is looked at."""
    drill = blocked('at = "30 s", what = "guard hangs", lasts = "10 s", pins = "let go"')
    with played(classroom, drill) as (_, lines):
        hung_s = first(lines, "the loop hangs")
        off_s = first(lines, "pump-relay off", hung_s)
        assert 1.8 < off_s - hung_s < 2.15


def test_a_guard_that_starts_anew_still_knows_what_was_latched(
    classroom: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    drill = load_drill("guard-killed-while-latched")
    assert run_daemon(classroom, drill, 1).passed
    from daemon import assembly
    from rules.memory import Kept

    monkeypatch.setattr(assembly, "read_kept", lambda *_: Kept())
    assert not run_daemon(classroom, drill, 1).passed, "the drill does not need the latches"


def test_a_night_leaves_the_log_of_this_process_as_it_was(
    classroom: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    import structlog

    before = structlog.get_config()
    with played(classroom, shorter(blocked(), 90.0)) as (_, lines):
        assert any(" log: warning " in line for line in lines)
    assert structlog.get_config() == before
    assert capsys.readouterr() == ("", "")


def test_the_trace_tells_of_alerts_as_they_are_published(classroom: Site) -> None:
    with played(classroom, shorter(blocked(), 90.0)) as (stage, lines):
        (line,) = (each for each in lines if '"kind":"alarm-raised"' in each)
        payload = line.split(" b'", maxsplit=1)[1].rstrip("'\n")
        shown = [each.event for each in stage.phone.shown if each.event["kind"] == "alarm-raised"]
        assert [json.loads(payload)] == shown


def test_any_drill_can_be_run_with_the_whole_daemon(capsys: pytest.CaptureFixture[str]) -> None:
    names = ["main-drain-blocked", "clock-jumps"]
    assert cli.main(["drill", *names, "--json"]) == 0
    asked_for = [each["source"] for each in json.loads(capsys.readouterr().out)]
    assert cli.main(["drill", *names, "--json", "--whole-daemon"]) == 0
    whole = [each["source"] for each in json.loads(capsys.readouterr().out)]
    assert asked_for == ["sim+plant", "sim+plant, virtual time"]
    assert whole == ["sim+plant, virtual time"] * 2
