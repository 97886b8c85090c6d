"""One look of the guard as one line of a recording."""

from __future__ import annotations

from daemon.recording import format as form
from daemon.recording import measures
from rules.signals import Event, Observation
from rules.site.model import Site


class Rows:
    """Makes the lines of a site's recordings; `header` names their columns."""

    def __init__(self, site: Site) -> None:
        self._sensors = tuple(site.sensors)
        self._outputs = tuple(site.outputs)
        columns = (
            form.TIME,
            *(measures.column_of(key, sensor) for key, sensor in site.sensors.items()),
            *(f"{key}.on" for key in site.outputs),
            *form.TEXTS,
        )
        self.header = ",".join(columns)

    def line(
        self, observation: Observation, outputs: tuple[bool, ...], events: tuple[Event, ...]
    ) -> str:
        """One look, what was commanded at it, and what was said; without a line end."""
        cells = [repr(observation.t_s)]
        notes = []
        for key, reading in zip(self._sensors, observation.readings, strict=True):
            cells.append(measures.shown(reading.value))
            if note := form.note_of(key, reading):
                notes.append(note)
        cells += ["1" if on else "0" for on in outputs]
        gone = zip(self._outputs, observation.dropped, strict=False)
        cells.append(" ".join(key for key, dropped in gone if dropped))
        cells.append(form.commands_cell(observation.commands))
        cells.append(form.events_cell(events))
        cells.append(";".join(notes))
        return ",".join(cells)
