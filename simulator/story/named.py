"""Names of roles as a drill's file writes them, checked as they are read."""

from __future__ import annotations

from typing import Annotated

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
MeterRole = Annotated[Name, role("meter")]
