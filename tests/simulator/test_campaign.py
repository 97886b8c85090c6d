"""Campaigns: nights are drawn alike every time, counted rightly, written down for good."""

from __future__ import annotations

import dataclasses
import json
import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from scipy import stats

from daemon.campaign.promises import promises, promises_if_safe
from daemon.cli import main
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator import library
from simulator.campaign import poisson
from simulator.campaign.book import Book, OtherCampaignError
from simulator.campaign.draw import LABELS, draw
from simulator.campaign.kinds.base import Dice, Fault
from simulator.campaign.kinds.table import KINDS
from simulator.campaign.play import Terms, needless_s
from simulator.campaign.promises import Promise, Promises, asked
from simulator.campaign.sites import random_site_text
from simulator.campaign.tally import percentile, tally
from simulator.campaign.toml_text import write
from simulator.signals.stand import PlantBoard
from simulator.story.drill_file import parse_drill
from simulator.story.script import Script
from simulator.water.plant import Plant

HOUR_S = 3600.0


# --- drawing ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_a_night_is_the_same_whatever_was_drawn_before_it(name: str) -> None:
    """Night 17 is night 17, drawn first, last or alone; another seed gives another."""
    site = library.load_site(name)
    alone = draw(site, 7, 17)
    for number in (3, 40, 17):
        drawn = draw(site, 7, number)
    assert drawn == alone
    assert draw(site, 8, 17).text != alone.text
    assert parse_drill(alone.text, "night") == alone.drill


def test_all_labels_and_kinds_appear() -> None:
    """Every kind of fault that a demo site can have is drawn, and every label of night."""
    labels: Counter[str] = Counter()
    kinds: set[str] = set()
    for name in ("classroom", "rack"):
        site = library.load_site(name)
        for number in range(700):
            drawn = draw(site, 1, number)
            labels[drawn.label] += 1
            kinds |= {fault.kind for fault in drawn.faults}
            assert len(drawn.faults) == {"healthy": 0, "one": 1}.get(
                drawn.label, max(2, len(drawn.faults))
            )
    assert set(labels) == set(LABELS)
    # a level sensor, and a water change, are on neither site
    absent = {"level sensor fails", "water change differs"}
    for kind in KINDS:
        assert kind.name in absent or any(k.startswith(kind.name.split(" ")[0]) for k in kinds)
    states = {"top-off stuck open", "top-off stuck half open", "top-off stuck shut"}
    assert states | {"relay welded", "relay dead", "drain draws air"} <= kinds


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_every_kind_can_be_done_to_a_plant(name: str) -> None:
    """Each kind of fault, drawn some times, is a drill that the site can play."""
    site = library.load_site(name)
    board = PlantBoard(site, Plant(site, 1))
    for kind in KINDS:
        dice = Dice(f"kinds of {name}", 4 * HOUR_S)
        for _ in range(5):
            fault = kind.draw(dice, site)
            if fault is None:
                continue
            text = write(
                {
                    "title": kind.name,
                    "story": kind.name,
                    "starts_at": "22:00",
                    "lasts": "14400 s",
                    "happens": list(fault.happens),
                    "must_not": [{"what": "spill"}],
                }
            )
            Script(site, board, parse_drill(text, kind.name))
            assert 0.0 < fault.at_s < 4 * HOUR_S
            assert fault.at_s < fault.ends_s


def test_healthy_nights_hold_nothing_that_is_a_fault() -> None:
    """What happens on a healthy night is in no kind of fault's words, but for what is small."""
    site = library.load_site("classroom")
    allowed = {"stir", "displace", "dry air", "unplug", "pause", "drift", "noise", "lose water"}
    seen: set[str] = set()
    for number in range(200):
        drawn = draw(site, 3, number, labels=("healthy",))
        assert drawn.label == "healthy"
        seen |= {event.what for event in drawn.drill.happens}
        assert all(
            event.lasts is not None for event in drawn.drill.happens if event.what == "unplug"
        )
    assert seen == allowed


def test_two_drains_are_two_and_often_of_one_chamber() -> None:
    """Nights of two drains have two different ones; as a rule they share a chamber."""
    site = library.load_site("rack")
    together = 0
    for number in range(200):
        faults = draw(site, 5, number, labels=("two-drains",)).faults
        one, other = (fault.where[0] for fault in faults)
        assert one != other
        together += site.passages[one].from_ == site.passages[other].from_  # type: ignore[union-attr]
    assert 100 < together < 190


# --- drawn sites ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_drawn_sites_differ_parse_and_are_not_unsafe(name: str) -> None:
    """A drawn site has the topology of its original and other figures, and check lets it pass."""
    text = library.site_text(name)
    original = library.load_site(name)
    first, site, found = random_site_text(text, 7, 0, promises_if_safe)
    assert parse_site(first, "again") == site
    assert promises_if_safe(site) == found

    def known(drawn: Site) -> Promises | None:
        return found if drawn == site else None

    # the same site again, and no other before it would have done
    assert random_site_text(text, 7, 0, known)[0] == first
    assert random_site_text(text, 7, 1, lambda _site: found)[0] != first
    assert list(site.passages) == list(original.passages)
    assert list(site.sensors) == list(original.sensors)
    assert site.chambers != original.chambers
    assert site.pumps != original.pumps


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_what_is_written_as_toml_reads_as_it_was(name: str) -> None:
    """Python's own reader, which is not ours, gives back what was written."""
    tables = tomllib.loads(library.site_text(name))
    assert tomllib.loads(write(tables)) == tables
    odd = {
        "a b": {"c": [1, 2.5, True, 'quo"te', "line\nend"]},
        "rows": [{"x": {"y": 1}}, {"z": "µ"}],
    }
    assert tomllib.loads(write(odd)) == odd


# --- statistics -------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [0, 1, 2, 3, 7, 20, 150])
@pytest.mark.parametrize("share", [0.9, 0.95])
def test_the_poisson_interval_is_garwoods(count: int, share: float) -> None:
    """Against the chi-squared form of the same interval, computed by scipy."""
    tail = (1.0 - share) / 2.0
    low, high = poisson.interval(count, share)
    assert low == pytest.approx(stats.chi2.ppf(tail, 2 * count) / 2 if count else 0.0, rel=1e-9)
    assert high == pytest.approx(stats.chi2.ppf(1.0 - tail, 2 * count + 2) / 2, rel=1e-9)


def test_the_poisson_sum_is_scipys() -> None:
    """Against scipy's Poisson distribution."""
    for count, mean in ((0, 0.1), (3, 2.5), (40, 33.0), (200, 260.0)):
        assert poisson.at_most(count, mean) == pytest.approx(
            stats.poisson.cdf(count, mean), rel=1e-9
        )


def test_percentiles_are_of_the_nearest_rank() -> None:
    """Against numpy's method of the inverted distribution function, which is the nearest rank."""
    numpy = pytest.importorskip("numpy")
    chance = random.Random(4)
    for length in (1, 2, 9, 10, 11, 57):
        values = [chance.random() for _ in range(length)]
        for share in (0.1, 0.5, 0.9, 1.0):
            expected = numpy.quantile(values, share, method="inverted_cdf")
            assert percentile(values, share) == pytest.approx(expected)


# --- what is asked of a night -----------------------------------------------------------------

TABLE = Promises(
    blocked=(
        Promise(
            "main drain blocked", frozenset({"main-drain"}), False, ("box-watch", "display-high")
        ),
        Promise("open drain blocked", frozenset({"open-drain"}), True, ()),
        Promise("both blocked", frozenset({"main-drain", "open-drain"}), False, ("box-watch",)),
        Promise("comb blocked", frozenset({"comb"}), False, ()),
    ),
    stop_fits=True,
    plugged_stop_fits={"return-pump": False},
    reservoir_fits=True,
    stop_after_reservoir_fits=False,
)


def _fault(kind: str, *passages: str, sensor: str = "", output: str = "") -> Fault:
    sensors = frozenset({sensor} if sensor else ())
    outputs = frozenset({output} if output else ())
    where = passages or (sensor or output,)
    named = frozenset(passages) if kind.endswith(("blocked", "clogged")) else frozenset[str]()
    return Fault(kind, where, 60.0, (), passages=named, sensors=sensors, outputs=outputs)


MAIN, OPEN = _fault("drain blocked", "main-drain"), _fault("drain blocked", "open-drain")


@pytest.mark.parametrize(
    ("faults", "dry"),
    [
        ((MAIN,), True),
        ((OPEN,), True),
        ((MAIN, OPEN), True),
        ((MAIN, _fault("contact stuck", sensor="box-watch")), True),  # the display's float is left
        ((MAIN, OPEN, _fault("contact stuck", sensor="box-watch")), False),
        ((OPEN, _fault("contact stuck", sensor="box-watch")), True),  # carried: no sensor needed
        ((_fault("way in blocked", "comb"),), False),
        ((_fault("drain blocked", "emergency-drain"),), False),  # nothing was said of it
        ((_fault("siphon break plugged", "riser"),), False),
        ((_fault("top-off stuck open", output="top-off-valve"),), True),
        ((OPEN, _fault("top-off stuck open", output="top-off-valve")), False),
        ((_fault("top-off stuck shut"),), True),
        ((_fault("leak", "display"),), True),  # what leaks is one thing, a rim another
    ],
)
def test_a_dry_floor_is_asked_where_the_assessment_promises_it(
    faults: tuple[Fault, ...], dry: bool
) -> None:
    """By the set of drains, by which sensors are left, by what fits in the sump."""
    found = asked(library.load_site("classroom"), TABLE, "one", faults)
    assert found.dry_floor is dry
    assert bool(found.why) is not dry


def test_nothing_is_asked_where_every_stop_spills_or_many_things_fail() -> None:
    """Two reasons that hold whatever the faults are."""
    site = library.load_site("classroom")
    assert not asked(site, dataclasses.replace(TABLE, stop_fits=False), "one", (OPEN,)).dry_floor
    assert not asked(site, TABLE, "many", (OPEN,)).dry_floor


def test_the_assessment_of_the_demo_sites_promises_what_check_prints() -> None:
    """On the classroom reef: an open drain is carried, and all drains are seen in time."""
    found = promises(library.load_site("classroom"))
    by_set = {promise.passages: promise for promise in found.blocked}
    assert by_set[frozenset({"open-drain"})].carried
    everything = by_set[frozenset({"main-drain", "open-drain", "emergency-drain"})]
    assert not everything.carried
    assert "box-watch" in everything.in_time
    assert by_set[frozenset({"comb"})].in_time == ("display-high",)
    assert found.stop_fits
    assert found.reservoir_fits


def test_a_stop_is_needless_before_anything_called_for_it() -> None:
    """What is before the last thing to befall the water, and all of it where no harm would be."""
    drill = parse_drill(
        write(
            {
                "title": "t",
                "story": "s",
                "starts_at": "22:00",
                "lasts": "1000 s",
                "happens": [
                    {"at": "100 s", "what": "stick", "where": "high float", "state": "wet"},
                    {"at": "300 s", "what": "block", "where": "main drain"},
                ],
                "must_not": [{"what": "spill"}],
            }
        ),
        "d",
    )
    stood = [(110.0, 200.0), (320.0, 900.0)]
    assert needless_s(drill, stood, harm_s=350.0) == pytest.approx(90.0)
    assert needless_s(drill, stood, harm_s=float("inf")) == pytest.approx(670.0)


def test_the_tally_counts_what_the_records_hold() -> None:
    """Three nights by hand: litres, seconds, false trips a year over the healthy time alone."""
    night = {"leaked_l": 0.0, "dry_s": 0.0, "stood_s": 0.0, "needless_s": 0.0, "alarms": 0}
    night |= {"spilled_l": 0.0, "false_trips": 0, "verdict": "held", "cpu_s": 1.0, "story": ""}
    fault = {
        "kind": "leak",
        "standing": False,
        "has_a_name": True,
        "at_s": 900.0,
        "after_s": 20.0,
        "lead_s": -4.0,
    }
    records = [
        night
        | {"night": 3, "label": "one", "faults": [fault], "spilled_l": 2.5, "needless_s": 90.0},
        night | {"night": 1, "label": "healthy", "faults": [], "false_trips": 1},
        night | {"night": 2, "label": "one", "faults": [fault | {"after_s": None, "lead_s": None}]},
    ]
    found = tally(records, lasts_s=HOUR_S)
    whole = found["all"]
    assert whole["spilled_nights"] == 1
    assert whole["spilled_l"] == pytest.approx(2.5)
    assert whole["needless_h"] == pytest.approx(0.025)
    years = (HOUR_S + 2 * 900.0) / (365.25 * 86400.0)
    assert whole["healthy_years"] == pytest.approx(years)
    assert whole["false_trips_a_year"] == pytest.approx(1.0 / years)
    leak = found["faults"]["leak"]
    assert leak["never_share"] == pytest.approx(0.5)
    assert leak["after_s"]["median"] == pytest.approx(20.0)
    assert leak["lead_s"]["worst"] == pytest.approx(-4.0)


# --- the folder, and the command ----------------------------------------------------------------


def _terms(**other: object) -> Terms:
    terms = Terms(library.site_text("classroom"), promises, 7, lasts_s=600.0)
    return dataclasses.replace(terms, **other)  # type: ignore[arg-type]


def test_a_folder_takes_no_other_campaigns_nights(tmp_path: Path) -> None:
    """Another seed, another site or another program is refused with what differs."""
    with Book(tmp_path, _terms()) as book:
        book.add({"night": 1})
    with Book(tmp_path, _terms()) as book:
        assert book.records == {1: {"night": 1}}
    with pytest.raises(OtherCampaignError, match="--seed"):
        Book(tmp_path, _terms(seed=8))
    changed = library.site_text("classroom").replace("92 %", "91 %")
    with pytest.raises(OtherCampaignError, match="the site file"):
        Book(tmp_path, _terms(site_text=changed))
    kept = json.loads((tmp_path / "campaign.json").read_text())
    (tmp_path / "campaign.json").write_text(json.dumps(kept | {"the version of the program": "0"}))
    with pytest.raises(OtherCampaignError, match="the version of the program"):
        Book(tmp_path, _terms())


def test_a_line_cut_in_half_is_a_night_not_played(tmp_path: Path) -> None:
    """What a crash cuts off is dropped, and what stood before it is kept."""
    with Book(tmp_path, _terms()) as book:
        book.add({"night": 4, "story": "rain"})
    nights = tmp_path / "nights.jsonl"
    nights.write_bytes(nights.read_bytes() + b'{"night":5,"sto')
    with Book(tmp_path, _terms()) as book:
        assert list(book.records) == [4]
        book.add({"night": 5})
    assert [json.loads(line)["night"] for line in nights.read_text().splitlines()] == [4, 5]


SHORT = ["campaign", "--seed", "5", "--hours", "0.1", "--beside", "1", "--nights", "6"]


def _lines(folder: Path) -> list[str]:
    path = folder / "nights.jsonl"
    return path.read_text().splitlines() if path.exists() else []


def _without_times(file: Path) -> object:
    result = json.loads(file.read_text())
    result.pop("cpu_s")
    return result


@pytest.mark.process
def test_after_kill_9_the_same_command_gives_the_same_result(tmp_path: Path) -> None:
    """Killed with two workers at it: the nights written stay, and the sum is the same."""
    whole, broken = tmp_path / "whole.json", tmp_path / "broken.json"
    main([*SHORT, "--jobs", "1", "--out", str(tmp_path / "a"), "--report", str(whole)])
    command = [sys.executable, "-m", "daemon.cli", *SHORT, "--jobs", "2"]
    command += ["--out", str(tmp_path / "b"), "--report", str(broken)]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    process = subprocess.Popen(
        command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        until_s = time.monotonic() + 60.0
        while len(_lines(tmp_path / "b")) < 2 and time.monotonic() < until_s:
            time.sleep(0.02)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
    before = _lines(tmp_path / "b")
    assert 2 <= len(before) < 6
    again = [*SHORT, "--jobs", "1", "--out", str(tmp_path / "b"), "--report", str(broken)]
    main(again)
    assert _lines(tmp_path / "b")[: len(before)] == before
    assert _without_times(broken) == _without_times(whole)


def test_the_command_refuses_with_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, and a sentence, for a kind, a hazard or a picture that cannot be."""
    for wrong, said in (
        (["--kinds", "one,bad"], "no such kind of night: bad"),
        (["--without", "everything"], "no such hazard: everything"),
        (["--plot", "x.bmp"], "must end in"),
        (["--hours", "0"], "--hours"),
        (["--nights", "0"], "--nights"),
    ):
        assert main([*SHORT, "--out", str(tmp_path), *wrong]) == 2
        assert said in capsys.readouterr().err


def test_with_the_protection_taken_out_nights_fail_and_replay(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without both hazards that hold a blocked drain, a night spills, and its line replays it."""
    wound = ["campaign", "--seed", "5", "--hours", "0.3", "--kinds", "two-drains", "--beside", "0"]
    wound += ["--without", "drain-capacity,spill-edge", "--jobs", "1"]
    report = tmp_path / "report.json"
    out = ["--out", str(tmp_path / "c"), "--nights", "10", "--report", str(report)]
    assert main([*wound, *out]) == 1
    said = capsys.readouterr()
    failures = json.loads(report.read_text())["failures"]
    assert failures
    night = failures[0]["night"]
    line = next(line for line in said.err.splitlines() if line.endswith(f"--night {night}"))
    replay = line.split("replay: weirkeeper ")[1].split()
    drill = tmp_path / "bad.toml"
    assert main([*replay, "--beside", "0", "--as-drill", str(drill)]) == 1
    told = capsys.readouterr().out
    assert failures[0]["why"][0] in told
    assert parse_drill(drill.read_text(), "bad").happens
    # and with the guard whole the same night holds
    whole = [part for part in replay if part not in ("--without", "drain-capacity,spill-edge")]
    assert main([*whole, "--beside", "0"]) == 0


def test_the_result_is_printed_drawn_and_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A table with every keeper, a picture that is one, and the same bytes for the same nights."""
    picture = tmp_path / "c.svg"
    command = [*SHORT, "--nights", "3", "--jobs", "1", "--out", str(tmp_path / "d")]
    code = main([*command, "--plot", str(picture)])
    said = capsys.readouterr().out
    assert code in (0, 1)
    for word in ("no guard", "high float", "low-flow", "False trips", "needless"):
        assert word in said
    first = picture.read_bytes()
    assert first.startswith(b"<?xml")
    main([*command, "--plot", str(picture)])
    assert picture.read_bytes() == first
