"""The same night without a guard: the pump in its socket, the top-off valve on its float alone."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf

from daemon.ports import Board
from rules.signals import Command, Decision, Event, EventKind
from rules.site.model import Site


class Unguarded:
    """Ticks like the guard, and guards nothing: every pump is on, whatever the water does.

    What stands in place of the guard says in `held` which pumps it keeps off, and why.
    """

    def __init__(self, site: Site, board: Board) -> None:
        self.site = site
        self.board = board
        self._outputs = tuple(site.outputs.items())
        self._floats = site.floats()
        self._valves = {key for key, output in site.outputs.items() if output.kind == "top-off"}
        self._float = next(iter(site.floats(duty="top-off")), None)
        self._filling = False
        self._held: Mapping[str, str] = {}

    def held(self, t_s: float) -> Mapping[str, str]:
        """The pumps kept off at `t_s` [s], each with what keeps it off; none here."""
        del t_s
        return {}

    def idle_until_s(self) -> float:
        """Until when looks at the same floats would change nothing [s]."""
        return inf

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """Read the floats there are, drive the outputs."""
        del commands  # nobody listens
        filling = self._float is not None and not self.wet(self._float)
        held = self.held(t_s)
        events = (*self._of_the_valve(t_s, filling), *self._of_the_pumps(t_s, held))
        self._filling, self._held = filling, held
        on = tuple(
            output.pump not in held
            if output.kind == "pump"
            else (output.kind == "top-off" and filling)
            for _, output in self._outputs
        )
        for (key, _), state in zip(self._outputs, on, strict=True):
            self.board.drive(key, state)
        return Decision(on, events, (), (), ())

    def wet(self, switch: str) -> bool:
        """What a float's contact says now."""
        return self.board.closed(switch) is self._floats[switch].wet_when_closed

    def _of_the_valve(self, t_s: float, filling: bool) -> list[Event]:
        if filling is self._filling:
            return []
        kind = EventKind.TOP_OFF_OPENED if filling else EventKind.TOP_OFF_CLOSED
        text = f"The top-off valve {'opened' if filling else 'closed'} by its float"
        return [Event(kind, t_s, valve, text) for valve in sorted(self._valves)]

    def _of_the_pumps(self, t_s: float, held: Mapping[str, str]) -> list[Event]:
        events = []
        for pump in sorted(held.keys() - self._held.keys()):
            text = f"{self.site.label(pump)} cut: {held[pump]}"
            events.append(Event(EventKind.PUMP_CUT, t_s, pump, text, causes=(held[pump],)))
        for pump in sorted(self._held.keys() - held.keys()):
            text = f"{self.site.label(pump)} on again"
            events.append(Event(EventKind.PUMP_STARTED, t_s, pump, text))
        return events
