"""What stands in the guard's place for comparison: plain relays, and one that knows the future.

Each is what a sensible person would fit with a relay and an afternoon. Where a site lacks the
float or the meter, the set-up does what it would there: nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from math import inf

from daemon.ports import Board
from rules.site.model import Site
from rules.site.sensors import FlowMeter, MainsSensor
from simulator.night.night import Moment
from simulator.night.pace import Keeper
from simulator.night.runner import NONE, run
from simulator.night.unguarded import Unguarded
from simulator.signals.stand import PlantBoard
from simulator.story.drill import Drill
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.water.plant import Plant

FLOAT_S = 0.5  # a float relay turns when its contact has stood so long
LEARNS_S = (30.0, 150.0)  # the time in which a low-flow relay takes the flow as normal
LOW_SHARE = 0.8
LOW_S = 10.0
AFTER_MAINS_S = 30.0  # a low-flow relay waits for so long when the mains have come
WINDOW_S = 2.0  # time over which it counts pulses
HARM_M3 = 1e-4  # a tenth of a litre on the floor
DRY_S = 1.0
HARM_WITHIN_S = 3600.0  # tanks that have borne a fault for an hour have found their levels


class FloatRelay:
    """One float switch and a relay: the float's own gap, and half a second against bounce."""

    def __init__(self, acts_when_wet: bool) -> None:
        self._acts_when_wet = acts_when_wet
        self._since_s: float | None = None
        self.acting = False

    @property
    def turning(self) -> bool:
        """True while its contact says other than the relay, and has not stood long enough."""
        return self._since_s is not None

    def look(self, t_s: float, wet: bool) -> bool:
        """Whether the relay keeps the pump off, given what its float says at `t_s` [s]."""
        if (wet is self._acts_when_wet) is self.acting:
            self._since_s = None
        elif self._since_s is None:
            self._since_s = t_s
        elif t_s - self._since_s >= FLOAT_S - 1e-9:
            self.acting, self._since_s = not self.acting, None
        return self.acting


def _fed(site: Site, pump: str) -> tuple[str, ...]:
    """The displays that a pump feeds."""
    try:
        displays = resolve(site, "chamber", "every display")
    except NoSuchRoleError:
        return ()
    return tuple(key for key in displays if key in {b.to for b in site.branches(pump).values()})


class HighFloat(Unguarded):
    """A high float in every display, in series with the pump that feeds it; nothing latches."""

    def __init__(self, site: Site, board: Board, drill: Drill) -> None:
        super().__init__(site, board)
        del drill  # it knows nothing of what is to come
        self._relays: list[tuple[str, str, FloatRelay]] = []
        for pump in site.pumps:
            for chamber in _fed(site, pump):
                for key in site.floats(chamber, "spill-edge"):
                    self._relays.append((pump, key, FloatRelay(acts_when_wet=True)))
            self._relays += self.below(pump)

    def below(self, pump: str) -> list[tuple[str, str, FloatRelay]]:
        """Floats on the same pump that hang elsewhere; none here."""
        del pump
        return []

    def idle_until_s(self) -> float:
        """See `Unguarded`; no time at all while a relay is about to turn."""
        return -inf if any(relay.turning for _, _, relay in self._relays) else inf

    def held(self, t_s: float) -> Mapping[str, str]:
        """The pumps of which a float asks for a stop."""
        held: dict[str, str] = {}
        for pump, key, relay in self._relays:
            if relay.look(t_s, self.wet(key)):
                held.setdefault(pump, key)
        return held


class TwoFloats(HighFloat):
    """High floats, and a low float where the pump draws."""

    def below(self, pump: str) -> list[tuple[str, str, FloatRelay]]:
        """The low floats of the chamber that the pump draws from."""
        low = self.site.floats(self.site.pumps[pump].from_, "dry-run")
        return [(pump, key, FloatRelay(acts_when_wet=False)) for key in low]


class _FlowRelay:
    """A meter and a relay that falls when the flow stays a fifth under what it was at first."""

    def __init__(self, key: str, meter: FlowMeter) -> None:
        self.key = key
        self._pulses_m3 = meter.pulses
        self._counts: deque[tuple[float, int]] = deque()
        self._learned: list[tuple[float, int]] = []
        self._low_since_s: float | None = None
        self.normal_m3_s: float | None = None
        self.fallen = False

    @property
    def busy(self) -> bool:
        """True while it learns, or sees a low flow and has not fallen yet."""
        return self.normal_m3_s is None or (self._low_since_s is not None and not self.fallen)

    def look(self, t_s: float, count: int, watching: bool) -> bool:
        """Whether the relay has fallen; `watching` is False while it waits for the mains."""
        self._learn(t_s, count)
        counts = self._counts
        counts.append((t_s, count))
        while len(counts) > 2 and t_s - counts[1][0] >= WINDOW_S:
            counts.popleft()
        span_s = t_s - counts[0][0]
        low = False
        if watching and self.normal_m3_s is not None and span_s > 0.0:
            flow = (count - counts[0][1]) / self._pulses_m3 / span_s
            low = flow < LOW_SHARE * self.normal_m3_s
        if not low:
            self._low_since_s = None
        elif self._low_since_s is None:
            self._low_since_s = t_s
        elif t_s - self._low_since_s >= LOW_S - 1e-9:
            self.fallen = True
        return self.fallen

    def _learn(self, t_s: float, count: int) -> None:
        begins_s, ends_s = LEARNS_S
        if self.normal_m3_s is not None or t_s < begins_s:
            return
        self._learned = [*self._learned[:1], (t_s, count)]
        if t_s >= ends_s:
            (start_s, first), (end_s, last) = self._learned[0], self._learned[-1]
            if end_s > start_s:
                self.normal_m3_s = (last - first) / self._pulses_m3 / (end_s - start_s)


class LowFlow(Unguarded):
    """A low-flow relay on every meter: cuts its pump at 80 % of the first minutes, and latches.

    It hangs on the same mains as the pump, so a power cut is no low flow to it.
    """

    def __init__(self, site: Site, board: Board, drill: Drill) -> None:
        super().__init__(site, board)
        del drill
        self._relays = {
            pump: [
                _FlowRelay(key, sensor)
                for key, sensor in site.sensors.items()
                if isinstance(sensor, FlowMeter)
                and (sensor.on == pump or sensor.on in site.branches(pump))
            ]
            for pump in site.pumps
        }
        self._supply = next(
            ((key, s) for key, s in site.sensors.items() if isinstance(s, MainsSensor)), None
        )
        self._waits_until_s = -inf
        self._t_s = 0.0

    def idle_until_s(self) -> float:
        """Until when looks at the same flow would change nothing [s]."""
        if any(relay.busy for relays in self._relays.values() for relay in relays):
            return self._t_s + 0.5 * WINDOW_S
        return self._waits_until_s if self._waits_until_s > self._t_s else inf

    def held(self, t_s: float) -> Mapping[str, str]:
        """The pumps whose flow has been low."""
        self._t_s = t_s
        if not self._mains():
            self._waits_until_s = t_s + AFTER_MAINS_S
        watching = t_s >= self._waits_until_s
        held: dict[str, str] = {}
        for pump, relays in self._relays.items():
            for relay in relays:
                if relay.look(t_s, self.board.pulses(relay.key), watching):
                    held.setdefault(pump, relay.key)
        return held

    def _mains(self) -> bool:
        if self._supply is None:
            return True
        key, supply = self._supply
        return self.board.closed(key) is (supply.closed_when == "present")


class Oracle(Unguarded):
    """Knows the night to come: cuts every pump at the onset of what would otherwise do harm.

    It first lives through the same night without a guard. If that puts water on the floor or lets
    a pump run dry, the last thing to befall the water before then is the one it cuts at.
    """

    def __init__(self, site: Site, board: Board, drill: Drill) -> None:
        super().__init__(site, board)
        if not isinstance(board, PlantBoard):
            raise TypeError("the oracle needs the plant itself to see what is to come")
        self.cuts_s = foreseen_s(site, drill, board.plant.seed)
        self._t_s = 0.0

    def idle_until_s(self) -> float:
        """Until the onset [s]."""
        return self.cuts_s if self._t_s < self.cuts_s else inf

    def held(self, t_s: float) -> Mapping[str, str]:
        """All pumps, from the onset on."""
        self._t_s = t_s
        return dict.fromkeys(self.site.pumps, "oracle") if t_s >= self.cuts_s else {}


OF_THE_SIGNALS = frozenset((
    "stick", "free", "cut cable", "mend cable", "loose cable", "swap", "unswap", "silence",
    "revive meter", "drift", "foul", "noise", "quiet", "dull pad", "offset", "hiss",
    "drop out", "splash", "weld relay", "dead relay", "mend relay", "acknowledge", "reset",
))  # fmt: skip
"""Happenings that only the guard's signals and people know of: they move no water themselves."""


def moves_water(what: str) -> bool:
    """True of a happening that befalls the water, the plumbing or the pumps."""
    return what not in OF_THE_SIGNALS and not what.startswith(
        ("guard ", "broker ", "disk ", "clock ")
    )


def foreseen_s(site: Site, drill: Drill, seed: int) -> float:
    """When the oracle cuts, from the start of the drill [s]; infinite if it need not."""
    harm_s = harmed_s(site, drill, seed)
    before = [h.at for h in drill.happens if moves_water(h.what) and h.at <= harm_s]
    return max(before, default=inf) if harm_s < inf else inf


class _SeenError(Exception):
    """Ends a night of which no more need be seen."""


def harmed_s(site: Site, drill: Drill, seed: int) -> float:
    """When the night first does harm with nothing in the guard's place [s]; infinite if never.

    What has done none by `HARM_WITHIN_S` after the last thing has come about is taken to do none.
    """
    comes_about = (event.at + float(getattr(event, "over", 0.0)) for event in drill.happens)
    until_s = max(comes_about, default=0.0) + HARM_WITHIN_S
    found_s = inf

    def look(moment: Moment) -> None:
        nonlocal found_s
        if harmful(moment.plant):
            found_s = moment.t_s
            raise _SeenError
        if moment.t_s > until_s:
            raise _SeenError

    with suppress(_SeenError):
        run(site, drill, seed, keeper=NONE, progress=look, trace=False)
    return found_s


def harmful(plant: Plant) -> bool:
    """True once there is water on the floor, or a pump has drawn air."""
    return plant.floor_m3 >= HARM_M3 or plant.dry_s >= DRY_S


STANDINS: dict[str, Callable[[Site, Board, Drill], Keeper]] = {
    "high-float": HighFloat,
    "two-floats": TwoFloats,
    "low-flow": LowFlow,
    "oracle": Oracle,
}
"""By the name that `keeper` takes."""
