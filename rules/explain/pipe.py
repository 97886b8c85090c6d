"""A full pipe on a page: its losses, and the speed that a head drives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10, sqrt

from rules.explain.ground import Ground
from rules.explain.page import (
    FINE_METRE,
    FLOW,
    METRE,
    PLAIN,
    SHARE,
    SPEED,
    SQUARE_METRE,
    VISCOSITY,
    Named,
    Page,
    Unit,
)
from rules.hydraulics.fittings import loss_k, times_turbulent, turbulent_factor
from rules.hydraulics.friction import (
    FITTING_DOUBT,
    FRICTION_DOUBT,
    GRAVITY_M_S2,
    LAMINAR_RE,
    TRANSITION_DOUBT,
    TURBULENT_RE,
    PipeRun,
    colebrook,
    darcy,
    turbulent_weight,
)

_M_S2 = Unit("m/s2")


@dataclass(frozen=True, slots=True)
class PipeSaid:
    """Of which bore a pipe is, and where its size and its length stand in the site file."""

    bore: str
    size: str
    length: str


def put_gravity(page: Page) -> None:
    """The acceleration of gravity, once on a page."""
    if not page.knows("g"):
        page.given("g", GRAVITY_M_S2, _M_S2, "standard gravity")


def put_pipe(page: Page, ground: Ground, pipe: PipeRun, said: PipeSaid, tag: str = "") -> None:
    """What is known of a pipe."""
    put_gravity(page)
    if not page.knows("nu"):
        page.given("nu", ground.viscosity_m2_s, VISCOSITY, "kinematic viscosity", "site.viscosity")
    page.given(f"D{tag}", pipe.bore_m, METRE, said.bore, said.size)
    page.given(f"L{tag}", pipe.length_m, METRE, "length of pipe", said.length)
    page.given(f"e{tag}", pipe.roughness_m, FINE_METRE, "roughness of drawn plastic", "handbooks")


def put_k(
    page: Page, pipe: PipeRun, fittings: Sequence[str], tag: str = "", more: Sequence[str] = ()
) -> None:
    """The sum of the loss coefficients; `more` are symbols that stand on the page already."""
    parts, names = [], []
    for fitting in fittings:
        times = times_turbulent(fitting)
        fixed = f"{loss_k(fitting, pipe.bore_m):g}"
        parts.append(fixed if times is None else f"{times:g} * fT{tag}")
        names.append(f"{fitting} {parts[-1].replace(' * ', ' x ')}")
    if any(times_turbulent(fitting) is not None for fitting in fittings):
        factor = turbulent_factor(pipe.bore_m)
        what = "friction factor in full turbulence of its size"
        page.given(f"fT{tag}", factor, PLAIN, what, "Crane TP-410, A-26")
    page.step(
        f"Loss coefficients of the fittings (Crane TP-410, handbook tables): {', '.join(names)}",
        f"K{tag}",
        " + ".join([*parts, *more]) or "0",
        pipe.loss_k,
    )


def put_friction(page: Page, pipe: PipeRun, speed_m_s: float, tag: str, at: str = "") -> None:
    """Reynolds number and friction factor at a speed that stands on the page as v."""
    reynolds = speed_m_s * pipe.bore_m / pipe.kinematic_m2_s
    roughness = pipe.roughness_m / pipe.bore_m
    re, f = f"Re{tag}{at}", f"f{tag}{at}"
    page.step("Reynolds number", re, f"v{tag}{at} * D{tag} / nu", reynolds)
    factor = darcy(reynolds, roughness)[0]
    if reynolds <= LAMINAR_RE:
        title = "Friction factor, laminar (Hagen-Poiseuille; up to Re 2000)"
        page.step(title, f, f"64 / {re}", factor)
    elif reynolds >= TURBULENT_RE:
        _put_colebrook(page, pipe, reynolds, f, (tag, at))
    else:
        turbulent, laminar = f"fc{tag}{at}", f"fl{tag}{at}"
        _put_colebrook(page, pipe, reynolds, turbulent, (tag, at))
        page.step("Friction factor if it were laminar", laminar, f"64 / {re}", 64.0 / reynolds)
        share, weight = f"(({re} - 2000) / 2000)", f"wc{tag}{at}"
        title = "Between Re 2000 and 4000 no formula is reliable: both, weighed (own choice)"
        formula = f"{share}^2 * (3 - 2 * {share})"
        page.step(title, weight, formula, turbulent_weight(reynolds))
        page.step("", f, f"{laminar} + {weight} * ({turbulent} - {laminar})", factor)


def _put_colebrook(
    page: Page, pipe: PipeRun, reynolds: float, name: str, tags: tuple[str, str]
) -> None:
    tag, at = tags
    roughness = pipe.roughness_m / pipe.bore_m
    factor = colebrook(reynolds, roughness)
    page.trial(
        name, factor, PLAIN, "Friction factor (Colebrook 1939), such that both sides are equal:"
    )
    left = 1.0 / sqrt(factor)
    right = -2.0 * log10(roughness / 3.7 + 2.51 / (reynolds * sqrt(factor)))
    inner = f"e{tag} / (3.7 * D{tag}) + 2.51 / (Re{tag}{at} * sqrt({name}))"
    page.step("", f"left{tag}{at}", f"1 / sqrt({name})", left)
    page.step("", f"right{tag}{at}", f"-2 * log10({inner})", right)
    page.residual(f"left{tag}{at} - right{tag}{at}", left - right, PLAIN)


def put_area(page: Page, pipe: PipeRun, tag: str) -> None:
    """The open area of a pipe, once on a page."""
    if not page.knows(f"A{tag}"):
        page.step("Open area", f"A{tag}", f"pi / 4 * D{tag}^2", pipe.area_m2, SQUARE_METRE)


def put_driven(
    page: Page,
    pipe: PipeRun,
    head: Named,
    *,
    tag: str = "",
    valve: Named | None = None,
    name: str = "Qf",
) -> float:
    """The flow that a head drives through the full pipe, on the page as `name`; returns it [m3/s].

    `valve` is the loss coefficient of a valve besides K.
    """
    head_said, head_m = head
    valve_k = valve[1] if valve else 0.0
    flow = pipe.flow(head_m, valve_k)[0]
    speed = flow / pipe.area_m2
    put_area(page, pipe, tag)
    page.trial(
        f"v{tag}",
        speed,
        SPEED,
        "Speed at which the losses use up the head. The friction hangs on the speed, so it is "
        "found by trial, and proved by the lines that follow:",
    )
    put_friction(page, pipe, speed, tag)
    factor = darcy(speed * pipe.bore_m / pipe.kinematic_m2_s, pipe.roughness_m / pipe.bore_m)[0]
    losses = pipe.loss_k + valve_k + factor * pipe.length_m / pipe.bore_m
    lost = losses * speed * speed / (2.0 * GRAVITY_M_S2)
    more = f" + {valve[0]}" if valve else ""
    page.step(
        "Head lost at that speed (Darcy-Weisbach), which must be the head there is",
        f"hl{tag}",
        f"(K{tag}{more} + f{tag} * L{tag} / D{tag}) * v{tag}^2 / (2 * g)",
        lost,
        METRE,
    )
    page.residual(f"hl{tag} - {head_said}", lost - head_m, METRE)
    page.step("Flow of the full pipe", name, f"v{tag} * A{tag}", flow, FLOW)
    return flow


def put_speed(page: Page, pipe: PipeRun, flow: Named, tag: str, at: str) -> float:
    """The speed of a flow in the full pipe, and its friction factor; returns the factor."""
    said, flow_m3_s = flow
    speed = flow_m3_s / pipe.area_m2
    put_area(page, pipe, tag)
    title = "Speed of that flow in the full pipe"
    page.step(title, f"v{tag}{at}", f"{said} / A{tag}", speed, SPEED)
    put_friction(page, pipe, speed, tag, at)
    return darcy(speed * pipe.bore_m / pipe.kinematic_m2_s, pipe.roughness_m / pipe.bore_m)[0]


def put_lost(page: Page, pipe: PipeRun, flow: Named, tag: str = "", at: str = "") -> float:
    """The head that the full pipe loses at a flow, on the page as hl; returns it [m]."""
    put_speed(page, pipe, flow, tag, at)
    lost = pipe.loss(flow[1])[0]
    formula = f"(K{tag} + f{tag}{at} * L{tag} / D{tag}) * v{tag}{at}^2 / (2 * g)"
    title = "Head that the full pipe loses at that flow (Darcy-Weisbach)"
    page.step(title, f"hl{tag}{at}", formula, lost, METRE)
    return lost


def put_pipe_doubt(
    page: Page,
    pipe: PipeRun,
    flow_m3_s: float,
    name: str,
    *,
    tag: str = "",
    at: str = "",
    valve: Named | None = None,
) -> None:
    """How far the flow of a full pipe may be off, where its K and f stand on the page."""
    reynolds = flow_m3_s / pipe.area_m2 * pipe.bore_m / pipe.kinematic_m2_s
    between = LAMINAR_RE < reynolds < TURBULENT_RE
    friction = TRANSITION_DOUBT if between else FRICTION_DOUBT
    more, wall = f" + {valve[0]}" if valve else "", f"f{tag}{at} * L{tag} / D{tag}"
    page.step(
        f"Doubt of the full pipe: {FITTING_DOUBT * 100:.0f} % of K and {friction * 100:.0f} % of "
        "its friction (own estimates), as far as they bear on the flow",
        name,
        f"0.5 * sqrt(({FITTING_DOUBT:g} * K{tag})^2 + ({friction:g} * {wall})^2) "
        f"/ (K{tag} + {wall}{more})",
        pipe.uncertainty(flow_m3_s, valve[1] if valve else 0.0),
        SHARE,
    )
