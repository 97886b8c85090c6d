"""Site files damaged at random, by seed: always a sentence, never a traceback."""

from __future__ import annotations

import random
import re

import pytest

from rules.assessment.assess import assess
from rules.engine import plan_for
from rules.hydraulics.errors import HydraulicsError
from rules.site.parse import parse_site
from rules.site.problems import SiteError
from rules.verdict import judge
from tests.rules.nights import text_of

SEEDS = 200
SEEDS_A_TEST = 25

VALUES = (
    "nan", "inf", "-inf", "0", "-1", "1e308", "-1e-320", "9" * 400, "true", "[]", "{}", '""',
    '"0 mm"', '"-5 mm"', '"1e9 m"', '"nan mm"', '"inf m"', '"1e-300 m"', '"99 %"', '"0 %"', '" "',
    '"1 in"', '"-0 l/h"', '"1e300 l/min"', '"\\u0000"', '"\\u202emm 04"', '"４０ mm"', '"🌊"',
    '"ß-drain"', "1979-05-27", "07:32:00", '["a", 1]', '{ flow = "1 l/h" }', "'''x\ny'''",
    "0x7fffffff", '"40 µm"', '"100 %"',
    '"return"', '"display"', '"reservoir"', '"riser"', '"return-pump"', '"wet"', '"dry"', '"high"',
)  # fmt: skip


def _tables(lines: list[str]) -> list[int]:
    return [i for i, line in enumerate(lines) if line.startswith("[")]


def _keys(lines: list[str]) -> list[int]:
    return [i for i, line in enumerate(lines) if re.match(r"\w+ = ", line)]


def _alter_value(lines: list[str], at: int, draw: random.Random) -> str:
    """A line with another value: odd, of another key, of other numbers, or shuffled."""
    line = lines[at]
    key = line.split(" = ")[0]
    other = lines[draw.choice(_keys(lines))].split(" = ", 1)[1]
    return draw.choice(
        [
            f"{key} = {draw.choice(VALUES)}",
            f"{key} = {other}",
            f"{draw.choice(['', 'x', 'kind', key + 's', '🐟'])} = {draw.choice(VALUES)}",
            re.sub(r"\d+(\.\d+)?", str(draw.choice([0, 1, 7, 1e6, -3])), line),
            re.sub(r"\d", lambda _: str(draw.randrange(10)), line),
            "".join(draw.sample(line, len(line))),
        ]
    )


def mutate(lines: list[str], draw: random.Random) -> None:
    """One random change, in place."""
    keys, tables = _keys(lines), _tables(lines)
    if not keys or not tables:
        return
    at, table = draw.choice(keys), draw.choice(tables)
    match draw.randrange(10):
        case 0:
            del lines[at]
        case 1:
            lines.insert(at, lines[at])
        case 2:
            end = next((i for i in tables if i > table), len(lines))
            del lines[table:end]
        case 3:
            lines[table] = lines[draw.choice(tables)]
        case 4:
            lines[table] = draw.choice(["[]", "[chambers]", "[[pumps]]", '["a.b"]', "[ünï.cødé]"])
        case 5:
            place = draw.randrange(len(lines[at]) + 1)
            odd = draw.choice(['"', "=", "]", "\\", "\x00", "\x7f", "é", "\u2028", "#", ","])
            lines[at] = lines[at][:place] + odd + lines[at][place:]
        case _:
            lines[at] = _alter_value(lines, at, draw)


def mutated(name: str, seed: int) -> str:
    """A demo site with one to three random changes."""
    draw = random.Random(f"{name}-{seed}")
    lines = text_of(name).splitlines()
    for _ in range(draw.randint(1, 3)):
        mutate(lines, draw)
    return "\n".join(lines)


def outcome(text: str, file: str) -> tuple[str, list[str]]:
    """What becomes of a site file: refused, not computable, or a verdict; and the sentences."""
    try:
        plan = plan_for(parse_site(text, file))
        verdict = judge(plan, assess(plan))
    except SiteError as error:
        return "refused", [str(problem) for problem in error.problems]
    except HydraulicsError as error:
        return "not computable", [str(error)]
    return verdict.words, [finding.sentence for finding in verdict.findings]


@pytest.mark.parametrize("first", range(0, SEEDS, SEEDS_A_TEST))
@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_a_damaged_site_file_gets_sentences(name: str, first: int) -> None:
    for seed in range(first, first + SEEDS_A_TEST):
        text = mutated(name, seed)
        try:
            what, sentences = outcome(text, "tank.toml")
        except Exception as error:
            raise AssertionError(f"{name}, seed {seed}: {error!r}") from error
        assert sentences, f"{name}, seed {seed}: {what} without a sentence"
        for sentence in sentences:
            assert what != "refused" or sentence.startswith("tank.toml: ")
            assert "Traceback" not in sentence


def test_the_damage_reaches_every_outcome() -> None:
    """Were every damaged file refused, or every one accepted, the test above would say little."""
    seen = {outcome(mutated("classroom", seed), "tank.toml")[0] for seed in range(60)}
    assert "refused" in seen
    assert seen & {"SOUND", "SOUND WITH CONDITIONS"}
    assert "NOT SAFE TO LEAVE" in seen
