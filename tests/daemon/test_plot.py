"""The picture of a site: what stands on it, where, to which scale, and what goes wrong with a word.

Heights are checked against the numbers of the site files, worked out by hand; curves against a
formula of the trade; texts against the figures that `check` prints.
"""

from __future__ import annotations

import itertools
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.etree import ElementTree

import matplotlib.style
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from daemon.errors import InputError
from daemon.plot import pages as plot_pages
from daemon.plot import sheet
from daemon.plot.curves import capacities
from daemon.plot.drawing import Drawing
from daemon.plot.lifting import lowest_lift_m, pump_curve, system_curve
from daemon.plot.looks import STYLE
from daemon.plot.panel import Place, rows_for, spread
from daemon.plot.plumbing import draw_plumbing
from daemon.plot.routes import Pipe
from rules import engine
from rules.hydraulics.network import Hydraulics
from rules.plan import Plan
from rules.site import show
from rules.site.parse import parse_site

ROOT = Path(__file__).parents[2]
SITES = ROOT / "simulator" / "sites"
VIEW = Place(9.0, 12.0, 185.0, 184.0)

PLAIN = """
[site]
id = "plain"
name = "Plain tank"
[water]
temperature = "25 degC"

[chambers.display]
bottom = "800 mm"
rim = "500 mm"
area = "0.5 m^2"
[chambers.box]
bottom = "1000 mm"
rim = "300 mm"
length = "250 mm"
width = "150 mm"
[chambers.sump]
name = "the one tank under the stand, which has no walls in it, and a very long name"
bottom = "50 mm"
rim = "400 mm"
area = "0.3 m^2"
level = "200 mm"

[passages.edge]
kind = "weir"
from = "display"
to = "box"
crest = "470 mm"
width = "240 mm"
[passages.drain]
kind = "open-drain"
from = "box"
to = "sump"
mouth = "100 mm"
outlet = "150 mm"
pipe = "2 in sch40"
length = "1.3 m"
fittings = ["entrance-projecting", "elbow-90", "exit"]

[pumps.lift]
from = "sump"
intake = "50 mm"
worn = "10 %"
curve = [
  { flow = "0 l/h", head = "3.0 m" },
  { flow = "2000 l/h", head = "2.5 m" },
  { flow = "4000 l/h", head = "1.2 m" },
]
[passages.riser]
kind = "branch"
pump = "lift"
to = "display"
outlet = "440 mm"
pipe = "1 in sch40"
length = "1.5 m"
fittings = ["elbow-90", "elbow-90", "exit"]
"""

DISPLAY_OF_NINE = """
[chambers.display-{i}]
bottom = "{bottom} mm"
rim = "350 mm"
length = "600 mm"
width = "400 mm"
[chambers.box-{i}]
bottom = "{box} mm"
rim = "250 mm"
length = "120 mm"
width = "120 mm"
[passages.edge-{i}]
kind = "weir"
from = "display-{i}"
to = "box-{i}"
crest = "310 mm"
width = "110 mm"
[passages.drain-{i}]
kind = "open-drain"
from = "box-{i}"
to = "inlet"
mouth = "100 mm"
outlet = "300 mm"
pipe = "1.5 in sch40"
length = "1.5 m"
fittings = ["entrance-projecting", "exit"]
[passages.spare-{i}]
kind = "emergency-drain"
from = "box-{i}"
to = "inlet"
mouth = "150 mm"
outlet = "320 mm"
pipe = "1.5 in sch40"
length = "1.5 m"
fittings = ["entrance-projecting", "exit"]
[passages.feed-{i}]
kind = "branch"
pump = "pump"
to = "display-{i}"
outlet = "290 mm"
pipe = "1/2 in sch40"
length = "1.5 m"
fittings = ["tee-branch", "exit"]
valve_loss = {valve}
[sensors.high-{i}]
kind = "float"
chamber = "display-{i}"
height = "335 mm"
duty = "spill-edge"
pin = {pin}
"""

SUMP_OF_NINE = """
[site]
id = "nine"
name = "Nine on one"
[water]
temperature = "25 degC"
[chambers.inlet]
bottom = "50 mm"
rim = "500 mm"
length = "500 mm"
width = "500 mm"
[chambers.trap]
bottom = "50 mm"
rim = "500 mm"
length = "60 mm"
width = "500 mm"
[chambers.return]
bottom = "50 mm"
rim = "500 mm"
length = "600 mm"
width = "500 mm"
level = "200 mm"
[passages.over]
kind = "baffle"
from = "inlet"
to = "trap"
crest = "280 mm"
width = "500 mm"
[passages.under]
kind = "under-baffle"
from = "trap"
to = "return"
bottom = "20 mm"
gap = "30 mm"
width = "500 mm"
[pumps.pump]
from = "return"
intake = "60 mm"
curve = [
  { flow = "0 l/h", head = "6.0 m" },
  { flow = "4000 l/h", head = "4.5 m" },
  { flow = "8000 l/h", head = "1.0 m" },
]
"""


def nine() -> str:
    """Nine displays in three rows over one sump."""
    parts = [SUMP_OF_NINE]
    for i in range(9):
        bottom = 700 + 600 * (i // 3)
        valve = 60 - 25 * (i // 3)
        parts.append(
            DISPLAY_OF_NINE.format(i=i, bottom=bottom, box=bottom + 100, valve=valve, pin=i + 2)
        )
    return "\n".join(parts)


def plan_of(text: str) -> Plan:
    return engine.plan_for(parse_site(text, "test.toml"))


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    texts = {name: (SITES / f"{name}.toml").read_text("utf-8") for name in ("classroom", "rack")}
    texts |= {"plain": PLAIN, "nine": nine()}
    return {name: plan_of(text) for name, text in texts.items()}


@pytest.fixture(scope="module")
def svg(
    plans: dict[str, Plan], tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str], ElementTree.Element]:
    """The picture of one of the plans, drawn once."""
    folder = tmp_path_factory.mktemp("pictures")

    def drawn(name: str) -> ElementTree.Element:
        file = folder / f"{name}.svg"
        if not file.exists():
            sheet.draw(plans[name], str(file))
        return ElementTree.parse(file).getroot()

    return drawn


def words(picture: ElementTree.Element) -> str:
    """All that is written on a picture, in one line."""
    texts = picture.iter("{http://www.w3.org/2000/svg}text")
    return " ".join(" ".join("".join(text.itertext()) for text in texts).split())


@pytest.fixture
def in_style() -> Iterator[None]:
    with matplotlib.style.context(["default", STYLE]):
        yield


def side_view(plan: Plan) -> tuple[Figure, Drawing]:
    figure = Figure()
    return figure, draw_plumbing(plot_pages.paper(figure), plan, VIEW)


def drawn_pages(plan: Plan) -> list[Figure]:
    found = []
    for page in plot_pages.pages(plan):
        figure = Figure()
        plot_pages.draw_page(figure, plan, page, 1, 1)
        found.append(figure)
    return found


def line_of(figures: list[Figure], gid: str) -> Line2D:
    found = [a for f in figures for a in f.findobj(Line2D) if a.get_gid() == gid]
    assert len(found) == 1, f"{gid}: {len(found)} lines"
    assert isinstance(found[0], Line2D)
    return found[0]


def at(line: Line2D) -> tuple[float, float]:
    xs, ys = line.get_data()
    return float(xs[0]), float(ys[0])


# --- files ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_each_format_is_written_and_is_what_it_says(
    plans: dict[str, Plan], name: str, tmp_path: Path
) -> None:
    for suffix, start in ((".svg", b"<?xml"), (".png", b"\x89PNG\r\n\x1a\n"), (".PDF", b"%PDF-")):
        file = tmp_path / f"{name}{suffix}"
        sheet.draw(plans[name], str(file))
        assert file.read_bytes().startswith(start)
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / f"{name}.PDF").read_bytes())) == 2
    # A4 on its side (ISO 216: 297 x 210 mm) at 200 dots an inch, two pages one under the other
    width, height = (
        int.from_bytes((tmp_path / f"{name}.png").read_bytes()[i : i + 4], "big") for i in (16, 20)
    )
    assert width == pytest.approx(297 / 25.4 * 200, abs=1)
    assert height == pytest.approx(2 * 210 / 25.4 * 200, abs=1)
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted(
        f"{name}{suffix}" for suffix in (".svg", ".png", ".PDF")
    )


def test_the_same_plan_gives_the_same_bytes_also_in_another_process(
    plans: dict[str, Plan], tmp_path: Path
) -> None:
    here, there = tmp_path / "here.svg", tmp_path / "there.svg"
    sheet.draw(plans["classroom"], str(here))
    script = (
        "import sys; from rules import engine; from daemon.plot import sheet; "
        "from daemon.sitefile import load; "
        "sheet.draw(engine.plan_for(load(sys.argv[1])), sys.argv[2]); "
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    command = [sys.executable, "-c", script, str(SITES / "classroom.toml"), str(there)]
    environment = {**os.environ, "PYTHONHASHSEED": "4711", "PYTHONPATH": str(ROOT)}
    subprocess.run(command, check=True, env=environment, cwd=tmp_path)
    assert here.read_bytes() == there.read_bytes()
    assert b"date" not in here.read_bytes()
    first, second = tmp_path / "1.pdf", tmp_path / "2.pdf"
    sheet.draw(plans["plain"], str(first))
    sheet.draw(plans["plain"], str(second))
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.parametrize("name", ["picture", "picture.jpeg", "picture.svg.txt", ".svg/picture"])
def test_an_unknown_ending_is_refused_with_those_that_are_known(
    plans: dict[str, Plan], name: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=r"must end in \.svg, \.png or \.pdf$"):
        sheet.draw(plans["plain"], str(tmp_path / name))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_take_the_picture_is_named(
    plans: dict[str, Plan], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("not a folder")
    (tmp_path / "taken.svg").mkdir()
    for file in (tmp_path / "missing" / "a.svg", tmp_path / "file" / "a.svg"):
        with pytest.raises(InputError, match="cannot be written") as caught:
            sheet.draw(plans["plain"], str(file))
        assert str(file) in str(caught.value)
    with pytest.raises(InputError, match="cannot be written"):
        sheet.draw(plans["plain"], str(tmp_path / "taken.svg"))
    assert sorted(f.name for f in tmp_path.iterdir()) == ["file", "taken.svg"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_is_locked_is_named(plans: dict[str, Plan], tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="cannot be written"):
        sheet.draw(plans["plain"], str(tmp_path / "a.svg"))


def test_a_picture_that_fails_leaves_the_old_one_whole(
    plans: dict[str, Plan], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "a.svg"
    file.write_text("the old one")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fdopen", full)
    with pytest.raises(InputError, match="No space left on device"):
        sheet.draw(plans["plain"], str(file))
    assert file.read_text() == "the old one"
    assert [f.name for f in tmp_path.iterdir()] == ["a.svg"]


def test_without_the_drawing_library_the_extra_is_named(tmp_path: Path) -> None:
    script = (
        "import sys; sys.modules['matplotlib'] = None\n"
        "from daemon.errors import InputError\n"
        "from daemon.plot import sheet\n"
        "try:\n    sheet.draw(None, 'a.svg')\n"
        "except InputError as error:\n    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "weirkeeper[plot]" in done.stdout
    assert done.stderr == ""
    assert list(tmp_path.iterdir()) == []


def test_the_library_is_not_loaded_before_a_picture_is_asked_for() -> None:
    script = (
        "import sys, daemon.plot.sheet, daemon.commands.check\n"
        "assert not {'matplotlib', 'numpy'} & set(sys.modules)"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-c", script], check=True, env=environment)


# --- texts ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["classroom", "rack", "plain", "nine"])
def test_every_chamber_way_and_float_is_named_with_its_figure(
    plans: dict[str, Plan], svg: Callable[[str], ElementTree.Element], name: str
) -> None:
    plan, written = plans[name], words(svg(name))
    site, units, running = plan.site, plan.site.site.units, plan.figures.running
    assert f"{site.site.name} the plumbing from the side" in written
    for key, chamber in site.chambers.items():
        level = show.length(running.levels_m[key] - chamber.bottom, units)
        assert f"{site.label(key)} {level}" in written
    for number, key in enumerate(site.passages, 1):
        flow = show.flow(running.flows_m3_s[key], units)
        assert f"{number} {flow}" in written, "on the drawing"
        assert re.search(rf"{re.escape(site.label(key))} [a-z][^/]*? {flow}", written), "in the key"
    for key, sensor in site.floats().items():
        height = show.length(sensor.height, units).split()[0]
        assert f"{site.label(key)} {height}, {sensor.duty}" in written
    for lift in plan.figures.lifts:
        assert f"Pump: {site.label(lift.pump)} {show.flow(lift.flow_m3_s, units)}" in written
    for drained in plan.figures.drained:
        assert f"Drains: {site.label(drained.chamber)} margin {drained.margin:.2f}" in written
        for key, capacity in drained.capacity_m3_s.items():
            flow = show.flow(capacity, units)
            assert re.search(rf"{re.escape(site.label(key))}(, all but emergency)? {flow}", written)


def test_figures_stand_in_the_units_of_the_site(
    svg: Callable[[str], ElementTree.Element],
) -> None:
    metric, american = words(svg("classroom")), words(svg("rack"))
    for unit in ("l/min", "[mm]", "[m]"):
        assert unit in metric
        assert unit not in american
    for unit in ("gal/h", "[in]", "[ft]"):
        assert unit in american
        assert unit not in metric


def test_what_a_site_does_not_have_is_not_in_its_key(
    svg: Callable[[str], ElementTree.Element],
) -> None:
    plain, classroom = words(svg("plain")), words(svg("classroom"))
    for text in ("dry on a good day", "top-off valve is open", "float, at", "siphon break"):
        assert text in classroom
    for text in ("dry on a good day", "top-off valve is open", "float, at"):
        assert text not in plain
    assert "no siphon break" in plain


def test_names_that_look_like_mark_up_are_written_as_they_are(tmp_path: Path) -> None:
    strange = r"$a_b$ & <i>\frac</i> 100 %"
    text = PLAIN.replace('name = "Plain tank"', f"name = '{strange}'")
    text = text.replace("[passages.edge]\n", f"[passages.edge]\nname = '{strange}'\n")
    sheet.draw(plan_of(text), str(tmp_path / "a.svg"))
    written = words(ElementTree.parse(tmp_path / "a.svg").getroot())
    assert f"{strange} the plumbing from the side" in written
    assert f"{strange} crest 470.0" in written
    sheet.draw(plan_of(text), str(tmp_path / "a.png"))


def test_letters_that_the_font_lacks_raise_no_warning(
    tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    sheet.draw(plan_of(PLAIN.replace("Plain tank", "水槽")), str(tmp_path / "a.png"))
    assert not recwarn.list


# --- graphs --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["classroom", "rack", "plain"])
@pytest.mark.usefixtures("in_style")
def test_operating_points_are_drawn_where_the_figures_are(
    plans: dict[str, Plan], name: str
) -> None:
    """Litres a minute and millimetres, or gallons of 231 cubic inches an hour and inches."""
    plan = plans[name]
    american = name == "rack"
    gallon_m3, inch_m = 231 * 0.0254**3, 0.0254
    flow = 3600 / gallon_m3 if american else 60000.0
    height = 1 / inch_m if american else 1000.0
    head = 1 / (12 * inch_m) if american else 1.0
    figures = drawn_pages(plan)
    for drained in plan.figures.drained:
        point = at(line_of(figures, f"operating-point-{drained.chamber}"))
        level = drained.level_m - plan.site.chambers[drained.chamber].bottom
        assert point == pytest.approx((level * height, drained.inflow_m3_s * flow))
    for lift in plan.figures.lifts:
        point = at(line_of(figures, f"operating-point-{lift.pump}"))
        assert point == pytest.approx((lift.flow_m3_s * flow, lift.head_m * head))


def interpolated(points: list[tuple[float, float]], x: float) -> float:
    (x0, y0), (x1, y1) = next(p for p in itertools.pairwise(points) if p[0][0] <= x <= p[1][0])
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


@pytest.mark.parametrize("name", ["classroom", "rack", "plain"])
def test_both_curves_of_a_pump_meet_at_its_operating_point(
    plans: dict[str, Plan], name: str
) -> None:
    plan = plans[name]
    hydraulics = Hydraulics(plan.site, bore="mean")
    for lift in plan.figures.lifts:
        for points in (
            pump_curve(plan, lift.pump, new=False),
            system_curve(plan, hydraulics, lift.pump),
        ):
            assert interpolated(points, lift.flow_m3_s) == pytest.approx(lift.head_m, abs=0.01)


def test_the_catalogue_curve_runs_through_its_points_and_a_worn_pump_below_it(
    plans: dict[str, Plan],
) -> None:
    new, now = (pump_curve(plans["plain"], "lift", new=new) for new in (True, False))
    assert interpolated(new, 2000 / 3.6e6) == pytest.approx(2.5, abs=1e-3)
    # worn by 10 %: the same head at 90 % of the flow
    assert interpolated(now, 0.9 * 2000 / 3.6e6) == pytest.approx(2.5, abs=1e-3)


def test_the_systems_curve_begins_at_the_height_to_the_lowest_outlet(
    plans: dict[str, Plan],
) -> None:
    """By hand: the refugium's feed ends at 300 + 290 mm, the return chamber stands at 100 + 185."""
    assert lowest_lift_m(plans["classroom"], "return-pump") == pytest.approx(0.590 - 0.285)


def test_an_open_drain_is_drawn_with_what_its_wall_carries(plans: dict[str, Plan]) -> None:
    """27.8 r^(5/3) D^(8/3) gal/min, D in inches, r = 7/24 (Wyly and Eaton, NBS Monograph 31, from
    memory), at the least bore of 1 in schedule 40: 1.315 - 2 x 1.15 x 0.133 in (ASTM D1785: wall
    0.133 in, tolerance about 15 %; from memory)."""
    plan = plans["classroom"]
    drained = plan.figures.drained[0]
    carried = capacities(plan, Hydraulics(plan.site, bore="least"), drained)
    bore_in = 1.315 - 2 * 1.15 * 0.133
    gallons = 27.8 * (7 / 24) ** (5 / 3) * bore_in ** (8 / 3)
    drawn = carried.drains["open-drain"]
    assert drawn.flow[-1] * 60000 == pytest.approx(gallons * 3.785412, rel=0.01)
    assert drawn.least[-1] < drawn.flow[-1] < drawn.most[-1]
    dry = [q for h, q in zip(carried.levels_m, drawn.flow, strict=True) if h <= 0.160]
    assert set(dry) == {0.0}, "nothing runs below its mouth"


@pytest.mark.parametrize("name", ["classroom", "rack", "nine"])
def test_curves_pass_the_capacities_at_the_allowed_level(plans: dict[str, Plan], name: str) -> None:
    plan = plans[name]
    hydraulics = Hydraulics(plan.site, bore="least")
    for drained in plan.figures.drained:
        carried = capacities(plan, hydraulics, drained)
        allowed = drained.allowed_m - plan.site.chambers[drained.chamber].bottom

        def there(flows: tuple[float, ...]) -> float:
            return interpolated(list(zip(carried.levels_m, flows, strict=True)), allowed)  # noqa: B023

        for key, curve in carried.drains.items():
            assert there(curve.flow) == pytest.approx(drained.capacity_m3_s[key], rel=1e-3)
        assert there(carried.firm.flow) == pytest.approx(drained.firm_m3_s, rel=1e-3)
        assert there(carried.every.flow) == pytest.approx(drained.all_m3_s, rel=1e-3)
        for curve in (carried.firm, carried.every, *carried.drains.values()):
            assert all(a <= b + 1e-12 for a, b in itertools.pairwise(curve.flow))


def shaded_to(plan: Plan, chamber: str) -> float:
    """Up to which level the part short of the return flow is hatched [mm]."""
    found = [
        a
        for figure in drawn_pages(plan)
        for a in figure.findobj(lambda artist: artist.get_gid() == f"short-{chamber}")
    ]
    return max(
        (float(x) for area in found for path in area.get_paths() for x in path.vertices[:, 0]),
        default=0.0,
    )


@pytest.mark.usefixtures("in_style")
def test_hatched_is_what_is_short_of_the_return_flow_and_nothing_else(
    plans: dict[str, Plan],
) -> None:
    plain = plans["plain"]
    drained = plain.figures.drained[0]
    running_mm = (drained.level_m - 1.0) * 1000
    # the least bore needs a little more head than the mean one that gives the running level
    assert running_mm <= shaded_to(plain, "box") < running_mm + 3
    narrow = plan_of(PLAIN.replace('"2 in sch40"', '"1 in sch40"'))
    assert narrow.figures.drained[0].margin < 1
    assert shaded_to(narrow, "box") == pytest.approx(300.0), "up to the rim"


# --- the side view ---------------------------------------------------------------------------


@pytest.mark.usefixtures("in_style")
def test_heights_are_to_scale(plans: dict[str, Plan]) -> None:
    """By hand from the site file, bottom of the chamber and height in it added."""
    figure, drawing = side_view(plans["classroom"])
    low, high = drawing.layout.boxes["return"].bottom_mm, drawing.layout.boxes["display"].rim_mm
    scale = (high - low) / (1500 - 100)
    expected = {
        "crest-comb": 900 + 560,
        "mouth-main-drain": 1150 + 60,
        "mouth-emergency-drain": 1150 + 200,
        "outlet-main-drain": 100 + 200,
        "crest-last-baffle": 100 + 200,
        "mouth-refugium-drain": 300 + 220,
        "outlet-riser": 900 + 520,
        "pump-return-pump": 100 + 60,
    }
    for gid, height_mm in expected.items():
        assert at(line_of([figure], gid))[1] == pytest.approx(low + scale * (height_mm - 100)), gid
    floats = {"display-high": 900 + 585, "box-watch": 1150 + 205, "return-low": 100 + 95}
    for key, height_mm in floats.items():
        (triangle,) = figure.findobj(lambda a, key=key: a.get_gid() == f"float-{key}")
        tip = triangle.get_xy()[0]
        assert tip[1] == pytest.approx(low + scale * (height_mm - 100)), key
    box = drawing.layout.boxes["refugium"]
    assert box.bottom_mm == pytest.approx(low + scale * 200)
    assert box.level_mm - box.bottom_mm == pytest.approx(
        scale * 1000 * (plans["classroom"].figures.running.levels_m["refugium"] - 0.3)
    )


def runs(pipe: Pipe) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return list(itertools.pairwise(pipe.corners))


def cross(one: Pipe, other: Pipe) -> bool:
    """Whether a level run of one crosses an upright run of the other."""
    for a, b in itertools.product(runs(one), runs(other)):
        for level, upright in ((a, b), (b, a)):
            if level[0][1] != level[1][1] or upright[0][0] != upright[1][0]:
                continue
            (x0, x1), (y0, y1) = sorted(p[0] for p in level), sorted(p[1] for p in upright)
            if x0 < upright[0][0] < x1 and y0 < level[0][1] < y1:
                return True
    return False


@pytest.mark.usefixtures("in_style")
def test_chambers_stand_apart_and_sumps_in_the_order_of_flow(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        boxes = side_view(plan)[1].layout.boxes
        for a, b in itertools.combinations(boxes.values(), 2):
            beside = a.right_mm <= b.left_mm + 1e-9 or b.right_mm <= a.left_mm + 1e-9
            over = a.rim_mm <= b.bottom_mm or b.rim_mm <= a.bottom_mm
            assert beside or over, f"{a.chamber} over {b.chamber}"
    boxes = side_view(plans["classroom"])[1].layout.boxes
    for left, right in itertools.pairwise(("inlet", "media", "settling", "return")):
        assert boxes[left].right_mm == pytest.approx(boxes[right].left_mm)
    assert boxes["overflow-box"].right_mm == pytest.approx(boxes["display"].left_mm)
    assert boxes["refugium"].left_mm > boxes["return"].right_mm


@pytest.mark.usefixtures("in_style")
def test_pipes_of_the_rack_do_not_cross(plans: dict[str, Plan]) -> None:
    pipes = side_view(plans["rack"])[1].piping.pipes
    assert len(pipes) == 12
    crossing = [
        (a.passage, b.passage) for a, b in itertools.combinations(pipes.values(), 2) if cross(a, b)
    ]
    assert crossing == []


@pytest.mark.parametrize("name", ["classroom", "rack", "plain"])
@pytest.mark.usefixtures("in_style")
def test_labels_do_not_lie_on_one_another(plans: dict[str, Plan], name: str) -> None:
    labels = side_view(plans[name])[1].labels
    assert len(labels.taken) > 2 * len(plans[name].site.chambers)
    for one, other in itertools.combinations(labels.taken, 2):
        assert one.shared(other) < 0.5, f"{one} on {other}"
    for one in labels.taken:
        assert one.outside(labels.paper) < 0.5


@pytest.mark.usefixtures("in_style")
def test_a_long_key_has_a_page_of_its_own(plans: dict[str, Plan]) -> None:
    abouts = [page.about for page in plot_pages.pages(plans["nine"])]
    assert abouts[1] == "key to the plumbing"
    assert len(abouts) == 4, "ten graphs on two pages"
    assert "key to the plumbing" not in [p.about for p in plot_pages.pages(plans["rack"])]


Changes = tuple[tuple[str, str], ...]
ODD: dict[str, Changes] = {
    "a pump too weak": (
        ('head = "3.0 m"', 'head = "0.3 m"'),
        ('head = "2.5 m"', 'head = "0.2 m"'),
        ('head = "1.2 m"', 'head = "0.1 m"'),
    ),
    "all in the cellar": (
        ('bottom = "800 mm"', 'bottom = "-3800 mm"'),
        ('bottom = "1000 mm"', 'bottom = "-3600 mm"'),
        ('bottom = "50 mm"', 'bottom = "-4500 mm"'),
    ),
    "all at one height": (('bottom = "50 mm"', 'bottom = "700 mm"'),),
    "no wall at all": (('crest = "470 mm"', 'crest = "0 mm"'),),
    "a weir that leads upwards": (
        ('bottom = "1000 mm"', 'bottom = "1400 mm"'),
        ('outlet = "440 mm"', 'outlet = "490 mm"'),
    ),
}


@pytest.mark.parametrize("changes", ODD.values(), ids=ODD.keys())
def test_odd_plumbing_is_drawn_as_well(changes: Changes, tmp_path: Path) -> None:
    text = PLAIN
    for was, becomes in changes:
        assert was in text
        text = text.replace(was, becomes, 1)
    plan = plan_of(text)
    sheet.draw(plan, str(tmp_path / "a.svg"))
    written = words(ElementTree.parse(tmp_path / "a.svg").getroot())
    for drained in plan.figures.drained:
        assert f"return flow {show.flow(drained.inflow_m3_s, plan.site.site.units)}" in written


def test_a_display_without_drains_falls_freely_into_the_sump(tmp_path: Path) -> None:
    text = PLAIN.split("[chambers.box]", maxsplit=1)[0]
    text += "[chambers.sump]\n" + PLAIN.split("[chambers.sump]\n", maxsplit=1)[1]
    text = re.sub(r"\[passages.drain\].*?\n\n", "\n", text, flags=re.DOTALL)
    text = text.replace('to = "box"', 'to = "sump"')
    plan = plan_of(text)
    assert plan.figures.drained == ()
    sheet.draw(plan, str(tmp_path / "a.svg"))
    written = words(ElementTree.parse(tmp_path / "a.svg").getroot())
    assert "Drains:" not in written
    assert "Pump: lift" in written


# --- the layout's two rules ------------------------------------------------------------------


def test_spread_keeps_order_and_distance() -> None:
    assert spread([1.0, 5.0], [1.0, 1.0], 0.0, 10.0) == [1.0, 5.0], "nothing to do"
    assert spread([5.0, 5.0], [2.0, 2.0], 0.0, 10.0) == [4.0, 6.0]
    assert spread([9.9, 9.95], [2.0, 2.0], 0.0, 10.0) == [7.0, 9.0], "not past the end"
    assert spread([0.0, 0.0, 0.0], [2.0] * 3, 0.0, 3.0) == [0.5, 1.5, 2.5], "too little room"
    assert spread([], [], 0.0, 1.0) == []


def test_texts_that_reach_over_a_line_stand_above_it() -> None:
    assert rows_for([(0.0, 5.0), (6.0, 10.0)]) == [0, 0]
    assert rows_for([(0.0, 5.0), (3.0, 8.0), (7.0, 12.0)]) == [0, 1, 2]
    assert rows_for([(0.0, 5.0), (3.0, 8.0), (9.0, 14.0)]) == [0, 1, 0]
