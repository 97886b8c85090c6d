"""The pages of a pump's flow and of a branch's: where the pump runs against its own pipes."""

from __future__ import annotations

from rules.explain.curve import put_curve
from rules.explain.doubts import measured_of, put_branch_doubt
from rules.explain.ground import Ground
from rules.explain.page import FLOW, METRE, PLAIN, SHARE, Named, Page
from rules.explain.pipe import PipeSaid, put_area, put_driven, put_k, put_lost, put_pipe
from rules.hydraulics.fittings import of_run
from rules.hydraulics.friction import PipeRun
from rules.hydraulics.valves import observed_k
from rules.site.passages import Branch


def pump_flow(ground: Ground, key: str) -> Page:
    """The page of what a pump lifts, and how its branches share it."""
    site, lift, label = ground.site, ground.figures.lift(key), ground.site.label(key)
    page = Page(f"{key}.flow", f"what the {label} lifts while all is clean and runs", ground.units)
    page.section("Asked")
    page.say(
        f"The flow at which the head that the {label} gives by its curve is the height it lifts to "
        "and the losses on the way, and at which its branches together take what it lifts."
    )
    page.section("Given")
    source = site.pumps[key].from_
    what = f"the {site.label(source)}, above the datum"
    page.given("z0", ground.levels_m[source], METRE, what, f"{source}.level")
    page.section("Worked")
    how = "What it lifts. All that follows is worked from this, and must lead back to it:"
    page.trial("Q", lift.flow_m3_s, FLOW, how)
    put_curve(page, ground, key, ("Q", lift.flow_m3_s))
    start = "Ha", _put_start(page, ground, key)
    branches = list(site.branches(key))
    for i, branch in enumerate(branches, start=1):
        page.say(f"Branch {i}, the {site.label(branch)}:")
        _put_branch(page, ground, branch, start, (str(i), f"Q{i}"))
    names = [f"Q{i}" for i, _ in enumerate(branches, start=1)]
    total = sum(lift.branches.values())
    page.step("What the branches take together", "Qsum", " + ".join(names), total, FLOW)
    page.residual("Qsum - Q", total - lift.flow_m3_s, FLOW)
    if lift.flow_m3_s > 0.0:
        for i, branch in enumerate(branches, start=1):
            share, title = (
                lift.branches[branch] / lift.flow_m3_s,
                f"Share of the {site.label(branch)}",
            )
            page.step(title, f"share{i}", f"Q{i} / Q", share, SHARE)
    page.range_and_doubt(_about_curve(ground, key))
    for i, branch in enumerate(branches, start=1):
        put_branch_doubt(page, ground, branch, f"u{i}", str(i))
    _put_pump_band(page, ground, key, len(branches))
    band = ground.doubt.of_pump(key).flow
    page.result(lift.flow_m3_s, FLOW, band=(band.low, band.high))
    return page


def _put_pump_band(page: Page, ground: Ground, key: str, branches: int) -> None:
    band = ground.doubt.of_pump(key).flow
    off = max(ground.mean.uncertainty(branch) for branch in ground.site.branches(key))
    names = ", ".join(f"u{i}" for i in range(1, branches + 1))
    largest = names if branches == 1 else f"max({names})"
    page.step("The largest counts for the whole flow", "u", largest, off, SHARE)
    page.step("", "Qlow", "Q * max(0, 1 - u)", band.low, FLOW)
    page.step("", "Qhigh", "Q * (1 + u)", band.high, FLOW)


def _put_start(page: Page, ground: Ground, pump: str) -> float:
    """How high water would stand where the branches begin, on the page as Ha; returns it [m]."""
    trunk, table = ground.systems[pump].trunk, ground.site.pumps[pump].trunk
    lift = ground.figures.lift(pump)
    source_m = ground.levels_m[ground.site.pumps[pump].from_]
    title = "How high above the datum water would stand in a pipe where the branches begin"
    if trunk is None or table is None or lift.flow_m3_s <= 0.0:
        head = source_m + lift.head_m
        page.step(title, "Ha", "z0 + Hp", head, METRE)
        return head
    page.say("The trunk, which all branches share:")
    _put_run(page, ground, trunk, (f"pumps.{pump}.trunk", table.pipe.label), "t")
    put_k(page, trunk, table.fittings, "t")
    lost = put_lost(page, trunk, ("Q", lift.flow_m3_s), "t")
    head = source_m + lift.head_m - lost
    page.step(title, "Ha", "z0 + Hp - hlt", head, METRE)
    return head


def _put_run(page: Page, ground: Ground, pipe: PipeRun, said: tuple[str, str], tag: str) -> None:
    """A pipe of the pump's; `said` is its table in the site file, and its size."""
    table, label = said
    bore = PipeSaid(f'mean bore of "{label}"', f"{table}.pipe", f"{table}.length")
    put_pipe(page, ground, pipe, bore, tag)


def _put_branch(page: Page, ground: Ground, key: str, start: Named, names: tuple[str, str]) -> None:
    """What a branch takes from where it begins; `names` are its tag and that of its flow."""
    site, (tag, name) = ground.site, names
    branch = site.passages[key]
    assert isinstance(branch, Branch)
    run = ground.systems[branch.pump].branches[key]
    label, table = site.label(branch.to), f"passages.{key}"
    page.given(f"zo{tag}", run.outlet_m, METRE, "its open end, above the datum", f"{table}.outlet")
    at = ground.levels_m[branch.to]
    page.given(f"zl{tag}", at, METRE, f"the {label}, above the datum", f"{branch.to}.level")
    head = start[1] - max(run.outlet_m, at)
    title = "Head over its open end, or over the water that covers it"
    page.step(title, f"H{tag}", f"{start[0]} - max(zo{tag}, zl{tag})", head, METRE)
    if head <= 0.0:
        page.step("The pump does not reach so high: none flows", name, "0", 0.0, FLOW)
        return
    _put_run(page, ground, run.pipe, (table, branch.pipe.label), tag)
    more = []
    if branch.valve_loss > 0.0:
        what, source = "loss coefficient of its throttled valve", f"{table}.valve_loss"
        page.given(f"Kv{tag}", branch.valve_loss, PLAIN, what, source)
        more.append(f"Kv{tag}")
    if branch.canister is not None:
        seen, source = branch.canister, f"{table}.canister"
        page.given(f"hc{tag}", seen.loss, METRE, "loss seen across its canister", source)
        page.given(f"qc{tag}", seen.at_flow, FLOW, "at this flow", source)
        put_area(page, run.pipe, tag)
        loss = observed_k(seen.loss, seen.at_flow, branch.pipe.bore_m)
        formula = f"hc{tag} * 2 * g / (qc{tag} / A{tag})^2"
        page.step("Loss coefficient of its canister", f"Kc{tag}", formula, loss)
        more.append(f"Kc{tag}")
    put_k(page, run.pipe, of_run(branch.fittings), tag, more)
    put_driven(page, run.pipe, (f"H{tag}", head), tag=tag, name=name)


def branch_flow(ground: Ground, key: str) -> Page:
    """The page of what one branch of a pump carries."""
    site, label = ground.site, ground.site.label(key)
    branch = site.passages[key]
    assert isinstance(branch, Branch)
    pump = branch.pump
    page = Page(
        f"{key}.flow", f"what the {label} carries while all is clean and runs", ground.units
    )
    page.section("Asked")
    page.say(
        f"The flow of the {label} with the {site.label(pump)} at the point where it runs, and the "
        f"{site.label(branch.to)} where it comes to rest."
    )
    page.section("Given")
    lift, trunk = ground.figures.lift(pump), ground.systems[pump].trunk
    lost = trunk.loss(lift.flow_m3_s)[0] if trunk is not None else 0.0
    start = ground.levels_m[site.pumps[pump].from_] + lift.head_m - lost
    what = "how high above the datum water would stand in a pipe where the branches begin"
    page.given("Ha", start, METRE, what, f"{pump}.flow")
    page.section("Worked")
    _put_branch(page, ground, key, ("Ha", start), ("", "Q"))
    page.range_and_doubt(_about_curve(ground, pump))
    off = put_branch_doubt(page, ground, key, "u", "")
    flow = lift.branches[key]
    page.step("", "Qlow", "Q * max(0, 1 - u)", flow * max(0.0, 1.0 - off), FLOW)
    page.step("", "Qhigh", "Q * (1 + u)", flow * (1.0 + off), FLOW)
    page.result(flow, FLOW, band=(flow * max(0.0, 1.0 - off), flow * (1.0 + off)))
    return page


def _about_curve(ground: Ground, key: str) -> str:
    """Where the doubt of a pump's flow comes from."""
    if measured_of(ground, key) is not None:
        return "What was measured says what is left of the pump's flow; its tolerance is the doubt:"
    return (
        "A catalogue's curve holds for a new pump in clean water, and a pump may miss it (ISO "
        "9906); its pipes may lose more or less than tables say:"
    )
