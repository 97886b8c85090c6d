"""A worked derivation of any figure of a site, asked for by its id and name."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from functools import partial

from rules.explain import chambers, floats, passages, pumps, stops, water, whole
from rules.explain.ground import Ground
from rules.explain.page import Page
from rules.plan import Plan
from rules.site.model import Site
from rules.site.passages import Branch

Writer = Callable[[Ground], Page]
NEAREST = 6
WHOLE: dict[str, Callable[[Ground, str], Page]] = {
    "volume": whole.volume,
    "turnover": whole.turnover,
    "evaporation": whole.evaporation,
    "reservoir-days": whole.reservoir_days,
    "salt-per-litre": whole.salt_per_litre,
    "viscosity": water.viscosity,
}
"""Figures of the whole site."""


def _with(write: Callable[[Ground, str], Page], key: str) -> Writer:
    return partial(_write, write, key)


def _write(write: Callable[[Ground, str], Page], key: str, ground: Ground) -> Page:
    return write(ground, key)


def _writers(site: Site) -> dict[str, Writer]:
    """What writes the page of each figure, in the order of the site file."""
    found = dict[str, Writer]()
    for name, write in WHOLE.items():
        if name != "reservoir-days" or site.top_off is not None:
            found[f"site.{name}"] = _with(write, f"site.{name}")
    drained = site.drained_chambers()
    for key in site.chambers:
        found[f"{key}.level"] = _with(chambers.level, key)
        if any(passage.from_ == key for passage in site.gravity().values()):
            found[f"{key}.allowed-level"] = _with(chambers.allowed_level, key)
        if key in drained:
            found[f"{key}.freeboard"] = _with(chambers.freeboard, key)
            found[f"{key}.margin"] = _with(chambers.margin, key)
    for key, passage in site.passages.items():
        if isinstance(passage, Branch):
            found[f"{key}.flow"] = _with(pumps.branch_flow, key)
        else:
            found[f"{key}.flow"] = _with(passages.running_flow, key)
            found[f"{key}.capacity"] = _with(passages.capacity, key)
    for key in site.pumps:
        found[f"{key}.flow"] = _with(pumps.pump_flow, key)
        found[f"{key}.over-intake"] = _with(stops.over_intake, key)
        found[f"{key}.drain-down"] = _with(stops.drain_down, key)
        found[f"{key}.room"] = _with(stops.room, key)
    for key in site.floats():
        found[f"{key}.height"] = _with(floats.height, key)
        found[f"{key}.response"] = _with(floats.response, key)
    return found


def known(plan: Plan) -> tuple[str, ...]:
    """All figures of a site that can be asked for."""
    return tuple(_writers(plan.site))


def explain(plan: Plan, figure: str) -> tuple[str, ...]:
    """The derivation of a figure, line by line; LookupError with a sentence if there is none."""
    return derive(Ground(plan), figure)


def derive(ground: Ground, figure: str) -> tuple[str, ...]:
    """The same from a ground that serves several figures, whose hydraulics are then built once."""
    writers = _writers(ground.site)
    if figure not in writers:
        near = ", ".join(_nearest(figure.lower(), tuple(writers)))
        raise LookupError(f'"{figure}" is no figure of this site; the nearest are {near}')
    return writers[figure](ground).lines


def _nearest(figure: str, figures: tuple[str, ...]) -> list[str]:
    """The figures of the same thing and those of the same name, else those spelt alike."""
    key, _, name = figure.rpartition(".")
    of_thing = [known for known in figures if known.startswith(f"{key or name}.")]
    of_name = [known for known in figures if known.endswith(f".{name}")]
    found = [
        *get_close_matches(figure, of_thing, NEAREST // 2, 0.0),
        *get_close_matches(figure, of_name, NEAREST // 2, 0.0),
    ]
    return found or get_close_matches(figure, figures, NEAREST, 0.0)
