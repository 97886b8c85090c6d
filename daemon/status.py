"""What the guard would say of itself at this moment, for `weirkeeper status`."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from math import isinf
from typing import Any

from daemon.flight import Flight
from daemon.link import Link
from daemon.loop import Tally
from rules.plan import Plan
from rules.signals import Condition, Decision, LevelFigures, OutFigures, PauseFigures
from rules.site import show
from rules.site.model import Site
from rules.site.show import Units


def _reading(level: LevelFigures, units: Units) -> str:
    """A level as it is read, and why it is in doubt."""
    if level.level_m is None:
        return f"not known, {level.why or 'it cannot be read'}"
    read = f"{show.length(level.level_m, units)}, good to {show.length(level.tolerance_m, units)}"
    return f"{read}; {level.why}" if level.why else read


def _left(condition: Condition) -> str:
    """How much of the main drain is left, where a level sensor tells; else why it is not known."""
    if condition.share is None:
        return f"; condition not known: {condition.why}" if condition.why else ""
    of = "what was learned" if condition.learned else "the drawing"
    least, most = show.share(condition.least), show.share(condition.most)
    return f"; main drain at {show.share(condition.share)} of {of} ({least} to {most})"


def paused(pause: PauseFigures, site: Site) -> str:
    """The planned pause that goes on, in a sentence."""
    pumps = " and ".join(site.label(pump) for pump in pause.pumps)
    silent = ", ".join(pause.suppressed) or "nothing"
    return (
        f"pause for {pause.kind}: {pumps} off for another {show.duration(pause.left_s)}; "
        f"suppressed: {silent}"
    )


def _out(one: OutFigures, site: Site) -> str:
    """What is out of service, and what nobody watches meanwhile."""
    blind = ", ".join(row for row in one.blind if not row.startswith("signal."))
    lost = f"nobody watches {blind}" if blind else "no row goes by it alone"
    return f"out of service for {show.duration(one.for_s)}: {site.label(one.id)}; {lost}"


class StatusBoard:
    """Keeps the newest decision and turns it into words or JSON when asked."""

    def __init__(
        self, plan: Plan, boot: str, tally: Tally, link: Link | None, flight: Flight | None = None
    ) -> None:
        self._plan = plan
        self._boot = boot
        self._tally = tally
        self._link = link
        self._flight = flight
        self._t_s = 0.0
        self._decision: Decision | None = None

    def hand_over(self, t_s: float, _tick: int, _wall: datetime, decision: Decision) -> None:
        """Take the newest decision."""
        self._t_s = t_s
        self._decision = decision

    def as_json(self) -> dict[str, Any]:
        """Everything, with `lines` for people; times in s, flows in m3/s."""
        status: dict[str, Any] = {
            "site": self._plan.site.site.id,
            "boot": self._boot,
            "up_s": round(self._t_s, 1),
            "ticks": self._tally.ticks,
            "late_ticks": self._tally.late,
            "latest_tick_s": round(self._tally.latest_s, 4),
            "link": asdict(self._link.status) if self._link else None,
            "recordings": self._flight.status() if self._flight else None,
            "lines": self._lines(),
        }
        if self._decision is not None:
            status["pumps"] = [asdict(pump) for pump in self._decision.pumps]
            status["drains"] = [asdict(drain) for drain in self._decision.drains]
            status["levels"] = [asdict(level) for level in self._decision.levels]
            status["pause"] = asdict(self._decision.pause) if self._decision.pause else None
            status["alarms"] = [asdict(alarm) for alarm in self._decision.alarms]
            status["signals"] = [asdict(one) for one in self._decision.signals]
            status["out_of_service"] = [asdict(one) for one in self._decision.out]
            status["rates"] = asdict(self._decision.rates)
            status["outputs"] = dict(zip(self._plan.outputs, self._decision.outputs, strict=True))
        return status

    def _lines(self) -> list[str]:
        site, decision = self._plan.site, self._decision
        lines = [f"{site.site.name}, guarded for {show.duration(self._t_s)}"]
        if decision is None:
            return [*lines, "no tick yet"]
        units = site.site.units
        for pump in decision.pumps:
            flow = show.flow(pump.flow_m3_s, units)
            lines.append(f"{site.label(pump.pump)}: {pump.phase.value}, {flow}")
        if decision.pause is not None:
            lines.append(paused(decision.pause, site))
        for drain in decision.drains:
            spill = "" if isinf(drain.spill_s) else f", spills in {show.duration(drain.spill_s)}"
            lines.append(
                f"{site.label(drain.chamber)}: {show.flow(drain.return_m3_s, units)} come, drains "
                f"carry {show.flow(drain.capacity_m3_s, units)}{spill}{_left(drain.condition)}"
            )
        for level in decision.levels:
            lines.append(f"{site.label(level.sensor)}: {_reading(level, units)}")
        for signal in decision.signals:
            lines.append(f"{site.label(signal.sensor)}: {signal.status}; {signal.why}")
        lines += [_out(one, site) for one in decision.out]
        for alarm in decision.alarms:
            lines.append(f"{alarm.state.value} {alarm.code}: {alarm.saying.what}")
            lines += [f"  and so: {each}" for each in alarm.consequences]
        if not decision.alarms:
            lines.append("no alarm")
        if decision.rates.day:
            flood = ", a flood" if decision.rates.flood else ""
            lines.append(
                f"alarms raised in the last ten minutes: {decision.rates.ten_minutes}{flood}; "
                f"in the last day: {decision.rates.day}"
            )
        if self._link is None:
            lines.append("no broker: nobody is told")
        elif self._link.status.connected:
            lines.append("broker: connected")
        else:
            lines.append(f"broker: away ({self._link.status.last_error or 'not yet reached'})")
        return [*lines, *(self._flight.lines() if self._flight else ["nothing is recorded"])]
