"""What gives the machines current: relays, plugs, mains, the timer relay, the top-off valve."""

from __future__ import annotations

from math import inf

from rules.site.model import Site

TIMER_S = 2.0  # the external timer relay opens when the heartbeat has stood still for so long


class Wired:
    """The electric side of a plant, with its clock and the faults that it can be given.

    With `timer_relay`, and a heartbeat output in the site, an external relay in series with the
    pumps opens when the heartbeat stands still.
    """

    def __init__(self, site: Site, *, timer_relay: bool) -> None:
        self.site = site
        self.t_s = 0.0
        self.on: dict[str, bool] = dict.fromkeys(site.outputs, False)
        self._relay = {
            pump: site.pump_output(pump)
            for pump in site.pumps  # a pump without a relay is always on
        }
        beats = [key for key, output in site.outputs.items() if output.kind == "heartbeat"]
        self._heartbeat = beats[0] if beats and timer_relay else None
        self._beat_s = -inf
        valves = [key for key, output in site.outputs.items() if output.kind == "top-off"]
        self._valve = valves[0] if valves else None
        self.mains = True
        self.relay_stuck: dict[str, bool] = {}  # True is welded closed, False never closes
        self.unplugged: set[str] = set()  # pumps whose plug is pulled
        self.valve_stuck: bool | None = None  # open or shut, whatever its relay does
        self.valve_share = 1.0  # of its flow, which it lets through while it is open

    def command(self, output: str, on: bool) -> None:
        """Put one output on or off."""
        if output == self._heartbeat and on != self.on[output]:
            self.keep_beating()
        self.on[output] = on

    def keep_beating(self, lasts_s: float = 0.0) -> None:
        """Hold the timer relay closed, as a heartbeat would that goes on for `lasts_s` more."""
        self._beat_s = max(self._beat_s, self.t_s + lasts_s)

    @property
    def timer_left_s(self) -> float:
        """Time until the timer relay opens if no beat comes before [s]; inf once it is open."""
        if self._heartbeat is None:
            return inf
        left_s = self._beat_s + TIMER_S - self.t_s
        return left_s if left_s > 0.0 else inf

    def closed(self, output: str) -> bool:
        """True while the relay of an output is closed, as ordered or because it is stuck so."""
        return self.relay_stuck.get(output, self.on[output])

    def powered(self, pump: str) -> bool:
        """True while a pump gets current: mains there, plugged in, relay and timer relay closed."""
        relay = self._relay[pump]
        if not self.mains or pump in self.unplugged:
            return False
        if relay is not None and not self.closed(relay):
            return False
        return self._heartbeat is None or self.t_s - self._beat_s < TIMER_S

    @property
    def valve_open(self) -> bool:
        """True while the top-off valve is open, be it only in part."""
        if self.valve_stuck is not None:
            return self.valve_stuck
        return self.mains and self._valve is not None and self.closed(self._valve)
