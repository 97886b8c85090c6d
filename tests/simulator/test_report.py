"""Reports of drills: pages that stand alone, say what the outcome says, and hide nothing."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import get_args

import pytest

from daemon.cli import main
from rules.signals import Event, EventKind
from rules.site import show
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import load_drill, site_text
from simulator.night.evidence import Trace
from simulator.night.outcome import Outcome
from simulator.report import axes, figure, wording
from simulator.report.page import drill_page
from simulator.report.write import Report, ReportError
from simulator.story.drill_file import parse_drill
from simulator.story.happenings import Happening
from tests.simulator.nights import Ask, play, shorter, site
from tests.simulator.pages import Page, told


@pytest.mark.parametrize("where", ["classroom", "rack"])
def test_a_page_is_well_formed_and_needs_nothing_but_itself(where: str) -> None:
    text = drill_page(told(where))
    page = Page(text)
    assert "http" not in text.lower()
    assert "@import" not in text
    assert not [a for _, a in page.elements if "src" in a or "xlink:href" in a]
    assert not [name for name, _ in page.elements if name in ("link", "img", "iframe", "image")]
    assert {a["href"] for a in page.all("a")} == {"index.html"}
    known = {a["id"] for a in page.all("pattern")}
    assert set(re.findall(r"url\((.+?)\)", text)) == {f"#{name}" for name in known}
    assert not [key for _, a in page.elements for key in a if key.startswith("on")]


def test_every_drawing_has_words_that_say_the_same() -> None:
    page = Page(drill_page(told()))
    plots = [a for a in page.all("svg") if a.get("class") == "plot"]
    assert len(plots) > 20
    assert all(a["role"] == "img" and len(a["aria-label"]) > 8 for a in plots)
    spoken = " ".join(a["aria-label"] for a in plots)
    assert "Level of the display, rim at 600.0 mm: with the guard from" in spoken
    assert "with a high float alone" in spoken
    assert "without a guard" in spoken


@pytest.mark.parametrize("where", ["classroom", "rack"])
def test_the_table_says_what_the_outcomes_say(where: str) -> None:
    found, units = told(where), site(where).site.units
    rows = [
        [unescape(re.sub(r"<[^>]+>", "", cell)) for cell in re.findall(r"<t[dh].*?</t[dh]>", row)]
        for row in re.findall(r"<tr>.*?</tr>", drill_page(found))
    ]
    table = {row[0]: row[1:] for row in rows if len(row) == 4}
    nights = [found.nights[k] for k in ("guard", "high-float", "none")]
    floors = [n.spilled_total_m3 + n.leaked_m3 for n in nights]
    assert floors[0] < 1e-6 < floors[2]
    assert table["water on the floor"] == [
        show.volume(v, units) if v > 1e-6 else "nothing" for v in floors
    ]
    assert table["pump ran dry"] == [
        show.duration(n.dry_s) if n.dry_s > 0.0 else "never" for n in nights
    ]
    assert table["pump cut"] == [
        "never" if n.cut_s is None else f"{show.duration(n.cut_s - 120.0)} after the cause"
        for n in nights
    ]
    (level,) = (row for name, row in table.items() if name.startswith("highest level of the "))
    highest = [max(n.trace.column(f"{found.foremost}.level_m")) for n in nights]
    assert level == [show.length(v, units) for v in highest]
    for finding in found.guard.findings:
        assert ["✓ held", finding.statement, finding.detail] in rows


def test_a_failed_drill_says_so_in_words_and_not_by_colour_alone() -> None:
    night = play(Ask("main-drain-blocked", without=frozenset({"drain-capacity"}), lasts_s=200.0))
    assert not night.passed
    drill = shorter(load_drill("main-drain-blocked"), 200.0)
    page = Page(drill_page(replace(told(), drill=drill, nights={"guard": night})))
    assert "✗ not held" in page.said
    assert "hazards taken out: drain-capacity" in page.said
    held = sum(finding.held for finding in night.findings)
    assert page.said.count("✓ held") == held < len(night.findings)


def test_figures_are_in_the_units_of_the_site() -> None:
    rack, classroom = Page(drill_page(told("rack"))).said, Page(drill_page(told())).said
    assert "gal/h" in rack
    assert not re.search(r"\d mm|l/min|\d l\b", rack)
    assert "l/min" in classroom
    assert not re.search(r"\d in\b|gal", classroom)


# --- words --------------------------------------------------------------------------------------


COUNTS = ("a_second", "a_minute", "drops")


def test_every_quantity_of_every_happening_is_said_with_its_unit(classroom: Site) -> None:
    sample = {
        "[s inside]": "12 s", "[m inside]": "12000.0 mm", "[m3 inside]": "12000.0 l",
        "[m3/s inside]": "720000.0 l/min", "[0 to 1 inside]": "1200 %",
    }  # fmt: skip
    seen = set()
    for model in get_args(get_args(Happening)[0]):
        for key, field in model.model_fields.items():
            what = wording.described(model, key)
            unit = next((unit for unit in sample if unit in what), None)
            if "float" in str(field.annotation) and key not in COUNTS:
                assert unit, f"{model.__name__}.{key}"
            if unit:
                seen.add(unit)
                assert wording.worded(12.0, what, classroom.site.units) == sample[unit]
    assert seen == set(sample)


def test_a_happening_names_the_thing_on_this_site(classroom: Site) -> None:
    happening = load_drill("two-drains-blocked").happens[0]
    assert wording.happening(classroom, happening) == "block: main drain (80 %, over 20 s)"
    whole = load_drill("main-drain-blocked").happens[0]
    assert wording.happening(classroom, whole) == "block: main drain"


HOSTILE = "<b>\"Tom\" & 'co'</b></title></style><script>alert(1)</script>"


def test_names_are_escaped_wherever_they_stand(tmp_path: Path) -> None:
    quoted = json.dumps(HOSTILE)
    text = site_text("classroom")
    for name in ("Classroom reef", "display", "overflow box", "return pump", "leak pad"):
        text = text.replace(f'name = "{name}"', f"name = {quoted}")
    text = text.replace("[outputs.sounder]", f"[outputs.sounder]\nname = {quoted}")
    named = parse_site(text, "named.toml")
    drill = told().drill.model_copy(update={"title": HOSTILE, "story": HOSTILE})
    event = Event(EventKind.PUMP_CUT, 130.0, "return-pump", HOSTILE)
    guard = replace(told().guard, events=(event,), not_applicable=None)
    found = replace(
        told(), site=named, drill=drill, group=HOSTILE, again=HOSTILE,
        nights={**told().nights, "guard": guard},
    )  # fmt: skip
    plain = Page(drill_page(told()))
    page = Page(drill_page(found))
    assert len(page.all("script")) == len(plain.all("script")) == 1
    assert not page.all("b") or all(not a for a in page.all("b"))
    assert "alert(1)" not in "".join(t for tag, t in page.texts if tag in ("script", "style"))
    assert page.said.count(HOSTILE) >= 8
    report = Report(str(tmp_path), named, 1, 2)
    report.add(found)
    report.add_not_here(HOSTILE, HOSTILE, HOSTILE)
    index = Page((tmp_path / "index.html").read_text())
    assert not index.all("script")
    assert index.said.count(HOSTILE) >= 4


# --- recordings, which have no water ------------------------------------------------------------


def test_a_recording_is_told_without_the_water_it_does_not_know(tmp_path: Path) -> None:
    found = told()
    played = replace(found.guard, source="recording", trace=Trace((), []), cause_s=None)
    drill = found.drill.model_copy(update={"happens": ()})
    bare = replace(found, drill=drill, nights={"guard": played})
    page = Page(drill_page(bare))
    assert "water on the floor." in page.said
    assert "drain-capacity" in page.said
    assert "highest level" not in page.said
    assert "What would have been" not in page.said
    report = Report(str(tmp_path), found.site, 1, 1)
    report.add(bare)
    assert "a recording: no water" in Page((tmp_path / "index.html").read_text()).said


# --- writing ------------------------------------------------------------------------------------


def test_the_index_leads_to_every_page_and_to_nothing_else(tmp_path: Path) -> None:
    found = told()
    report = Report(str(tmp_path / "deep" / "down"), found.site, 1, 4)
    report.add(found)
    report.add(replace(found, name="elsewhere/two-drains-blocked.toml"))
    report.add(replace(found, name="../../Index.toml"))
    report.add_not_here("A drill of rain", "people", "no rain on this site")
    folder = report.start.parent
    page = Page(report.start.read_text())
    linked = sorted(a["href"] for a in page.all("a"))
    assert linked == ["index-2.html", "two-drains-blocked-2.html", "two-drains-blocked.html"]
    assert sorted(path.name for path in folder.iterdir()) == sorted([*linked, "index.html"])
    assert "not on this site: no rain on this site" in page.said
    assert "3 of 3 drills held." in page.said
    assert "1 is about something this site lacks." in page.said
    assert "Not finished" not in page.said
    assert show.duration(found.guard.cause_to_cut_s or 0.0) in page.said
    assert show.volume(found.nights["none"].spilled_total_m3, found.site.site.units) in page.said


def test_an_index_of_half_the_drills_says_so(tmp_path: Path) -> None:
    Report(str(tmp_path), told().site, 1, 5).add(told())
    assert "Not finished: 1 of 5" in Page((tmp_path / "index.html").read_text()).said


def test_a_page_that_cannot_be_put_in_its_place_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = Report(str(tmp_path), told().site, 1, 1)
    (tmp_path / "two-drains-blocked.html").write_text("the old one")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(ReportError, match="cannot be written: No space left on device"):
        report.add(told())
    assert [path.name for path in tmp_path.iterdir()] == ["two-drains-blocked.html"]
    assert (tmp_path / "two-drains-blocked.html").read_text() == "the old one"


SHORT = """
title = "A minute of the main drain"
story = "It is blocked, and for a minute we look."
starts_at = "02:40"
lasts = "60 s"
happens = [{ at = "5 s", what = "block", where = "main drain of the first display" }]
must = [{ what = "pump cut", within = "20 s" }]
"""


def test_the_command_writes_a_report_and_says_where(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, folder = tmp_path / "short.toml", tmp_path / "out"
    file.write_text(SHORT)
    parse_drill(SHORT, "short.toml")
    assert (
        main(["drill", str(file), "--report", str(folder), "--seed", "3", "--site", "classroom"])
        == 0
    )
    assert f"report: {folder / 'index.html'}" in capsys.readouterr().err
    page = Page((folder / "short.html").read_text())
    assert "The same night, kept three ways" in page.said
    assert f"weirkeeper drill {file} --seed 3 --site classroom" in page.said


def test_a_folder_that_cannot_be_written_is_a_sentence_before_any_night(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("no folder")
    assert main(["drill", "--all", "--report", str(tmp_path / "file" / "out")]) == 2
    said = capsys.readouterr()
    assert "the report cannot be written: Not a directory" in said.err
    assert said.out == ""


# --- in a browser -------------------------------------------------------------------------------

WATCH = """<script>
window.wrong = [];
addEventListener("error", (e) => wrong.push(e.message));
const say = console.error; console.error = (...a) => { wrong.push(a.join(" ")); say(...a); };
</script>"""

POINT = """<script>
const figure = document.querySelector("figure.night");
const box = figure.querySelector("svg.plot").getBoundingClientRect();
figure.dispatchEvent(new PointerEvent("pointermove", { clientX: box.left + box.width / 2 }));
const read = [...figure.querySelectorAll(".read")].map((e) => e.textContent).filter(Boolean);
const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
document.title = JSON.stringify({ wrong, read, wide, lines: figure.querySelectorAll(".cursor").length });
</script>"""  # noqa: E501


@pytest.mark.process
@pytest.mark.parametrize("width", [1200, 500])
def test_a_browser_shows_the_page_without_an_error(tmp_path: Path, width: int) -> None:
    """The cursor says the time and the values; nothing is wider than the screen."""
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("chromium is not installed here")
    text = (
        drill_page(told()).replace("<head>", f"<head>{WATCH}").replace("</body>", f"{POINT}</body>")
    )
    file = tmp_path / "page.html"
    file.write_text(text)
    done = subprocess.run(
        [
            chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--disable-background-networking", f"--user-data-dir={tmp_path / 'profile'}",
            f"--window-size={width},900", "--dump-dom", file.as_uri(),
        ],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    found = re.search(r"<title>(.*?)</title>", done.stdout)
    assert found, done.stderr
    seen = json.loads(unescape(found[1]))
    assert seen["wrong"] == []
    assert seen["wide"] <= 0
    assert seen["lines"] > 10
    window = (figure.close_up(told()) or ("", figure.whole(told())))[1]
    middle = axes.clock(window.clock_s + (window.from_s + window.to_s) / 2)
    assert middle in seen["read"]
    assert any("no guard" in said and "mm" in said for said in seen["read"])


def test_nights_are_what_the_page_takes_them_for() -> None:
    """The nights that these tests look at differ: only without a guard is the floor wet."""
    nights: dict[str, Outcome] = dict(told().nights)
    assert nights["guard"].passed
    assert nights["guard"].cut_s is not None
    assert nights["none"].cut_s is None
    assert nights["none"].spilled_total_m3 > 1e-3
