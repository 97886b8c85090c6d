"""What happens in a drill, done to the plant, its sensors and the guard at its time."""

from __future__ import annotations

from dataclasses import dataclass

from rules.site.model import Site
from simulator.signals.stand import Stand
from simulator.story.acts import Act, Part
from simulator.story.acts_guard import GuardHost, to_the_guard
from simulator.story.acts_machines import to_the_machines
from simulator.story.acts_signals import (
    to_the_cables,
    to_the_contacts,
    to_the_levels,
    to_the_meters,
)
from simulator.story.acts_water import to_the_passages, to_the_water
from simulator.story.drill import Drill
from simulator.story.happenings import Happening

OF_THE_SITE = (
    to_the_water,
    to_the_passages,
    to_the_machines,
    to_the_contacts,
    to_the_cables,
    to_the_meters,
    to_the_levels,
)


@dataclass(slots=True)
class Fault:
    """One thing that happens, from when until when [s]."""

    at_s: float
    until_s: float
    act: Act
    begun: bool = False


class Script:
    """All that happens in one drill on one stand, and to the guard on `host` if there is one.

    Raises NoSuchRoleError when the site has nothing that it could happen to. What happens to the
    daemon's clock, disk and broker is left to whoever runs the whole daemon: `needs_daemon`.
    """

    def __init__(
        self, site: Site, stand: Stand, drill: Drill, host: GuardHost | None = None
    ) -> None:
        self.host = host
        self._stand = stand
        self.needs_daemon: tuple[Happening, ...] = tuple(
            event for event in drill.happens if event.needs_daemon
        )
        faults = [
            Fault(
                event.at + part.after_s,
                event.at + part.after_s + part.lasts_s,
                part.act,
            )
            for event in drill.happens
            for part in self._parts(site, stand, event)
        ]
        self._coming = sorted(faults, key=lambda fault: fault.at_s)

    def _parts(self, site: Site, stand: Stand, event: Happening) -> list[Part]:
        parts = [part for kind in OF_THE_SITE for part in kind(site, stand, event)]
        return parts + to_the_guard(site, lambda: self.host, event)

    def advance(self, t_s: float) -> None:
        """Do what is due at `t_s` from the start of the drill."""
        turns = False
        for fault in self._coming:
            if t_s < fault.at_s:
                break
            ends = t_s >= fault.until_s
            turns = turns or ends or not fault.begun
            fault.begun = True
            fault.act(1.0 if ends else (t_s - fault.at_s) / (fault.until_s - fault.at_s))
        if turns:
            self._stand.disturb()
            self._coming = [fault for fault in self._coming if t_s < fault.until_s]
