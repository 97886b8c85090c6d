"""Own rows and stricter rows in the site file: what may stand there, and what gets a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.cli import main
from daemon.sitefile import load
from rules.engine import plan_for
from rules.matrix import Clear, Effect
from rules.signals import Priority
from rules.site.problems import SiteError
from tests.rules.nights import site_of, text_of, without_table
from tests.rules.test_site_mistakes import only

CLASSROOM = text_of("classroom")
GOOD = {
    "name": '"weak"',
    "quantity": '"return-flow"',
    "of": '"return-pump"',
    "below": '"42 l/min"',
}


def row(**values: str | None) -> str:
    """The classroom with one own row: a good one, with keys changed or (None) left out."""
    told = {**GOOD, **{key.rstrip("_"): value for key, value in values.items()}}
    lines = "\n".join(f"{key} = {value}" for key, value in told.items() if value is not None)
    return f"{CLASSROOM}\n[rows.mine]\n{lines}\n"


def test_a_row_is_read_with_its_usual_values() -> None:
    mine = site_of(row()).rows["mine"]
    assert mine.below == pytest.approx(42.0 / 60000.0)
    assert (mine.for_, mine.does, mine.clear) == (10.0, "alarm", "when-clear")
    assert mine.priority is None


def test_it_becomes_a_row_of_the_matrix() -> None:
    cuts = row(does='"cut-pumps"', pumps='["return-pump"]', clear='"on-reset"', for_='"90 s"')
    (mine,) = [each for each in plan_for(site_of(cuts)).rows if each.hazard == "own"]
    assert (mine.id, mine.delay_s, mine.clear) == ("own.mine", 90.0, Clear.ON_RESET)
    assert (mine.effect, mine.pumps) == (Effect.CUT_PUMP, ("return-pump",))
    assert mine.priority is Priority.HIGH


@pytest.mark.parametrize(
    ("changes", "key", "sentence"),
    [
        ({"of": '"display"'}, "of", '"display" is no pump of this site, and a return-flow is'),
        ({"below": '"42 mm"'}, "below", "of another kind of quantity; write it like"),
        ({"below": "42"}, "below", "42 has no unit"),
        ({"below": None}, "", "give above or below, one of them"),
        ({"above": '"60 l/min"'}, "", "give above or below, one of them"),
        ({"quantity": '"salinity"'}, "quantity", "should be 'level', 'return-flow'"),
        ({"quantity": None}, "quantity", "missing; it gives what it watches"),
        ({"reads": '"wet"'}, "", "reads: only a reading has it"),
        ({"belov": '"1 l/min"'}, "belov", 'did you mean "below"?'),
        ({"does": '"cut-pumps"'}, "", "pumps: name the pumps to cut"),
        ({"pumps": '["return-pump"]'}, "", "and only then"),
        ({"does": '"cut-pumps"', "pumps": '["riser"]'}, "pumps", '"riser" is no pump'),
        ({"clears_at": '"40 l/min"'}, "", "clears_at: lies below it"),
        ({"for_": '"2 days"'}, "", "for: give at most 1 day"),
        ({"for_": "10"}, "for", "10 has no unit"),
        ({"priority": '"urgent"'}, "priority", "'low', 'medium' or 'high'"),
        (
            {"quantity": '"margin"', "of": '"refugium"', "below": "1.2"},
            "of",
            "nothing tells how the drains of refugium fare: fit a float of duty drain-watch",
        ),
        (
            {"quantity": '"margin"', "of": '"inlet"', "below": "1.2"},
            "of",
            "no drains leave inlet; drains leave overflow-box, refugium",
        ),
        (
            {"quantity": '"margin"', "of": '"overflow-box"', "below": '"1.2"'},
            "below",
            "a margin is a plain number",
        ),
        (
            {"quantity": '"margin"', "of": '"overflow-box"', "below": None, "above": "2.0"},
            "",
            "above: a margin is no trouble when it is large; give below",
        ),
        (
            {"quantity": '"level"', "of": '"media"', "below": None, "above": '"200 mm"'},
            "above",
            "nothing tells that the level of media is above 200.0 mm: fit a level sensor",
        ),
        (
            {"quantity": '"level"', "of": '"return"', "below": '"90 mm"'},
            "below",
            "or a float at that height or lower",
        ),
        (
            {"quantity": '"level"', "of": '"return"', "below": '"500 mm"'},
            "below",
            "500.0 mm lies at or above the rim of return",
        ),
        (
            {"quantity": '"flow"', "of": '"floor-pad"'},
            "of",
            "floor-pad is no flow meter; there are return-flow",
        ),
        (
            {"quantity": '"reading"', "of": '"supply"', "below": None, "reads": '"wet"'},
            "reads",
            'supply reads "present" or "lost"',
        ),
        (
            {"quantity": '"reading"', "of": '"return-flow"', "below": None, "reads": '"wet"'},
            "of",
            "return-flow is no contact; there are display-high",
        ),
        (
            {
                "quantity": '"reading"',
                "of": '"return-high"',
                "below": None,
                "reads": '"wet"',
                "does": '"cut-pumps"',
                "pumps": '["return-pump"]',
            },
            "pumps",
            "a stop sends more water down into it",
        ),
    ],
)
def test_a_mistake_in_an_own_row_gets_a_sentence(
    changes: dict[str, str | None], key: str, sentence: str
) -> None:
    found = only(row(**changes))
    assert found[:2] == ("rows.mine", key)
    assert sentence in found[2]


def test_what_is_only_computed_cannot_be_watched() -> None:
    text = without_table(row(), "sensors.return-flow")
    assert "no flow meter tells what return-pump lifts" in only(text)[2]


def test_an_own_row_needs_an_id_of_its_own() -> None:
    assert "is used in [rows] already" in only(row().replace("[rows.mine]", "[rows.floor-pad]"))[2]


# --- stricter, never looser -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "lines", "key", "sentence"),
    [
        ("flow-lost.return-pump", 'delay = "20 s"', "delay", "waits 10 s; give less"),
        ("flow-lost.return-pump", 'delay = "10 s"', "delay", "never made looser"),
        ("spill-edge.display-high", 'delay = "1 s"', "delay", "at once already: leave it out"),
        (
            "spill-edge.display-high",
            'clear = "on-acknowledge"',
            "clear",
            "ends on reset; leave it out",
        ),
        ("top-off-long.top-off-valve", 'clear = "on-acknowledge"', "clear", "give on-reset"),
        ("drain-capacity.overflow-box", 'effect = "shut-top-off"', "effect", "or more of itself"),
        (
            "chamber-high.return-high",
            'effect = "cut-pumps"\npumps = ["return-pump"]',
            "effect",
            "must not cut: the pump takes water out of this chamber",
        ),
        (
            "pump-off.return-pump",
            'effect = "cut-pumps"\npumps = ["return-pump"]',
            "effect",
            "must not cut",
        ),
        (
            "flow-lost.return-pump",
            'effect = "cut-pumps"\npumps = ["x"]',
            "pumps",
            '"x" is no pump of this site',
        ),
        ("spill-egde.display-high", 'clear = "on-reset"', "", "there are spill-edge, drain-cap"),
        ("spill-edge.floor-pad", 'clear = "on-reset"', "", "it has rows for display-high, refug"),
    ],
)
def test_a_row_is_never_made_looser(
    tmp_path: Path, place: str, lines: str, key: str, sentence: str
) -> None:
    file = tmp_path / "tank.toml"
    file.write_text(f"{CLASSROOM}\n[stricter.{place}]\n{lines}\n", encoding="utf-8")
    with pytest.raises(SiteError) as refused:
        load(str(file))
    (problem,) = refused.value.problems
    assert (problem.file, problem.table, problem.key) == ("tank.toml", f"stricter.{place}", key)
    assert sentence in problem.sentence


def test_the_command_line_refuses_it_with_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "tank.toml"
    text = f'{CLASSROOM}\n[stricter.flow-lost.return-pump]\ndelay = "1 min"\n'
    file.write_text(text, encoding="utf-8")
    assert main(["check", str(file)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("tank.toml: [stricter.flow-lost.return-pump] delay: of itself it waits")


def test_check_prints_own_and_stricter_rows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "tank.toml"
    text = f'{row()}\n[stricter.flow-lost.return-pump]\ndelay = "4 s"\n'
    file.write_text(text, encoding="utf-8")
    assert main(["check", str(file), "--json"]) in (0, 1)
    told = capsys.readouterr().out
    assert '"row": "own.mine"' in told
    assert '"stricter": [\n        "delay"\n      ]' in told


@pytest.mark.parametrize(
    ("table", "where", "key", "sentence"),
    [
        ("[stricter.flow-lost.return-pump]", "stricter.flow-lost.return-pump", "", "give delay"),
        (
            '[stricter.flow-lost.return-pump]\ndelai = "1 s"',
            "stricter.flow-lost.return-pump",
            "delai",
            'did you mean "delay"?',
        ),
        ("[stricter]\nflow-lost = 3", "stricter.flow-lost", "", "a table with keys of its own"),
    ],
)
def test_a_mistake_in_its_table_gets_a_sentence(
    table: str, where: str, key: str, sentence: str
) -> None:
    found = only(f"{CLASSROOM}\n{table}\n")
    assert found[:2] == (where, key)
    assert sentence in found[2]


def test_a_guard_that_is_given_such_a_site_refuses_it_too() -> None:
    site = site_of(f'{CLASSROOM}\n[stricter.flow-lost.return-pump]\ndelay = "1 min"\n')
    with pytest.raises(SiteError, match="never made looser"):
        plan_for(site)
