"""Measured flows in the site file: what reads, and one sentence for each mistake."""

from __future__ import annotations

import pickle
import re

import pytest

from tests.rules.nights import site_of, text_of
from tests.rules.test_site_mistakes import only

CLASSROOM = text_of("classroom")
LITRE = 1e-3

MEASURED = """
[measured.riser-timed]
of = "riser"
flow = "60 l/min"
date = 2026-03-14
"""
TIMED_DRAIN = """
[measured.drain-timed]
of = "main-drain"
flow = "55 l/min"
level = "165 mm"
date = 2026-03-14
"""


def test_measured_flow_is_read() -> None:
    """One litre a second, 3 % either way, on a day; and it survives the way between processes."""
    site = site_of(CLASSROOM + MEASURED + TIMED_DRAIN)
    riser, drain = site.measured["riser-timed"], site.measured["drain-timed"]
    assert riser.flow == pytest.approx(LITRE)
    assert (riser.tolerance, riser.date, riser.level, riser.how) == (0.03, "2026-03-14", None, None)
    assert drain.level == pytest.approx(0.165)
    assert pickle.loads(pickle.dumps(site)) == site
    assert site_of(CLASSROOM).measured == {}


def test_what_is_measured_once_each_is_no_mistake() -> None:
    """A branch and two passages; the latest day of a month and of a leap year."""
    more = TIMED_DRAIN.replace("drain-timed", "comb-timed").replace("main-drain", "comb")
    more = more.replace('"165 mm"', '"577 mm"').replace("2026-03-14", "2028-02-29")
    assert len(site_of(CLASSROOM + MEASURED + TIMED_DRAIN + more).measured) == 3


# --- mistakes ----------------------------------------------------------------------------------

RISER_AT, DRAIN_AT = "measured.riser-timed", "measured.drain-timed"


def riser_timed(old: str, new: str) -> str:
    """The classroom with a mistake in the measurement of its riser."""
    assert old in MEASURED
    return CLASSROOM + MEASURED.replace(old, new, 1)


def drain_timed(old: str, new: str) -> str:
    """The same, of its main drain."""
    assert old in TIMED_DRAIN
    return CLASSROOM + TIMED_DRAIN.replace(old, new, 1)


MISTAKES = {
    "measured nothing known": (
        riser_timed('"riser"', '"raiser"'),
        (RISER_AT, "of", '"raiser" is neither a pump nor a passage; the site has return-pump'),
    ),
    "measured a float": (
        riser_timed('"riser"', '"display-high"'),
        (RISER_AT, "of", '"display-high" is neither a pump nor a passage'),
    ),
    "measured with a time": (
        riser_timed("2026-03-14", "2026-03-14T10:00:00"),
        (RISER_AT, "date", "must be a date without a time, like 2026-03-14"),
    ),
    "measured at midnight": (
        riser_timed("2026-03-14", "2026-03-14T00:00:00Z"),
        (RISER_AT, "date", "must be a date without a time"),
    ),
    "date in quotes": (
        riser_timed("2026-03-14", '"2026-03-14"'),
        (RISER_AT, "date", "must be a date, written without quotes, like 2026-03-14"),
    ),
    "date as a number": (
        riser_timed("2026-03-14", "20260314"),
        (RISER_AT, "date", "must be a date, written without quotes"),
    ),
    "no date": (
        riser_timed("date = 2026-03-14\n", ""),
        (RISER_AT, "date", "missing; it gives the day of the measurement"),
    ),
    "no thing": (
        riser_timed('of = "riser"\n', ""),
        (RISER_AT, "of", "missing; it gives the pump, branch or other passage"),
    ),
    "no flow": (
        riser_timed('flow = "60 l/min"\n', ""),
        (RISER_AT, "flow", "missing; it gives the flow that was measured"),
    ),
    "flow of nought": (
        riser_timed("60 l/min", "0 l/min"),
        (RISER_AT, "", "flow: it must be more than nought"),
    ),
    "flow without time": (
        riser_timed("60 l/min", "60 l"),
        (RISER_AT, "flow", "of another kind of quantity"),
    ),
    "measured without error": (
        riser_timed("date", 'tolerance = "0 %"\ndate'),
        (RISER_AT, "", "tolerance: nothing is measured without error"),
    ),
    "measured with too much": (
        riser_timed("date", 'tolerance = "51 %"\ndate'),
        (RISER_AT, "", 'tolerance: .* at most "50 %"'),
    ),
    "level of a branch": (
        riser_timed("date", 'level = "100 mm"\ndate'),
        (RISER_AT, "level", "a pump drives riser, whatever the level above it: leave it out"),
    ),
    "unknown key of a measurement": (
        riser_timed("date", 'levle = "100 mm"\ndate'),
        (RISER_AT, "levle", r'unknown key; did you mean "level"\?'),
    ),
    "id of a measurement in use": (
        riser_timed("riser-timed", "riser"),
        ("measured", "riser", r"the id is used in \[passages\] already"),
    ),
    "drain without a level": (
        drain_timed('level = "165 mm"\n', ""),
        (DRAIN_AT, "level", "missing; it gives the level in overflow-box while this was measured"),
    ),
    "drain timed dry": (
        drain_timed("165 mm", "60 mm"),
        (DRAIN_AT, "level", "60.0 mm must lie above 60.0 mm, where main-drain begins to carry"),
    ),
    "drain timed over the rim": (
        drain_timed("165 mm", "351 mm"),
        (DRAIN_AT, "level", r"not above the rim of overflow-box \(350.0 mm\)"),
    ),
    "drain measured twice": (
        CLASSROOM
        + TIMED_DRAIN
        + TIMED_DRAIN.replace("drain-timed", "again").replace("03-14", "03-15"),
        (DRAIN_AT, "of", r"\[measured.again\] of 2026-03-15 has the flow of main-drain already, "
         "and it can have one measurement only: keep the newer, delete the older"),
    ),
    "branch and pump measured": (
        CLASSROOM
        + MEASURED
        + MEASURED.replace("riser-timed", "older").replace('"riser"', '"return-pump"').replace(
            "2026", "2025"
        ),
        ("measured.older", "of", r"\[measured.riser-timed\] of 2026-03-14 has the flow of riser "
         "already, and return-pump with all its branches can have one measurement only"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_one_mistake_gets_one_sentence(mistake: str) -> None:
    text, (at_table, at_key, words) = MISTAKES[mistake]
    table, key, sentence = only(text)
    assert (table, key) == (at_table, at_key)
    assert re.search(words, sentence), sentence


@pytest.mark.parametrize(
    "text",
    [
        riser_timed("date", 'tolerance = "50 %"\nhow = "a bucket and a clock"\ndate'),
        riser_timed('"riser"', '"return-pump"'),
        drain_timed("165 mm", "350 mm"),
        drain_timed("165 mm", "60.1 mm"),
    ],
    ids=["doubtful", "pump", "at the rim", "at the lip"],
)
def test_what_only_just_is_right_is_no_mistake(text: str) -> None:
    site_of(text)
