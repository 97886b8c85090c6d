"""The guard itself was held up, and an output dropped by its own lease.

The story: the machine hung, or was stopped, for longer than the lease; the pump went off without
the engine deciding so. It is said, and the pump comes back in the guarded order, not at once.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.response import LEASE_S
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site
from rules.site.outputs import PumpOutput


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every pump's output."""
    for key, output in site.outputs.items():
        if isinstance(output, PumpOutput):
            yield Row(
                "lease-lost",
                key,
                f"the guard did not renew it for {show.duration(LEASE_S)}",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.CUT_PUMP,
                priority.of("lease-lost"),
                (output.pump,),
            )


def present(row: Row, view: View) -> bool:
    """The output dropped since the last tick."""
    return bool(view.dropped) and view.dropped[view.plan.outputs[row.subject]]


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    return Saying(
        what=f"The guard was held up for more than {show.duration(LEASE_S)}",
        where=view.plan.site.label(row.subject),
        done="The output dropped by itself; the pump is started again in the guarded order.",
        do_now="If this comes again, look at the machine: its supply, its card, its load.",
    )


HAZARD = Hazard("lease-lost", rows, present, say)
