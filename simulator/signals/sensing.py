"""What the sensors make of the plant: contacts that bounce and stick, pulses that drift.

A look at the plant gives the edges of every contact since the last look, in order of time, and
the pulses of every meter. The direct board and the pins both show these same edges.
"""

from __future__ import annotations

from math import inf

from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, LevelSensor, MainsSensor
from simulator.signals.contacts import Contact, ContactEdge, Float, Most, Pad, Supply, Watched
from simulator.signals.levels import Level
from simulator.signals.meters import Meter
from simulator.water.plant import Plant

SURPRISE = 4.0
"""A rate at which something moves is trusted to grow no more than so many times, unseen."""


class Sensors:
    """All sensors of one site on one plant.

    `contacts` go by the sensor that they are, `plugged` by the one in whose place they are plugged
    in; the two are the same until somebody swaps them.
    """

    def __init__(self, site: Site, plant: Plant) -> None:
        self._plant = plant
        self._floor_s = plant.t_s
        self._floor_m3 = plant.floor_m3
        self._seen_s = plant.t_s
        self._counted_s = plant.t_s
        self.contacts: dict[str, Contact] = {}
        self.meters: dict[str, Meter] = {}
        self.levels: dict[str, Level] = {}
        rough = {rise.to for rise in plant.rises.values()}  # where pumps stir the surface
        for key, sensor in site.sensors.items():
            match sensor:
                case FlowMeter():
                    self.meters[key] = Meter(plant, key, sensor)
                case LevelSensor():
                    waves = plant.index[sensor.chamber] in rough
                    self.levels[key] = Level(plant, key, sensor, waves)
                case FloatSwitch():
                    waves = plant.index[sensor.chamber] in rough
                    self._watch(key, Float(plant, key, sensor, waves), sensor.wet_when_closed)
                case LeakSensor():
                    self._watch(key, Pad(plant, key), sensor.closed_when == "wet")
                case MainsSensor():
                    self._watch(key, Supply(plant), sensor.closed_when == "present")
        self.plugged = dict(self.contacts)
        self._replugged: list[ContactEdge] = []

    def _watch(self, key: str, watched: Watched, closed_when: bool) -> None:
        self.contacts[key] = Contact(self._plant, key, watched, closed_when)

    def swap(self, one: str, other: str) -> None:
        """Plug two contacts in at each other's place, by the ids of these places."""
        a, b = self.plugged[one], self.plugged[other]
        a.pin_of, b.pin_of = other, one
        self.plugged[one], self.plugged[other] = b, a
        if a.closed != b.closed:
            now_s = self._plant.t_s
            self._replugged += [
                ContactEdge(now_s, one, b.closed), ContactEdge(now_s, other, a.closed)
            ]  # fmt: skip

    def unswap(self) -> None:
        """Plug every contact in at its own place."""
        for key, contact in self.contacts.items():
            if contact.pin_of != key:
                self.swap(key, contact.pin_of)

    def look(self) -> tuple[list[ContactEdge], dict[str, int]]:
        """The edges since the last look in order of time, and each meter's new pulses."""
        start_s, end_s = self._seen_s, self._plant.t_s
        self._seen_s = end_s
        edges, self._replugged = self._replugged, []
        for contact in self.contacts.values():
            edges += contact.edges(start_s, end_s)
        if len(edges) > 1:
            edges.sort()
        return edges, self.count()

    def count(self) -> dict[str, int]:
        """Each meter's new pulses."""
        lasted_s, self._counted_s = self._plant.t_s - self._counted_s, self._plant.t_s
        return {key: meter.look(lasted_s) for key, meter in self.meters.items()}

    def calm_s(self, most_m_s: float) -> float:
        """For how long from now no contact turns if no level moves faster than so [s].

        Nought or less if a look is due.
        """
        if self._replugged:
            return 0.0
        calm_s, most = inf, Most(most_m_s, self._wetting_m3_s())
        for contact in self.contacts.values():
            calm_s = min(calm_s, contact.calm_s(most))
            if calm_s <= 0.0:
                return 0.0
        for sensor in (*self.meters.values(), *self.levels.values()):
            if sensor.loose:
                calm_s = min(calm_s, sensor.holds_s())
        self._seen_s = self._plant.t_s  # so far nothing turned
        return calm_s

    def _wetting_m3_s(self) -> float:
        """How much water comes onto the floor at most, by what is known and what came of late."""
        plant = self._plant
        now_s, floor_m3 = plant.t_s, plant.floor_m3
        leaking = sum(plant.leak_m3_s.values()) if plant.leak_m3_s else 0.0
        for rise in plant.rises.values():
            if rise.beside:
                leaking += rise.beside * abs(rise.flow_m3_s)
        came = 0.0
        if floor_m3 > self._floor_m3 and now_s > self._floor_s:
            came = SURPRISE * (floor_m3 - self._floor_m3) / (now_s - self._floor_s)
        self._floor_s, self._floor_m3 = now_s, floor_m3
        return max(leaking, came)

    @property
    def turning(self) -> bool:
        """True while a contact has turned whose edges are not all out yet."""
        return any(contact.turning for contact in self.contacts.values())
