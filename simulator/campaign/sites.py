"""Sites drawn around one: its topology, with other tanks, pumps, pipes and heights."""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Callable
from typing import Any

from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.problems import SiteError
from simulator.campaign import toml_text
from simulator.campaign.promises import Promises

SITE_NIGHTS = 20
"""So many nights on end have the same drawn site: assessing one takes as long as a night."""

TRIES = 200
_NUMBER = re.compile(r"^([-+0-9.]+)(\s*\D.*)$")
BORES = ("1/2 in", "3/4 in", "1 in", "1-1/4 in", "1.5 in", "2 in")
PLAN, PUMP, FLOW = (0.75, 1.4), (0.85, 1.1), (0.7, 1.1)
HEIGHT = 0.006  # heights of edges and mouths move by so much of themselves
FLOAT = 0.002
LENGTH = (0.7, 1.4)


def random_site_text(
    text: str, seed: int, block: int, judge: Callable[[Site], Promises | None]
) -> tuple[str, Site, Promises]:
    """The text of site number `block` around `text`, read, and what is promised of it.

    Sites that contradict themselves, or that are not safe to leave, are drawn anew.
    """
    name = tomllib.loads(text)["site"]["id"]
    for attempt in range(TRIES):
        chance = random.Random(f"site {block} of {seed} around {name}, {attempt}")
        tables = tomllib.loads(text)
        _vary(tables, chance)
        drawn = toml_text.write(tables)
        try:
            site = parse_site(drawn, "site")
            promises = judge(site)
        except SiteError:
            continue
        if promises is not None:
            return drawn, site, promises
    raise ValueError(f"no safe site was found around {name} in {TRIES} attempts")


def _vary(tables: dict[str, Any], chance: random.Random) -> None:
    tables["site"]["name"] = f"drawn around: {tables['site']['name']}"
    tables.pop("measured", None)  # that was measured on the other site
    for chamber in tables["chambers"].values():
        _scale(chamber, ("length", "width"), PLAN, chance)
        _scale(chamber, ("area",), PLAN, chance)
    flow, head = chance.uniform(*FLOW), chance.uniform(*PUMP)
    for pump in tables["pumps"].values():
        for point in pump.get("curve", ()):
            point["flow"] = _times(point["flow"], flow)
            point["head"] = _times(point["head"], head)
    for passage in tables["passages"].values():
        drain = passage["kind"].endswith("-drain")
        if drain and chance.random() < 0.3 and "pipe" in passage:
            passage["pipe"] = _other_bore(passage["pipe"], chance)
        if drain:
            near = (1.0 - HEIGHT, 1.0 + HEIGHT)
            _scale(passage, ("mouth", "outlet"), near, chance)
        _scale(passage, ("length",), LENGTH, chance)
        _scale(passage, ("clean_loss",), (0.7, 1.3), chance)
    for sensor in tables.get("sensors", {}).values():
        if sensor.get("duty") in ("spill-edge", "drain-watch"):
            _scale(sensor, ("height",), (1.0 - FLOAT, 1.0 + FLOAT), chance)
    if "top_off" in tables:
        _scale(tables["top_off"], ("rate",), (0.7, 1.4), chance)
    _scale(tables["water"], ("evaporation",), (0.5, 2.0), chance)


def _scale(
    table: dict[str, Any], keys: tuple[str, ...], by: tuple[float, float], chance: random.Random
) -> None:
    for key in keys:
        if isinstance(table.get(key), str):
            table[key] = _times(table[key], chance.uniform(*by))


def _times(text: str, factor: float) -> str:
    """A quantity's text, multiplied; fractions of an inch stay as they are."""
    found = _NUMBER.match(text)
    if found is None or "/" in text.partition(" ")[0]:
        return text
    return f"{float(found[1]) * factor:.5g}{found[2]}"


def _other_bore(pipe: str, chance: random.Random) -> str:
    """A neighbouring nominal bore of the same schedule."""
    bore, _, schedule = pipe.rpartition(" ")
    if bore not in BORES:
        return pipe
    at = BORES.index(bore) + chance.choice((-1, 1))
    return f"{BORES[min(max(at, 0), len(BORES) - 1)]} {schedule}"
