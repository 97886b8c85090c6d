"""Floats that vote: two or three of one duty in one chamber, at the same height."""

from __future__ import annotations

from collections.abc import Iterator

from rules.site.finding import Finding
from rules.site.model import Site
from rules.site.sensors import FloatSwitch
from rules.site.show import length

SAME_M = 0.005
"""Floats that hang no farther apart than this are at one height [m]: a ruler tells no better."""

VOTES: dict[int, tuple[str, ...]] = {2: ("1oo2",), 3: ("2oo3", "1oo3")}
"""How so many floats may vote, the usual way first: so many of so many must ask for the act.

Two act each by itself. Of three, two must ask: one that hangs neither acts nor keeps the other two
from it. "1oo3" is stricter, acts sooner, and acts falsely as often as any of the three does.
"""


def groups(site: Site) -> Iterator[tuple[str, ...]]:
    """The floats that vote together, in the order of the site file.

    Only one top-off float is ever asked, so that these do not vote. Four floats or more at one
    height act each by itself, as floats at different heights do.
    """
    kinds = dict.fromkeys((s.chamber, s.duty) for s in site.floats().values())
    for chamber, duty in kinds:
        if duty == "top-off":
            continue
        floats = site.floats(chamber, duty)
        for cluster in _clusters(floats):
            if len(cluster) in VOTES:
                yield tuple(key for key in floats if key in cluster)


def _clusters(floats: dict[str, FloatSwitch]) -> Iterator[list[str]]:
    """The floats by height; none hangs farther than the tolerance over the lowest of its own."""
    cluster: list[str] = []
    for key in sorted(floats, key=lambda key: floats[key].height):
        if cluster and floats[key].height - floats[cluster[0]].height > SAME_M + 1e-9:
            yield cluster
            cluster = []
        cluster.append(key)
    if cluster:
        yield cluster


def voting(site: Site, group: tuple[str, ...]) -> str:
    """How a group votes: as its floats say, or the usual way for so many."""
    floats = site.floats()
    told = next((floats[key].voting for key in group if floats[key].voting), None)
    return told or VOTES[len(group)][0]


def told_votes(site: Site) -> Iterator[Finding]:
    """What a float says of its vote must suit the floats that hang beside it."""
    grouped = {key: group for group in groups(site) for key in group}
    units = site.site.units
    for key, sensor in site.floats().items():
        if sensor.voting is None:
            continue
        table, group = f"sensors.{key}", grouped.get(key)
        if group is None:
            yield (
                table,
                "voting",
                f"it votes with nothing: one or two more {sensor.duty} floats would have to hang "
                f"in {sensor.chamber} within {length(SAME_M, units)} of its height; leave it out",
            )
            continue
        if sensor.voting not in VOTES[len(group)]:
            may = " or ".join(f'"{way}"' for way in VOTES[len(group)])
            yield table, "voting", f"{len(group)} floats hang there ({', '.join(group)}): say {may}"
        elif sensor.voting != voting(site, group):
            first = next(k for k in group if site.floats()[k].voting)
            yield table, "voting", f"[sensors.{first}] of the same vote says another; say one"
