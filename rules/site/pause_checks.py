"""Checks of planned pauses: pumps that can be stopped, and times that fit one another."""

from __future__ import annotations

from collections.abc import Iterator

from rules.site.finding import Finding
from rules.site.model import Site
from rules.site.pauses import LONGEST_S, USUAL_S
from rules.site.show import duration


def pauses(site: Site) -> Iterator[Finding]:
    """Every planned pause names pumps that an output powers, and fits into its longest time."""
    for kind, pause in site.pauses.items():
        table = f"pauses.{kind}"
        for pump in pause.pumps or ():
            if pump not in site.pumps:
                known = ", ".join(site.pumps)
                yield table, "pumps", f'"{pump}" is no pump of this site; its pumps are {known}'
            elif site.pump_output(pump) is None:
                yield table, "pumps", f"no output powers {pump}: the guard cannot stop it"
        usual_s = USUAL_S[kind] if pause.usual is None else pause.usual
        longest_s = LONGEST_S[kind] if pause.longest is None else pause.longest
        if usual_s > longest_s:
            yield (
                table,
                "usual" if pause.usual is not None else "longest",
                f"it lasts {duration(usual_s)} if nobody says otherwise, which is more than the "
                f"longest, {duration(longest_s)}",
            )
