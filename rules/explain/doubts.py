"""Where the doubt of a pump's flow and of a margin comes from, on a page."""

from __future__ import annotations

from collections.abc import Sequence

from rules.assessment.doubt import is_tuned
from rules.explain.ground import Ground
from rules.explain.page import FLOW, SHARE, Page
from rules.explain.pipe import put_pipe_doubt
from rules.site.measured import Measured
from rules.site.passages import Branch


def measured_of(ground: Ground, pump: str) -> tuple[str, Measured] | None:
    """The measurement of a pump or of one of its branches, and its id, if there is one."""
    things = {pump, *ground.site.branches(pump)}
    return next(((k, m) for k, m in ground.site.measured.items() if m.of in things), None)


def put_branch_doubt(
    page: Page, ground: Ground, branch: str, name: str, tag: str | None = None
) -> float:
    """How far a branch's flow may be off, as a share, on the page as `name`; returns it.

    `tag` is that of the branch's pipe, where its friction stands on the page.
    """
    site, flows = ground.site, ground.flows_m3_s
    passage = site.passages[branch]
    assert isinstance(passage, Branch)
    systems = ground.systems[passage.pump].branches
    pipes = {key: found.pipe.uncertainty(flows[key]) for key, found in systems.items()}
    off, label = ground.mean.uncertainty(branch), site.label(branch)
    own = f"{name}p"

    def put_pipe(key: str, symbol: str) -> None:
        if page.knows(symbol):
            return
        if key == branch and tag is not None and page.knows(f"f{tag}"):
            put_pipe_doubt(page, systems[key].pipe, flows[key], symbol, tag)
            return
        page.given(
            symbol, pipes[key], SHARE, f"doubt of the pipe of the {site.label(key)}", f"{key}.flow"
        )

    title = f"Doubt of the flow of the {label}"
    found = measured_of(ground, passage.pump)
    if found is None:
        if not page.knows("ut"):
            tolerance, source = (
                site.pumps[passage.pump].tolerance,
                f"pumps.{passage.pump}.tolerance",
            )
            page.given("ut", tolerance, SHARE, "how far the pump may be off its curve", source)
        put_pipe(branch, own)
        page.step(title, name, f"sqrt(ut^2 + {own}^2)", off, SHARE)
        return off
    table, measured = found
    if not page.knows("um"):
        what = f"tolerance of what was measured on {measured.date}"
        page.given("um", measured.tolerance, SHARE, what, f"measured.{table}.tolerance")
    if measured.of == branch:
        page.step(f"{title}, which was measured", name, "um", off, SHARE)
    elif measured.of in pipes:
        put_pipe(branch, own)
        put_pipe(measured.of, f"{name}m")
        page.step(title, name, f"sqrt(um^2 + {own}^2 + {name}m^2)", off, SHARE)
    else:
        parts, whole = ["um^2"], sum(flows[key] for key in pipes)
        for i, key in enumerate(pipes, start=1):
            put_pipe(key, f"{name}p{i}")
            share = flows[key] / whole if whole > 0.0 else 0.0
            said = f"share of the pump's flow that the {site.label(key)} takes"
            page.given(f"{name}s{i}", share, SHARE, said)
            moved = f"(1 - {name}s{i})" if key == branch else f"{name}s{i}"
            parts.append(f"({moved} * {name}p{i})^2")
        page.step(title, name, f"sqrt({' + '.join(parts)})", off, SHARE)
    return off


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
