"""Names of roles as a drill's file writes them, checked as they are read."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator

from rules.site.base import Name
from simulator.story.roles import Sort, check_phrase


def role(sort: Sort) -> AfterValidator:
    return AfterValidator(lambda text: check_phrase(sort, text))


PassageRole = Annotated[Name, role("passage")]
BranchRole = Annotated[Name, role("branch")]
ChamberRole = Annotated[Name, role("chamber")]
PumpRole = Annotated[Name, role("pump")]
ValveRole = Annotated[Name, role("valve")]
SensorRole = Annotated[Name, role("sensor")]
PadRole = Annotated[Name, role("pad")]
MeterRole = Annotated[Name, role("meter")]
LevelRole = Annotated[Name, role("level")]
InputRole = Annotated[Name, role("input")]
OutputRole = Annotated[Name, role("output")]

HazardName = Literal[
    "spill-edge",
    "drain-capacity",
    "drain-loss",
    "own",
    "drain-fouling",
    "drain-growth",
    "out-of-service",
    "chamber-high",
    "dry-run",
    "draws-air",
    "leak",
    "flow-lost",
    "pump-off",
    "splashed",
    "signal",
    "mains",
    "lease-lost",
    "cut-unanswered",
    "siphon-break",
    "top-off-long",
    "water-lost",
    "top-off-unused",
    "flow-weak",
    "reservoir-low",
    "screen-clogging",
]
"""The hazards that a drill may name; a test holds them against the guard's own table."""
