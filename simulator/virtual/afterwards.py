"""What must be true once all faults of a night have ended and there was time to recover."""

from __future__ import annotations

import json

from daemon import messages
from daemon.homie import Device, Own, alert_id
from daemon.latches import text_of
from rules.memory import KEPT_OFF_S
from rules.signals import AlarmState
from rules.site.model import Site
from simulator.virtual.host import LATCHES, Run
from simulator.virtual.play import Stage


def amiss(site: Site, stage: Stage) -> list[str]:
    """What is not as it must be, a sentence each."""
    run = stage.host.run
    found = [f"{boot} ended by itself" for boot in stage.host.ended_by_itself]
    found += _of_the_water(stage)
    found += _of_the_ticks(stage)
    found += _of_the_phone(stage)
    if run is None or run.guard is None or run.link is None:
        return [*found, "no guard runs"]
    return found + _of_the_link(stage, run) + _of_the_disk(stage, run) + _of_the_device(site, stage)


def _of_the_water(stage: Stage) -> list[str]:
    """Spilled water, air in a pump, water on the floor."""
    plant = stage.night.stand.plant
    found = []
    if plant.spilled_total_m3 > 1e-6:
        found.append(f"{plant.spilled_total_m3 * 1e3:.3f} l were spilled")
    if plant.dry_s > 0.0:
        found.append(f"a pump drew air for {plant.dry_s:.1f} s")
    return found


def _of_the_ticks(stage: Stage) -> list[str]:
    """No tick waits for broker or disk: none is late but after the loop itself was held up."""
    return [
        f"{run.boot} had {run.assembly.loop.tally.late} late ticks, held up {run.held_up} times"
        for run in stage.host.runs
        if run.assembly is not None and run.assembly.loop.tally.late > run.held_up
    ]


def _of_the_phone(stage: Stage) -> list[str]:
    """Each event is shown once and in order, and two messages of one id tell the same."""
    found = []
    last: dict[str, int] = {}
    for shown in stage.phone.shown:
        boot, number = shown.event["boot"], shown.event["sequence"]
        if number <= last.get(boot, 0):
            found.append(f"{shown.id} was shown after {boot}-{last[boot]}")
        last[boot] = max(number, last.get(boot, 0))
    alarms = [
        (shown.event["boot"], shown.event["alarm"]["row"], shown.event["alarm"]["occurrence"])
        for shown in stage.phone.shown
        if shown.event["kind"] == "alarm-raised"
    ]
    found += [f"alarm {alarm} was shown twice" for alarm in set(alarms) if alarms.count(alarm) > 1]
    return found


def _of_the_link(stage: Stage, run: Run) -> list[str]:
    """Connected, nothing waits, and every alert of this run was shown or is told as lost."""
    assert run.link is not None
    status = run.link.status
    found = []
    if not status.connected:
        found.append(f"the link is not connected: {status.last_error}")
    if status.alerts_waiting:
        found.append(f"{status.alerts_waiting} alerts still wait")
    shown = {each.id for each in stage.phone.shown}
    forgotten = {
        json.loads(payload)["id"] for payload in stage.broker.forgotten if b'"id"' in payload
    }
    missing = [
        f"{run.boot}-{number} ({event.text})"
        for number, event in enumerate(run.raised, 1)
        if messages.rank(event) > 0
        and (name := f"{run.boot}-{number}") not in shown
        and name not in forgotten
    ]
    if len(missing) > status.alerts_lost:
        found.append(f"alerts never shown: {', '.join(missing)}")
    return found


def _of_the_disk(stage: Stage, run: Run) -> list[str]:
    """The file of latches was whole at every start, and says what the guard keeps."""
    assert run.guard is not None
    if stage.disk.unreadable:
        return [f"found torn at a start: {', '.join(stage.disk.unreadable)}"]
    kept, text = run.guard.kept(), stage.disk.files.get(str(LATCHES))
    expected = json.loads(text_of(kept))
    try:
        found = json.loads(text or "")
    except ValueError:
        return [f"the latches cannot be read: {text!r}"]
    said = f"the latches say {found}, the guard {expected}"
    # this one counts on by itself, in steps: the last of them may still be on its way to the disk
    written_s, counted_s = found.pop("off_s"), expected.pop("off_s")
    behind_s = [counted_s[pump] - written_s.get(pump, 0.0) for pump in counted_s]
    stale = not all(0.0 <= each <= KEPT_OFF_S for each in behind_s) or written_s.keys() - counted_s
    return [said] if stale or found != expected else []


def _of_the_device(site: Site, stage: Stage) -> list[str]:
    """What the broker retains of the device is what the guard last decided."""
    device, retained = Device(site), stage.broker.retained
    found = []
    if (state := retained.get(device.state_topic)) != b"ready":
        found.append(f"the device's state reads {state!r}")
    values = device.values(stage.host.decision, Own(""))
    ours = {topic for topic in retained if topic.startswith(f"{device.base}/")}
    if lacking := set(values) - ours:
        found.append(f"the broker knows nothing of {', '.join(sorted(lacking))}")
    stands = {
        f"{device.base}/$alert/{alert_id(alarm.row)}"
        for alarm in stage.host.decision.alarms
        if alarm.state is not AlarmState.NORMAL
    }
    told = {topic for topic in ours if topic.startswith(f"{device.base}/$alert/")}
    if stands != told:
        found.append(f"alerts at the broker {sorted(told)}, at the guard {sorted(stands)}")
    return found
