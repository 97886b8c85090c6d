"""Loss coefficients of fittings, K in h = K v^2 / (2 g), v in the pipe they sit in."""

from __future__ import annotations

from collections.abc import Iterable
from math import log

# nominal size: bore in mm of schedule 40, friction factor in full turbulence.
# Crane TP-410, page A-26; 1/2 in and 4 in from memory.
_TURBULENT = (
    (15.8, 0.027),
    (20.9, 0.025),
    (26.6, 0.023),
    (35.1, 0.022),
    (40.9, 0.021),
    (52.5, 0.019),
    (77.9, 0.018),
    (102.3, 0.017),
)

_FIXED = {
    "entrance-flush": 0.5,  # square edge; Crane TP-410, page A-29
    "entrance-projecting": 0.78,  # Crane TP-410, page A-29; others give up to 1.0
    "entrance-bellmouth": 0.05,  # handbook tables for HVAC pumps; Crane has 0.04
    "union": 0.08,  # usual textbook table of minor losses
    "exit": 1.0,  # all of the velocity head is lost
}

_BY_SIZE = {
    "elbow-90": 30.0,  # Crane TP-410, page A-29; screwed ones of 1 in have twice that elsewhere
    "elbow-45": 16.0,  # Crane TP-410, page A-29
    "bend-90-long": 14.0,  # Crane TP-410, page A-29, radius 1.5 bores
    "tee-run": 20.0,  # Crane TP-410, page A-29
    "tee-branch": 60.0,  # Crane TP-410, page A-29
    "gate-valve": 8.0,  # Crane TP-410, page A-27, fully open
    "ball-valve": 3.0,  # Crane TP-410, full bore, fully open, from memory
    "check-valve": 100.0,  # Crane TP-410, page A-27, swing type
}


def turbulent_factor(bore_m: float) -> float:
    """Friction factor in full turbulence of the nominal size nearest to a bore, Crane TP-410 A-26.

    >>> turbulent_factor(0.0409)
    0.021
    """
    millimetres = bore_m * 1000.0
    return min(_TURBULENT, key=lambda row: abs(log(row[0] / millimetres)))[1]


def times_turbulent(fitting: str) -> float | None:
    """The n of a fitting whose K is n x the turbulent factor of its size; None if K is fixed."""
    return _BY_SIZE.get(fitting)


def loss_k(fitting: str, bore_m: float) -> float:
    """Loss coefficient of one fitting: K fixed, or n x the turbulent factor of its size.

    >>> round(loss_k("elbow-90", 0.0409), 3)
    0.63
    """
    if fitting in _FIXED:
        return _FIXED[fitting]
    if fitting in _BY_SIZE:
        return _BY_SIZE[fitting] * turbulent_factor(bore_m)
    raise ValueError(f'no loss coefficient is known for a fitting called "{fitting}"')


def sum_k(fittings: Iterable[str], bore_m: float) -> float:
    """Sum of the loss coefficients of the fittings listed."""
    return sum(loss_k(fitting, bore_m) for fitting in fittings)


def of_run(fittings: Iterable[str]) -> list[str]:
    """The fittings of a run with an open end, which always loses its velocity head."""
    listed = list(fittings)
    return listed if "exit" in listed else [*listed, "exit"]


def of_drain(fittings: Iterable[str]) -> list[str]:
    """The fittings of a drain; an entrance that is not listed is one that projects (the worst)."""
    listed = list(fittings)
    if not any(fitting.startswith("entrance-") for fitting in listed):
        listed.append("entrance-projecting")
    return of_run(listed)


def run_k(fittings: Iterable[str], bore_m: float) -> float:
    """Sum of the loss coefficients of a run with an open end."""
    return sum_k(of_run(fittings), bore_m)


def drain_k(fittings: Iterable[str], bore_m: float) -> float:
    """Sum of the loss coefficients of a drain."""
    return sum_k(of_drain(fittings), bore_m)
