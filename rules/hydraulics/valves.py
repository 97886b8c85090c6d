"""Valves that stand between open and shut, and things on a branch known by one observed loss."""

from __future__ import annotations

from itertools import pairwise
from math import exp, log, pi

from rules.hydraulics.friction import GRAVITY_M_S2

# share open: loss coefficient. Handbook tables differ by a factor of two in between (half open:
# 2.1 to 5.6), so treat what follows from these as an order of size.
_GATE = ((0.25, 24.0), (0.5, 4.5), (0.75, 0.9), (1.0, 0.17))  # Perry's Chemical Engineers' Handbook
_BALL = ((1.0 / 3.0, 200.0), (2.0 / 3.0, 5.5), (1.0, 0.05))  # usual textbook table
VALVES = {"gate-valve": _GATE, "ball-valve": _BALL}


def valve_k(kind: str, open_share: float) -> float:
    """Loss coefficient of a "gate-valve" or "ball-valve" that is open to a share.

    Straight lines between the table's points in ln K. ValueError below the table's least opening
    (a quarter; a third), where no table says anything.

    >>> valve_k("gate-valve", 0.5)
    4.5
    """
    table = VALVES.get(kind)
    if table is None:
        raise ValueError(f'no table of openings is known for a valve called "{kind}"')
    if not table[0][0] - 1e-12 <= open_share <= 1.0:
        raise ValueError(
            f"a {kind} open to {open_share:.2f} is outside its table, {table[0][0]:.2f} to 1"
        )
    for (s0, k0), (s1, k1) in pairwise(table):
        if open_share <= s1:
            return k0 * exp((open_share - s0) / (s1 - s0) * log(k1 / k0))
    return table[-1][1]


def valve_opening(kind: str, loss_k: float) -> float:
    """Share to which a valve is open when it has this loss coefficient; the reverse of `valve_k`.

    1 for less loss than fully open; ValueError for more than at the table's least opening.
    """
    table = VALVES.get(kind)
    if table is None:
        raise ValueError(f'no table of openings is known for a valve called "{kind}"')
    if loss_k > table[0][1]:
        raise ValueError(
            f"a loss coefficient of {loss_k:.0f} is more than a {kind} has at its least known "
            f"opening, {table[0][0]:.2f}"
        )
    for (s0, k0), (s1, k1) in pairwise(table):
        if loss_k >= k1:
            return s0 + (s1 - s0) * log(loss_k / k0) / log(k1 / k0)
    return 1.0


def observed_k(loss_m: float, flow_m3_s: float, bore_m: float) -> float:
    """Loss coefficient, in terms of a pipe's bore, of a thing seen to lose `loss_m` at a flow.

    For a canister or reactor on a branch: K = h 2 g / v^2; it can be that branch's valve_loss.
    """
    if loss_m < 0.0 or flow_m3_s <= 0.0 or bore_m <= 0.0:
        raise ValueError("an observed loss needs a loss of zero or more, and a flow and a bore")
    speed = flow_m3_s / (0.25 * pi * bore_m * bore_m)
    return loss_m * 2.0 * GRAVITY_M_S2 / (speed * speed)
