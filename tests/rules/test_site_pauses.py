"""Planned pauses in the site file: what may stand there, and what gets a sentence."""

from __future__ import annotations

import pytest

from rules.site.pauses import LEAST_S, LONGEST_S, MOST_S, PAUSE_KINDS, USUAL_S
from tests.rules.nights import site_of, text_of
from tests.rules.test_site_mistakes import only

CLASSROOM = text_of("classroom")


def test_a_site_need_not_say_anything() -> None:
    assert site_of(CLASSROOM).pauses == {}


def test_what_it_says_is_read() -> None:
    table = '[pauses.water-change]\nusual = "20 min"\nlongest = "1 h"\npumps = ["return-pump"]\n'
    pause = site_of(f"{CLASSROOM}\n{table}").pauses["water-change"]
    assert (pause.usual, pause.longest, pause.pumps) == (1200.0, 3600.0, ("return-pump",))


def test_each_kind_is_bounded_of_itself() -> None:
    assert set(USUAL_S) == set(LONGEST_S) == set(PAUSE_KINDS)
    for kind in PAUSE_KINDS:
        assert LEAST_S <= USUAL_S[kind] <= LONGEST_S[kind] <= MOST_S


@pytest.mark.parametrize(
    ("table", "where", "key", "sentence"),
    [
        ("[pauses.feding]", "pauses.feding", "[key]", 'can be "feeding", "rinsing"'),
        ('[pauses.feeding]\nusul = "5 min"', "pauses.feeding", "usul", 'did you mean "usual"?'),
        ('[pauses.feeding]\nusual = "30 s"', "pauses.feeding", "", "usual: give 1 min to 4 h"),
        ('[pauses.cleaning]\nlongest = "5 h"', "pauses.cleaning", "", "longest: give 1 min to 4 h"),
        ('[pauses.feeding]\nusual = "45 min"', "pauses.feeding", "usual", "longest, 30 min 00 s"),
        ('[pauses.feeding]\nlongest = "5 min"', "pauses.feeding", "longest", "than the longest"),
        ('[pauses.feeding]\npumps = ["x"]', "pauses.feeding", "pumps", '"x" is no pump'),
        ("[pauses.feeding]\npumps = []", "pauses.feeding", "pumps", "at least 1 item"),
        ("[pauses]\nfeeding = 3", "pauses.feeding", "", "a table with keys of its own"),
    ],
)
def test_a_mistake_gets_a_sentence(table: str, where: str, key: str, sentence: str) -> None:
    found = only(f"{CLASSROOM}\n{table}\n")
    assert found[:2] == (where, key)
    assert sentence in found[2]


def test_a_pump_that_no_output_powers_cannot_be_paused() -> None:
    text = CLASSROOM.replace("[outputs.pump-relay]", "[outputs.x]").replace(
        'kind = "pump"\npump = "return-pump"', 'kind = "sounder"'
    )
    found = only(f'{text}\n[pauses.feeding]\npumps = ["return-pump"]\n')
    assert found[2] == "no output powers return-pump: the guard cannot stop it"
