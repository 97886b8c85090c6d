"""What the sensors make of the plant: contacts that bounce and stick, pulses that drift.

A look at the plant gives the edges of every contact since the last look, in order of time, and
the pulses of every meter. The direct board and the pins both show these same edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sin

from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, LevelSensor, MainsSensor
from simulator.signals.levels import Level
from simulator.water.plant import Plant

GAP_M = (0.002, 0.004)  # between the levels at which a float turns up and down
HEIGHT_ERROR_M = 0.001  # how far a float hangs from where the site file says
WAVE_M = (0.001, 0.003)  # height of the waves above the mean level of a display
WAVE_S = (0.8, 2.5)
BOUNCE_S = (0.0005, 0.001)
PAD_M3 = (0.0001, 0.0003)  # water on the floor that reaches a leak pad
PAD_S = (2.0, 8.0)  # and the time it takes to get there
START_M3_S = (4e-6, 8e-6)  # under this flow a meter's wheel stands still


@dataclass(frozen=True, slots=True, order=True)
class ContactEdge:
    """A contact that closes or opens, and when [s]."""

    t_s: float
    sensor: str
    closed: bool


class Contact:
    """One contact: the state it should show, its faults, and the edges not yet shown."""

    def __init__(self, plant: Plant, key: str, closed_when: bool) -> None:
        self.key = key
        self.cable_cut = False
        self.stuck: bool | None = None  # wet or present whatever happens, or dry or lost
        self._closed_when = closed_when
        self._chance = plant.draws.stream(f"{key}/bounce")
        self._coming: list[ContactEdge] = []
        self._heading = False
        self.closed = False

    def begin(self, state: bool) -> None:
        """Take the first state without an edge."""
        self.closed = self._heading = self._show(state)

    def _show(self, state: bool) -> bool:
        if self.cable_cut:
            return False
        if self.stuck is not None:
            state = self.stuck
        return state == self._closed_when

    def edges(self, state: bool, start_s: float, end_s: float) -> list[ContactEdge]:
        """The edges up to `end_s`, given the state that now holds; a turn bounces."""
        closed = self._show(state)
        if closed != self._heading:
            self._heading = closed
            self._bounce(closed, start_s + self._chance.random() * (end_s - start_s))
        if not self._coming:
            return []
        due = [edge for edge in self._coming if edge.t_s <= end_s]
        if due:
            self._coming = self._coming[len(due) :]
            self.closed = due[-1].closed
        return due

    def _bounce(self, closed: bool, at_s: float) -> None:
        if self._coming:
            at_s = max(at_s, self._coming[-1].t_s)  # the last turn has not come to rest yet
        lasts_s = self._chance.uniform(*BOUNCE_S)
        times = sorted(self._chance.random() for _ in range(2 * self._chance.randint(1, 3)))
        turn = closed
        for share in (0.0, *times):
            self._coming.append(ContactEdge(at_s + share * lasts_s, self.key, turn))
            turn = not turn


class Float:
    """A float switch: wet above its height, dry below it, with a gap between and waves on top."""

    def __init__(self, plant: Plant, key: str, switch: FloatSwitch, waves: bool) -> None:
        self._plant = plant
        self._chamber = plant.index[switch.chamber]
        draws = plant.draws
        self.gap_m = draws.between(f"{key}/gap", *GAP_M)
        self.height_m = switch.height + draws.between(
            f"{key}/height", -HEIGHT_ERROR_M, HEIGHT_ERROR_M
        )
        self._wave_m = draws.between(f"{switch.chamber}/wave", *WAVE_M) if waves else 0.0
        self._turns_m = self.height_m + plant.shapes.bottom_m[self._chamber]
        self._half_gap_m = 0.5 * self.gap_m
        self._pulse = 2.0 * pi / draws.between(f"{switch.chamber}/period", *WAVE_S)
        self._phase = draws.between(f"{key}/phase", -pi, pi)
        self.wet = self._above_m() > 0.0

    def _above_m(self) -> float:
        """How far the water stands over the height at which it turns [m]; waves and all."""
        above = self._plant.surface_m[self._chamber] - self._turns_m
        if self._wave_m:
            above += self._wave_m * sin(self._pulse * self._plant.t_s + self._phase)
        return above

    def look(self) -> bool:
        """Wet or dry now."""
        above = self._above_m()
        if above > self._half_gap_m:
            self.wet = True
        elif above < -self._half_gap_m:
            self.wet = False
        return self.wet


class Pad:
    """A leak pad: wet some seconds after enough water lies on the floor, and wet it stays."""

    def __init__(self, plant: Plant, key: str) -> None:
        self._plant = plant
        self.least_m3 = plant.draws.between(f"{key}/least", *PAD_M3)
        self.delay_s = plant.draws.between(f"{key}/delay", *PAD_S)
        self._since_s: float | None = None

    def look(self) -> bool:
        """Wet or dry now."""
        if self._plant.floor_m3 < self.least_m3:
            self._since_s = None
            return False
        if self._since_s is None:
            self._since_s = self._plant.t_s
        return self._plant.t_s - self._since_s >= self.delay_s


class Supply:
    """The input that tells whether there is mains."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant

    def look(self) -> bool:
        """Present or lost now."""
        return self._plant.mains


class Meter:
    """A flow meter: pulses at the true frequency, off by its own error, either way of flow."""

    def __init__(self, plant: Plant, key: str, meter: FlowMeter) -> None:
        self._source = plant.lifts.get(meter.on) or plant.rises[meter.on]
        error = plant.draws.between(f"{key}/error", -meter.tolerance, meter.tolerance)
        self.pulses_m3 = meter.pulses * (1.0 + error)
        self.drift = 0.0  # share by which it has come to read more; less when below zero
        self.silent = False
        self.pulses = 0
        self._start_m3_s = plant.draws.between(f"{key}/start", *START_M3_S)
        self._read_m3 = self._source.moved_m3
        self._part = 0.0

    def look(self, lasted_s: float) -> int:
        """Count on; the pulses since the last look."""
        moved = self._source.moved_m3 - self._read_m3
        self._read_m3 = self._source.moved_m3
        if self.silent or moved < self._start_m3_s * lasted_s:
            return 0
        self._part += moved * self.pulses_m3 * (1.0 + self.drift)
        new = int(self._part)
        self._part -= new
        self.pulses += new
        return new


class Sensors:
    """All sensors of one site on one plant."""

    def __init__(self, site: Site, plant: Plant) -> None:
        self._plant = plant
        self._seen_s = plant.t_s
        self.contacts: dict[str, Contact] = {}
        self.meters: dict[str, Meter] = {}
        self.levels: dict[str, Level] = {}
        self.watching: list[tuple[Contact, Float | Pad | Supply]] = []
        rough = {rise.to for rise in plant.rises.values()}  # where pumps stir the surface
        for key, sensor in site.sensors.items():
            match sensor:
                case FlowMeter():
                    self.meters[key] = Meter(plant, key, sensor)
                case LevelSensor():
                    self.levels[key] = Level(plant, key, sensor)
                case FloatSwitch():
                    waves = plant.index[sensor.chamber] in rough
                    watched = Float(plant, key, sensor, waves)
                    self._watch(key, watched, sensor.wet_when_closed)
                case LeakSensor():
                    self._watch(key, Pad(plant, key), sensor.closed_when == "wet")
                case MainsSensor():
                    self._watch(key, Supply(plant), sensor.closed_when == "present")

    def _watch(self, key: str, watched: Float | Pad | Supply, closed_when: bool) -> None:
        contact = Contact(self._plant, key, closed_when)
        contact.begin(watched.look())
        self.contacts[key] = contact
        self.watching.append((contact, watched))

    def look(self) -> tuple[list[ContactEdge], dict[str, int]]:
        """The edges since the last look in order of time, and each meter's new pulses."""
        start_s, end_s = self._seen_s, self._plant.t_s
        self._seen_s = end_s
        edges: list[ContactEdge] = []
        for contact, watched in self.watching:
            edges += contact.edges(watched.look(), start_s, end_s)
        if len(edges) > 1:
            edges.sort()
        lasted_s = end_s - start_s
        return edges, {key: meter.look(lasted_s) for key, meter in self.meters.items()}
