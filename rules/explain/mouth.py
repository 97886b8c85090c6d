"""The mouth of a drain on a page: its lip, and where the full pipe takes over from it."""

from __future__ import annotations

from rules.explain.page import FLOW, Named, Page
from rules.hydraulics.drains import lip_parts


def put_lip(page: Page, head: Named, bore_m: float, at: str = "") -> None:
    """What passes over a standing pipe's lip at a head, on the page as Qw and Qo."""
    weir, orifice = lip_parts(head[1], bore_m)
    title = "Over its lip as a weir (coefficient 0.60 from memory)"
    formula = f"2 / 3 * 0.60 * pi * D * {head[0]} * sqrt(2 * g * {head[0]})"
    page.step(title, f"Qw{at}", formula, weir, FLOW)
    title = "Through its mouth as an orifice (coefficient 0.60 from memory)"
    formula = f"0.60 * pi / 4 * D^2 * sqrt(2 * g * {head[0]})"
    page.step(title, f"Qo{at}", formula, orifice, FLOW)


def put_weight(page: Page, head: Named, bore_m: float, weight: float, at: str = "") -> None:
    """The weight of the full pipe up to one bore over the mouth, on the page as w."""
    page.step("Head in bores", f"t{at}", f"{head[0]} / D", head[1] / bore_m)
    title = "Up to one bore over its mouth the siphon fades in (own choice); its weight"
    page.step(title, f"w{at}", f"t{at}^2 * (3 - 2 * t{at})", weight)
