"""The guard's own life in a night: the process is killed, hangs, is upgraded; the machine reboots.

A host owns the guard on its board. While no guard runs, the pins are what they were left as, and
the heartbeat stands still: where the site has one, the external timer relay then opens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from daemon.guard import Guard
from daemon.ports import Board
from rules.memory import Kept
from rules.signals import TICK_S, Alarm, AlarmState, Command, Decision, Observation
from rules.site.model import Site

BOOT_S = 45.0
"""From power to a guard at its first tick [s]; own estimate for a small single-board machine."""


class _Pins:
    """The board as the guard sees it, remembering how each output was last left."""

    def __init__(self, site: Site, board: Board) -> None:
        self._board = board
        self.name = board.name
        self.left: dict[str, bool] = dict.fromkeys(site.outputs, False)

    def closed(self, sensor: str) -> bool:
        """See `Board`."""
        return self._board.closed(sensor)

    def pulses(self, sensor: str) -> int:
        """See `Board`."""
        return self._board.pulses(sensor)

    def analog(self, sensor: str) -> float:
        """See `Board`."""
        return self._board.analog(sensor)

    def drive(self, output: str, on: bool) -> None:
        """See `Board`."""
        self._board.drive(output, on)
        self.left[output] = on

    def close(self) -> None:
        """See `Board`."""
        self._board.close()
        self.left = dict.fromkeys(self.left, False)


@dataclass(slots=True)
class _Absence:
    """A time without ticks: until `power_after_s` the pins are low, then at their pulls.

    Both times count from the first tick that is missed.
    """

    lasts_s: float
    power_after_s: float | None = None
    since_s: float | None = None


class Host:
    """A machine with a guard on it. `boot` names the first start; later ones get a number.

    Ticks like a guard. `t_s` is the night's time [s] through all restarts, which a guard bears: it
    begins to count at its first look. `clock` times the leases [s].
    """

    def __init__(
        self,
        site: Site,
        board: Board,
        boot: str,
        *,
        without: frozenset[str] = frozenset(),
        clock: Callable[[], float] | None = None,
    ) -> None:
        self._site = site
        self._pins = _Pins(site, board)
        self._boot = boot
        self._without = without
        self._starts = 0
        self._now_s = 0.0
        self._clock = clock or (lambda: self._now_s)
        self._kept = Kept()
        self._absence: _Absence | None = None
        self._leases_act = True
        self._orders: list[Command] = []
        self._decision = Decision((), (), (), (), ())
        self.guard: Guard | None = self._start()

    # --- what it does at each tick ------------------------------------------------------------

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """One tick of the guard, or, while none runs, the last decision with the pins as they are.

        Orders that come while the guard hangs are obeyed after it; while none runs they are lost.
        Ticks may be left out up to `idle_until_s`; more than one at a time is taken for that.
        """
        skipped = t_s - self._now_s > 1.5 * TICK_S
        self._now_s = t_s
        if commands:
            for command in commands:
                self.order(command)
        if self._absence is not None and self._still(self._absence, t_s):
            return self._as_it_stands()
        self._absence = None
        if self.guard is None:
            self.guard = self._start()
        elif skipped:
            self.guard.pass_over(t_s - TICK_S)
        orders, self._orders = tuple(self._orders), []
        self._decision = self.guard.tick(t_s, orders)
        return self._decision

    def order(self, command: Command) -> None:
        """Give the guard an order, for its next tick."""
        if self.guard is not None:
            self._orders.append(command)

    def idle_until_s(self) -> float:
        """Until when looks at the same readings would change nothing [s]; now while it is away."""
        if self.guard is None or self._absence is not None or self._orders:
            return self._now_s
        return self.guard.idle_until_s()

    @property
    def observation(self) -> Observation | None:
        """What the guard saw at this tick; None at a tick without a guard."""
        if self.guard is None or self._absence is not None:
            return None
        return self.guard.observation

    @property
    def ticking(self) -> bool:
        """False while the guard is away or hangs."""
        return self._absence is None

    @property
    def decision(self) -> Decision:
        """What the guard decided last."""
        return self._decision

    def standing(self) -> tuple[Alarm, ...]:
        """The alarms that stand, as a person who asks the guard is told; none while it is away."""
        if self.guard is None:
            return ()
        return tuple(a for a in self._decision.alarms if a.state is not AlarmState.NORMAL)

    # --- what can be done to it ---------------------------------------------------------------

    def kill(self, back_after_s: float, held: bool = True) -> None:
        """Kill the process: pins held as they are, as a kernel may, or let go to their pulls."""
        self._leave(_Absence(back_after_s))
        if not held:
            self._to_pulls()

    def hang(self, lasts_s: float, whole: bool = False) -> None:
        """Hold up the loop; the thread of the leases lets outputs go meanwhile.

        With `whole` the whole process is stopped, and that thread with it.
        """
        self._absence = _Absence(lasts_s)
        self._leases_act = not whole

    def reboot(self, back_after_s: float = BOOT_S) -> None:
        """Start the machine anew: its pins go to their pulls until a guard claims them."""
        self._leave(_Absence(back_after_s))
        self._to_pulls()

    def unpower(self, lasts_s: float) -> None:
        """Take the machine's power for so long; then it boots.

        Its pins are low meanwhile: whatever a low pin switches on, and has another supply, is on.
        """
        self._leave(_Absence(lasts_s + BOOT_S, power_after_s=lasts_s))
        for key, output in self._site.outputs.items():
            self._pins.drive(key, output.safe == "high")

    def upgrade(self, back_after_s: float) -> None:
        """Stop the guard in order, every output off, and start it again later."""
        guard = self.guard
        self._leave(_Absence(back_after_s))
        if guard is not None:
            guard.close()
            self._kept = guard.kept(stopped=True)

    # --- inside -------------------------------------------------------------------------------

    def _start(self) -> Guard:
        """A guard of a boot of its own, with what the last one kept; it claims every output off."""
        boot = self._boot if self._starts == 0 else f"{self._boot}-{self._starts}"
        self._starts += 1
        for output in self._site.outputs:
            self._pins.drive(output, False)
        return Guard(
            self._site,
            self._pins,
            boot,
            without=self._without,
            kept=self._kept,
            clock=self._clock,
        )

    def _leave(self, absence: _Absence) -> None:
        if self.guard is not None:
            self._kept = self.guard.kept()  # written at every change, so a kill loses nothing of it
        self.guard = None
        self._orders.clear()
        self._absence = absence

    def _to_pulls(self) -> None:
        for key, output in self._site.outputs.items():
            self._pins.drive(key, not output.pulled_safe_at_power_on)

    def _still(self, absence: _Absence, t_s: float) -> bool:
        """Live through one tick without the guard; False once it is back."""
        if absence.since_s is None:
            absence.since_s = t_s
        gone_s = t_s - absence.since_s + 1e-9
        if self.guard is not None and self._leases_act:
            self.guard.leases.look()
        if absence.power_after_s is not None and gone_s >= absence.power_after_s:
            absence.power_after_s = None
            self._to_pulls()
        return gone_s < absence.lasts_s

    def _as_it_stands(self) -> Decision:
        outputs = tuple(self._pins.left[key] for key in self._site.outputs)
        return replace(self._decision, events=(), outputs=outputs)
