"""Contacts, and what moves them: floats in waves, leak pads, the supply; how each of them fails."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Protocol

from rules.site.sensors import FloatSwitch
from simulator.signals.cable import Cable
from simulator.signals.moments import Moments
from simulator.signals.waves import Waves
from simulator.water.plant import Plant

GAP_M = (0.002, 0.004)  # between the levels at which a float turns up and down
HEIGHT_ERROR_M = 0.001  # how far a float hangs from where the site file says
BOUNCE_S = (0.0005, 0.001)
PAD_M3 = (0.0001, 0.0003)  # water on the floor that reaches a leak pad
PAD_S = (2.0, 8.0)  # and the time it takes to get there
FLOAT_DROP_S = (0.1, 0.6)  # for so long a splash holds a float up
PAD_DROP_S = (1.0, 6.0)  # and so long it bridges a pad, until it has run off


@dataclass(frozen=True, slots=True, order=True)
class ContactEdge:
    """A contact that closes or opens, and when [s]; `sensor` is the one whose pin shows it."""

    t_s: float
    sensor: str
    closed: bool


@dataclass(frozen=True, slots=True)
class Most:
    """How fast any level moves at most [m/s], and how much water comes onto the floor [m3/s]."""

    level_m_s: float
    floor_m3_s: float


class Watched(Protocol):
    """What moves a contact."""

    wet: bool
    """Wet, or present, when last looked at."""

    drop_s: tuple[float, float] | None
    """For how long a splash wets it [s]; None if no water reaches it."""

    def look(self) -> bool:
        """Wet or dry now, present or lost."""

    def calm_s(self, most: Most) -> float:
        """For how long it will not turn [s]; nought or less if a look is due."""


class Float:
    """A float switch: wet above its height, dry below it, with a gap between and waves on top."""

    drop_s: tuple[float, float] | None = FLOAT_DROP_S

    def __init__(self, plant: Plant, key: str, switch: FloatSwitch, waves: bool) -> None:
        self._plant = plant
        self._chamber = plant.index[switch.chamber]
        draws = plant.draws
        self.gap_m = draws.between(f"{key}/gap", *GAP_M)
        self.height_m = switch.height + draws.between(
            f"{key}/height", -HEIGHT_ERROR_M, HEIGHT_ERROR_M
        )
        self._waves = Waves(plant, key, switch.chamber, rough=waves)
        self._turns_m = self.height_m + plant.shapes.bottom_m[self._chamber]
        self._half_gap_m = 0.5 * self.gap_m
        self.wet = self._above_m() > 0.0

    def _above_m(self) -> float:
        """How far the water stands over the height at which it turns [m]; waves and all."""
        return self._plant.surface_m[self._chamber] - self._turns_m + self._waves.now_m()

    def look(self) -> bool:
        """Wet or dry now."""
        above = self._above_m()
        if above > self._half_gap_m:
            self.wet = True
        elif above < -self._half_gap_m:
            self.wet = False
        return self.wet

    def calm_s(self, most: Most) -> float:
        """For how long the water will not reach the height at which it turns next [s]."""
        above = self._plant.surface_m[self._chamber] - self._turns_m
        room = self._half_gap_m - self._waves.most_m() + (above if self.wet else -above)
        return room / most.level_m_s


class Pad:
    """A leak pad: wet some seconds after enough water lies on the floor, and wet it stays."""

    drop_s: tuple[float, float] | None = PAD_DROP_S

    def __init__(self, plant: Plant, key: str) -> None:
        self._plant = plant
        self.least_m3 = plant.draws.between(f"{key}/least", *PAD_M3)
        self.delay_s = plant.draws.between(f"{key}/delay", *PAD_S)
        self._since_s: float | None = None
        self.wet = False

    def look(self) -> bool:
        """Wet or dry now."""
        if self._plant.floor_m3 < self.least_m3:
            self._since_s = None
        elif self._since_s is None:
            self._since_s = self._plant.t_s
        since_s = self._since_s
        self.wet = since_s is not None and self._plant.t_s - since_s >= self.delay_s
        return self.wet

    def calm_s(self, most: Most) -> float:
        """For how long the water on the floor will not reach it [s]."""
        lacks_m3 = self.least_m3 - self._plant.floor_m3
        if lacks_m3 > 0.0:
            return inf if most.floor_m3_s == 0.0 else lacks_m3 / most.floor_m3_s
        if self._since_s is None:
            return 0.0  # a look notes that the water is on its way
        return inf if self.wet else self._since_s + self.delay_s - self._plant.t_s


class Supply:
    """The input that tells whether there is mains."""

    drop_s: tuple[float, float] | None = None

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self.wet = plant.mains

    def look(self) -> bool:
        """Present or lost now."""
        self.wet = self._plant.mains
        return self.wet

    def calm_s(self, most: Most) -> float:
        """Only the story moves it."""
        del most
        return inf if self._plant.mains is self.wet else 0.0


class Contact(Cable):
    """One contact: what moves it, its faults, and the edges not yet shown.

    `pin_of` is the sensor in whose place it is plugged in: its own, until two are swapped.
    """

    def __init__(self, plant: Plant, key: str, watched: Watched, closed_when: bool) -> None:
        super().__init__(plant, key)
        self.pin_of = key
        self.watched = watched
        self.stuck: bool | None = None  # wet or present whatever happens, or dry or lost
        self._drops: Moments | None = None
        self._closed_when = closed_when
        self._chance = plant.draws.stream(f"{key}/bounce")
        self._coming: list[tuple[float, bool]] = []
        self.closed = self._heading = self._show(watched.look())

    def splash(self, a_minute: float) -> None:
        """Let spray wet it so often in a minute; nought ends it."""
        lasts_s = self.watched.drop_s
        assert lasts_s is not None  # the script asks only what water reaches
        chance = self._plant.draws.stream(f"{self.key}/splash")
        now_s = self._plant.t_s
        self._drops = Moments(chance, a_minute, lasts_s, now_s) if a_minute else None

    def _show(self, state: bool) -> bool:
        if self._drops is not None and self._drops.at(self._plant.t_s):
            state = True
        if self.parted:
            return False
        if self.stuck is not None:
            state = self.stuck
        return state == self._closed_when

    def edges(self, start_s: float, end_s: float) -> list[ContactEdge]:
        """The edges up to `end_s`, which is now; a turn since `start_s` bounces."""
        closed = self._show(self.watched.look())
        if closed != self._heading:
            self._heading = closed
            self._bounce(closed, start_s + self._chance.random() * (end_s - start_s))
        if not self._coming:
            return []
        due = [ContactEdge(t_s, self.pin_of, shut) for t_s, shut in self._coming if t_s <= end_s]
        if due:
            self._coming = self._coming[len(due) :]
            self.closed = due[-1].closed
        return due

    def calm_s(self, most: Most) -> float:
        """See `Watched`; here with the faults of the contact itself."""
        if self._coming or self._show(self.watched.wet) != self._heading:
            return 0.0
        calm_s = inf
        if self.stuck is None and not self.cable_cut:
            calm_s = self.watched.calm_s(most)
        if self._drops is not None:
            calm_s = min(calm_s, self._drops.next_s - self._plant.t_s)
        return min(calm_s, self.holds_s()) if self.loose else calm_s

    @property
    def turning(self) -> bool:
        """True while edges are on their way."""
        return bool(self._coming)

    def _bounce(self, closed: bool, at_s: float) -> None:
        if self._coming:
            at_s = max(at_s, self._coming[-1][0])  # the last turn has not come to rest yet
        lasts_s = self._chance.uniform(*BOUNCE_S)
        times = sorted(self._chance.random() for _ in range(2 * self._chance.randint(1, 3)))
        turn = closed
        for share in (0.0, *times):
            self._coming.append((at_s + share * lasts_s, turn))
            turn = not turn
