"""Priorities follow from consequence and time to respond (the method of ISA-18.2 and IEC 62682; the
figures are our own), by one table for all hazards."""

from __future__ import annotations

from itertools import pairwise

import pytest

from rules.alarming.priority import REASONS, TABLE, Consequence, Within, of
from rules.engine import plan_for
from rules.hazards.table import HAZARDS
from rules.matrix import Effect
from rules.signals import Priority
from tests.rules.nights import site_of, text_of


def test_graver_or_sooner_is_never_lower() -> None:
    for consequence in Consequence:
        for later, sooner in pairwise(Within):
            assert TABLE[consequence][later] <= TABLE[consequence][sooner]
    for lesser, graver in pairwise(Consequence):
        for within in Within:
            assert TABLE[lesser][within] <= TABLE[graver][within]


def test_every_cell_is_given_and_every_priority_occurs() -> None:
    cells = [TABLE[consequence][within] for consequence in Consequence for within in Within]
    assert set(cells) == set(Priority)


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_every_row_has_the_priority_of_its_reason(name: str) -> None:
    for row in plan_for(site_of(text_of(name))).rows:
        if row.hazard != "own" and row.hazard in REASONS:
            assert row.priority is of(row.hazard), row.id


def test_no_reason_is_for_a_hazard_that_is_none() -> None:
    for name in REASONS:
        assert any(name == hazard or name.startswith(f"{hazard}-") for hazard in HAZARDS), name
        assert REASONS[name].why


def test_what_cuts_for_the_water_must_be_answered_soon() -> None:
    """Supply and lease say nothing of the water, and need no person by themselves."""
    for row in plan_for(site_of(text_of("classroom"))).rows:
        if row.effect is Effect.CUT_PUMP:
            assert (row.priority is Priority.HIGH) is (row.hazard not in ("mains", "lease-lost"))
