"""Where the doubt of a pump's flow and of a margin comes from, on a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.assessment.doubt import is_tuned
from rules.explain.ground import Ground
from rules.explain.page import FLOW, SHARE, Page
from rules.explain.pipe import put_pipe_doubt
from rules.hydraulics.measured import shares_of
from rules.site.measured import Measured
from rules.site.passages import Branch


def measured_of(ground: Ground, pump: str) -> tuple[str, Measured] | None:
    """The measurement of a pump or of one of its branches, and its id, if there is one."""
    things = {pump, *ground.site.branches(pump)}
    return next(((k, m) for k, m in ground.site.measured.items() if m.of in things), None)


@dataclass(frozen=True, slots=True)
class _Branches:
    """The branches of one pump on a page, and the doubt of each one's pipe.

    `tag` is that of the pipe of the branch asked for, where its friction stands on the page.
    """

    page: Page
    ground: Ground
    pump: str
    asked: str
    tag: str | None

    @property
    def pipes(self) -> dict[str, float]:
        """How far each branch's flow may be off for its pipe's sake, as a share."""
        flows, found = self.ground.flows_m3_s, self.ground.systems[self.pump].branches
        return {key: branch.pipe.uncertainty(flows[key]) for key, branch in found.items()}

    @property
    def mark(self) -> str:
        """What tells this pump's symbols from those of others."""
        pumps = list(self.ground.site.pumps)
        return "" if len(pumps) == 1 else f"_{pumps.index(self.pump) + 1}"

    def put_pipe(self, key: str, symbol: str) -> None:
        """The doubt of one pipe, worked out where its friction stands on the page."""
        if key == self.asked and self.tag is not None and self.page.knows(f"f{self.tag}"):
            pipe = self.ground.systems[self.pump].branches[key].pipe
            put_pipe_doubt(self.page, pipe, self.ground.flows_m3_s[key], symbol, tag=self.tag)
            return
        what = f"doubt of the pipe of the {self.ground.site.label(key)}"
        self.page.given(symbol, self.pipes[key], SHARE, what, f"{key}.flow")


def put_branch_doubt(
    page: Page, ground: Ground, branch: str, name: str, tag: str | None = None
) -> float:
    """How far a branch's flow may be off, as a share, on the page as `name`; returns it.

    `tag` is that of the branch's pipe, where its friction stands on the page.
    """
    site = ground.site
    passage = site.passages[branch]
    assert isinstance(passage, Branch)
    of = _Branches(page, ground, passage.pump, branch, tag)
    off = ground.mean.uncertainty(branch)
    found = measured_of(ground, passage.pump)
    if found is None:
        own = f"ut{of.mark}"
        if not page.knows(own):
            tolerance = site.pumps[passage.pump].tolerance
            what, source = "how far the pump may be off its curve", f"pumps.{passage.pump}"
            page.given(own, tolerance, SHARE, what, f"{source}.tolerance")
        of.put_pipe(branch, f"{name}p")
        formula = f"sqrt({own}^2 + {name}p^2)"
    else:
        formula = _put_measured(of, name, *found)
    page.step(f"Doubt of the flow of the {site.label(branch)}", name, formula, off, SHARE)
    return off


def _put_measured(of: _Branches, name: str, table: str, measured: Measured) -> str:
    """What the doubt of a branch is made of where its pump was measured; returns the formula."""
    own, site = f"umeas{of.mark}", of.ground.site
    if not of.page.knows(own):
        what = f"tolerance of what was measured on {measured.date}"
        of.page.given(own, measured.tolerance, SHARE, what, f"measured.{table}.tolerance")
    if measured.of == of.asked:
        return own
    if measured.of != of.pump:
        of.put_pipe(of.asked, f"{name}p")
        of.put_pipe(measured.of, f"{name}m")
        return f"sqrt({own}^2 + {name}p^2 + {name}m^2)"
    parts = [f"{own}^2"]
    for i, (key, share) in enumerate(shares_of(of.ground.figures.lift(of.pump).branches).items()):
        of.put_pipe(key, f"{name}p{i}")
        said = f"share of the pump's flow that the {site.label(key)} takes"
        of.page.given(f"{name}s{i}", share, SHARE, said)
        moved = f"(1 - {name}s{i})" if key == of.asked else f"{name}s{i}"
        parts.append(f"({moved} * {name}p{i})^2")
    return f"sqrt({' + '.join(parts)})"


def put_margin_band(page: Page, ground: Ground, key: str, firm: Sequence[str]) -> None:
    """The band of a margin, and where each part of it comes from."""
    site, bands = ground.site, ground.doubt.of_chamber(key)
    drained = ground.drained(key)
    into = {key, *drained.feeders}
    branches = [k for k, p in site.passages.items() if isinstance(p, Branch) and p.to in into]
    page.range_and_doubt("What reaches it is as doubtful as the pump and its pipes:")
    for i, branch in enumerate(branches, start=1):
        put_branch_doubt(page, ground, branch, f"u{i}")
    off = bands.inflow.high / bands.inflow.value - 1.0
    if branches:
        names = ", ".join(f"u{i}" for i, _ in enumerate(branches, start=1))
        largest = names if len(branches) == 1 else f"max({names})"
        page.step("Doubt of what reaches it", "u", largest, off, SHARE)
    else:
        page.given("u", off, SHARE, "doubt of what reaches it; no branch feeds it directly")
    page.step("What reaches it at the most", "Qinhigh", "Qin * (1 + u)", bands.inflow.high, FLOW)
    page.step("And at the least", "Qinlow", "Qin * max(0, 1 - u)", bands.inflow.low, FLOW)
    lows, highs = [], []
    for i, name in enumerate(firm, start=1):
        band, label = bands.capacity[name], site.label(name)
        page.given(f"Q{i}low", band.low, FLOW, f"the {label} at the least", f"{name}.capacity")
        page.given(f"Q{i}high", band.high, FLOW, "and at the most", f"{name}.capacity")
        lows.append(f"Q{i}low * (1 + u)" if is_tuned(site, name) else f"Q{i}low")
        highs.append(f"Q{i}high * (1 - u)" if is_tuned(site, name) else f"Q{i}high")
    if any(is_tuned(site, name) for name in firm):
        page.say(
            "A siphon drain that was tuned was set against the very flow that runs: it passes its "
            "share of that flow, so it grows and falls with it."
        )
    page.say("At worst everything leans the wrong way at once; at best, the other way:")
    low = f"min(M, ({' + '.join(lows) or '0'}) / Qinhigh)"
    high = f"max(M, ({' + '.join(highs) or '0'}) / Qinlow)"
    page.step("", "Mlow", low, bands.margin.low)
    page.step("", "Mhigh", high, bands.margin.high)
    page.say("The verdict goes by the low end.")
