"""The same night without a guard: the pump in its socket, the top-off valve on its float alone."""

from __future__ import annotations

from daemon.ports import Board
from rules.signals import Command, Decision, Event, EventKind
from rules.site.model import Site


class Unguarded:
    """Ticks like the guard, and guards nothing: every pump is on, whatever the water does."""

    def __init__(self, site: Site, board: Board) -> None:
        self._board = board
        self._pumps = {key for key, output in site.outputs.items() if output.kind == "pump"}
        self._outputs = tuple(site.outputs)
        self._valves = {key for key, output in site.outputs.items() if output.kind == "top-off"}
        self._float = next(iter(site.floats(duty="top-off").items()), None)
        self._filling = False

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """Read the one float there is, drive the outputs."""
        del commands  # nobody listens
        filling = self._low()
        events: list[Event] = []
        if filling is not self._filling:
            kind = EventKind.TOP_OFF_OPENED if filling else EventKind.TOP_OFF_CLOSED
            text = f"The top-off valve {'opened' if filling else 'closed'} by its float"
            events += [Event(kind, t_s, valve, text) for valve in sorted(self._valves)]
            self._filling = filling
        on = tuple(key in self._pumps or (key in self._valves and filling) for key in self._outputs)
        for key, state in zip(self._outputs, on, strict=True):
            self._board.drive(key, state)
        return Decision(on, tuple(events), (), (), ())

    def _low(self) -> bool:
        if self._float is None:
            return False
        key, switch = self._float
        return self._board.closed(key) is not switch.wet_when_closed
