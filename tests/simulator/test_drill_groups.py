"""The library of drills: grouped, told in full, playable somewhere; and how they are chosen."""

from __future__ import annotations

import re

import pytest

from daemon import cli
from simulator.library import NotThereError, drill_names, drills_by_group, drills_in, load_drill
from simulator.story.drill import GROUPS

ASKED_FOR = {
    "drains": 10,
    "pump": 5,
    "sump and screens": 6,
    "refugium and branches": 4,
    "top-off and water change": 6,
    "power": 5,
    "sensors": 10,
    "outputs": 4,
    "guard, broker and machine": 10,
    "people": 8,
    "healthy nights": 3,
}
"""How many drills each group must have at the least: the catalogue may grow, not shrink."""


def test_every_group_has_its_drills() -> None:
    groups = drills_by_group()
    assert tuple(groups) == GROUPS == tuple(ASKED_FOR)
    short = {g: len(groups[g]) for g, least in ASKED_FOR.items() if len(groups[g]) < least}
    assert not short
    assert sum(map(len, groups.values())) == len(drill_names()) >= 50


def test_titles_are_told_apart_and_names_are_plain() -> None:
    titles = [load_drill(name).title for name in drill_names()]
    assert len(set(titles)) == len(titles)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", name) for name in drill_names())
    assert max(map(len, drill_names())) <= 36  # so wide is the column of the list


@pytest.mark.parametrize("name", drill_names())
def test_a_story_is_told_and_says_what_may_not_be(name: str) -> None:
    """A paragraph without a shout, at least one thing that must not happen, and an end."""
    drill = load_drill(name)
    assert drill.must_not
    assert 25 <= len(drill.story.split()) <= 75
    assert "!" not in drill.story + drill.title
    assert all(len(line) <= 105 for line in drill.story.splitlines())


def test_a_group_that_is_not_there_is_a_sentence() -> None:
    with pytest.raises(NotThereError, match=r'there is no group "snails"; the groups are drains, '):
        drills_in("snails")


def test_the_list_shows_groups_names_lengths_and_titles(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["drill", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line for line in lines if not line.startswith(" ")] == list(GROUPS)
    (snail,) = (line for line in lines if line.split()[0] == "main-drain-blocked")
    assert re.fullmatch(r"  main-drain-blocked +20 min 00 s  The main drain is blocked", snail)
    assert len(lines) == len(GROUPS) + len(drill_names())


def test_a_group_is_run_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """What this site has no such thing for does not count as failed."""
    assert cli.main(["drill", "--group", "refugium and branches", "--json"]) == 0
    printed = capsys.readouterr().out
    assert "has no first canister" in printed
    for drill in drills_in("refugium and branches").values():
        assert f'"drill": "{drill.title}"' in printed


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--group", "snails"], 'there is no group "snails"'),
        (["--group", "power", "power-cut"], "not both"),
        (["--all", "power-cut"], "not both"),
    ],
)
def test_what_cannot_be_chosen_is_a_sentence(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["drill", *arguments]) == 2
    assert sentence in capsys.readouterr().err


def test_all_and_a_group_together_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(["drill", "--all", "--group", "power"])
    assert ended.value.code == 2
    assert "not allowed with argument" in capsys.readouterr().err
