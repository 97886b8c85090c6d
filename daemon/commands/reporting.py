"""The report of `weirkeeper drill`: every drill's page, with the same night kept in other ways."""

from __future__ import annotations

import argparse
import shlex
from typing import TYPE_CHECKING

from daemon.errors import InputError
from rules.site.model import Site
from simulator.night.runner import run
from simulator.report.told import KEEPERS, Bands, Told
from simulator.report.write import Report, ReportError

if TYPE_CHECKING:
    from simulator.night.night import Progress
    from simulator.night.outcome import Outcome
    from simulator.story.drill import Drill


def bands(site: Site) -> Bands:
    """How far the capacity of each chamber's drains may be off, as the assessment doubts it."""
    from rules import engine
    from rules.assessment.doubt import doubt
    from rules.hydraulics.network import Hydraulics

    figures = engine.plan_for(site).figures
    found = doubt(site, figures, Hydraulics(site, bore="mean"))
    return {
        drained.chamber: (
            drained.firm.low / drained.firm.value,
            drained.firm.high / drained.firm.value,
        )
        for drained in found.drained
        if drained.firm.value > 0.0
    }


class Reporting:
    """A report that is being written; raises InputError where it cannot be."""

    def __init__(self, options: argparse.Namespace, site: Site, count: int) -> None:
        self._options = options
        self._known: tuple[Site, Bands] | None = None
        try:
            self._report = Report(options.report, site, options.seed, count)
        except ReportError as error:
            raise InputError(str(error)) from None

    def _of(self, site: Site) -> Bands:
        """The bands of a site, computed once; all drills but recordings are of one and the same."""
        if self._known is None or self._known[0] is not site:
            self._known = (site, bands(site))
        return self._known[1]

    def add(
        self, name: str, site: Site, drill: Drill, nights: dict[str, Outcome], progress: Progress
    ) -> None:
        """Add a drill, `nights` being those that were run already, by keeper."""
        guard, group = nights["guard"], drill.group or "others"
        nights = {k: night for k, night in nights.items() if night.not_applicable is None}
        try:
            if guard.not_applicable is not None:
                self._report.add_not_here(drill.title, group, guard.not_applicable)
                return
            seed = self._options.seed
            for keeper in KEEPERS:
                if keeper not in nights and drill.recording is None:
                    nights[keeper] = run(site, drill, seed, keeper=keeper, progress=progress)
            again = self._again(name)
            self._report.add(Told(name, group, site, drill, nights, self._of(site), again))
        except ReportError as error:
            raise InputError(str(error)) from None

    def _again(self, name: str) -> str:
        """The words that run this drill once more."""
        options = self._options
        words = ["weirkeeper", "drill", name, "--seed", str(options.seed)]
        if options.site is not None:
            words += ["--site", options.site]
        for hazard in options.without:
            words += ["--without", hazard]
        return shlex.join(words)

    @property
    def start(self) -> str:
        """Where the report begins."""
        return str(self._report.start)
