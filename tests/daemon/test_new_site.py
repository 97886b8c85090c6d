"""`weirkeeper new` without its terminal: what the answers make, and what a file gives back."""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Mapping
from itertools import pairwise
from typing import Any, TypeVar

import pytest

from daemon.checking import check
from daemon.errors import InputError
from daemon.wizard.describe import describe
from daemon.wizard.interview import Back, Interview, Known, recall
from daemon.wizard.keep import dump
from daemon.wizard.question import Answer, Ask, Given, Question
from daemon.wizard.sheet import CURVE, GUESS, Sheet, marked
from daemon.wizard.unknown import unknown
from rules.figures import compute
from rules.hydraulics.errors import HydraulicsError
from rules.site.model import Site
from rules.site.parse import parse_site
from rules.verdict import Weight

T = TypeVar("T")
SEEDS = 100
SEEDS_A_TEST = 20

WORDS = ("yes", "no", "comb", "weir", "curve", "rating", "high", "low", "none", "us", "inlet")
NUMBERS = ("0", "1", "2", "3", "5", "8", "17", "26", "40", "100")
PIPES = ("1/2 in sch40", "1 in sch40", "2 in sch40", "50x2.4 mm", "25x1.5 mm", "40.9 mm bore")
LENGTHS = ("-3 m", "-200 mm", "0 mm", "2 mm", "15 mm", "1/2 in", "2.5 in", "100 mm", "25 cm",
           "14 in", "0.4 m", "800 mm", "4 ft", "1.5 m")  # fmt: skip
CURVES = (
    "0 l/h at 4 m, 3000 l/h at 3 m, 6000 l/h at 0.5 m",
    "0 gal/h at 20 ft, 2000 gal/h at 1 ft",
)
SHARES = (0.3, 0.5, 0.8, 0.95, 1.05, 1.3, 2.0, 3.0)


def made(answers: Mapping[str, str] | None = None, known: Known | None = None) -> Sheet:
    """What the named answers make, every other question answered by Enter."""
    given = {key: Given(text) for key, text in (answers or {}).items()}
    return Interview(known or Known(), given, "answers").run(describe)


def site_of(sheet: Sheet) -> Site:
    return parse_site(sheet.text(), "reef.toml")


def remembered(text: str) -> tuple[Known, Sheet]:
    return recall(tomllib.loads(text), marked(text), describe)


def questions(answers: Mapping[str, str]) -> list[Question[Any]]:
    """Every question of one run, the quiet ones too."""
    asked: list[Question[Any]] = []

    def ask(question: Question[T], /) -> Answer[T]:
        asked.append(question)
        text, value = question.read(answers.get(question.key, question.usual))
        return Answer(text, value, True)

    describe(ask)
    return asked


class Script:
    """A person who answers some questions, wrong ones first, and presses Enter at all others."""

    def __init__(self, replies: Mapping[str, list[str]]) -> None:
        self.replies = {key: list(texts) for key, texts in replies.items()}
        self.troubles: dict[str, list[str]] = {}
        self.shown: list[tuple[str, str]] = []

    def __call__(self, question: Question[Any], offered: str, trouble: str, /) -> str:
        if trouble:
            self.troubles.setdefault(question.key, []).append(trouble)
        self.shown.append((question.key, offered))
        waiting = self.replies.get(question.key)
        reply = waiting.pop(0) if waiting else ""
        if reply == "back":
            raise Back
        return reply

    def run(self, known: Known | None = None, given: dict[str, Given] | None = None) -> Sheet:
        return Interview(known or Known(), given or {}, "draft", self).run(describe)


# --- the usual answers ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "answers",
    [{"site.units": units} for units in ("metric", "us")]
    + [{"site.displays": number} for number in ("2", "3")]
    + [{"site.displays": "3", "site.units": "us", "refugium.fitted": "yes"}]
    + [{"sump.chambers": number} for number in ("1", "2", "6")]
    + [{"display.overflow": "weir"}, {"sump.media.sponge": "yes"}, {"outputs.relays-on": "low"}],
)
def test_the_usual_answers_make_a_site_that_may_be_left_alone(answers: dict[str, str]) -> None:
    judged = check(site_of(made(answers))).verdict
    unsafe = [f.sentence for f in judged.findings if f.weight is Weight.UNSAFE]
    assert judged.words in ("SOUND", "SOUND WITH CONDITIONS"), unsafe


def test_a_site_without_the_relay_of_its_pump_is_not_called_safe() -> None:
    judged = check(site_of(made({"outputs.pump-relay": "none"}))).verdict
    assert judged.words == "NOT SAFE TO LEAVE"


def test_every_question_is_explained_in_one_sentence() -> None:
    """Keys nest as TOML tables do: none may be the beginning of another."""
    asked = questions({"site.displays": "3", "refugium.fitted": "yes", "sump.chambers": "6",
                       "sump.media.sponge": "yes", "sensors.return-flow": "2",
                       "display-3.same": "no", "display.overflow": "weir"})  # fmt: skip
    keys = [question.key for question in asked]
    assert len(keys) == len(set(keys)) > 150
    assert not [(a, b) for a in keys for b in keys if b.startswith(f"{a}.")]
    for question in asked:
        assert re.fullmatch(r"[A-Z0-9\"][^!?\n]*\.", question.why), question.key
        assert len(question.why) <= 130, question.key


@pytest.mark.parametrize("level", ["high", "low"])
def test_the_pins_offered_for_relays_are_pulled_to_off_at_power_on(level: str) -> None:
    """BCM2835 ARM Peripherals, table 6-31: GPIO 0 to 8 are pulled high, 9 to 27 low."""
    site = site_of(made({"outputs.relays-on": level, "site.displays": "4"}))
    assert len(site.outputs) == 4
    for output in site.outputs.values():
        assert output.safe == ("low" if level == "high" else "high")
        assert (output.pin <= 8) is (output.safe == "high")


def test_no_pin_is_offered_twice_nor_those_that_identify_a_board() -> None:
    """GPIO 0 and 1 (ID_SD, ID_SC) are reserved for the EEPROM of a board: Raspberry Pi HAT design
    guide."""
    site = site_of(made({"site.displays": "8"}))
    pins = [thing.pin for thing in [*site.sensors.values(), *site.outputs.values()]]
    assert len(pins) == len(set(pins)) == 25
    assert not {0, 1} & set(pins)


def test_one_display_is_like_the_first_unless_it_is_said_not_to_be() -> None:
    answers = {"site.displays": "3", "display.length": "5 ft", "display-2.bottom": "1.4 m",
               "display-3.same": "no", "display-3.width": "20 in"}  # fmt: skip
    tanks = site_of(made(answers)).chambers
    assert tanks["display-2"].length == tanks["display-3"].length == pytest.approx(1.524)
    assert tanks["display-2"].width == 0.6
    assert (tanks["display-2"].bottom, tanks["display"].bottom) == (1.4, 0.9)
    assert tanks["display-3"].width == pytest.approx(0.508)


def test_answers_may_be_in_any_unit() -> None:
    """1 ft = 0.3048 m, 1 in = 25.4 mm, 1 US gal = 231 in^3: NIST SP 811, appendix B."""
    site = site_of(
        made({"display.length": "4 ft", "display.width": '"23-1/2 in"', "pump.flow": "1000 gph",
              "pump.head": "9.5 ft", "display.rock": "12%"})
    )  # fmt: skip
    tank, curve = site.chambers["display"], site.pumps["return-pump"].curve
    assert tank.length == pytest.approx(1.2192)
    assert tank.width == pytest.approx(0.5969)
    assert tank.displacement == 0.12
    assert curve[-1].flow == pytest.approx(1000 * 231 * 0.0254**3 / 3600)
    assert curve[0].head == pytest.approx(2.8956)


@pytest.mark.parametrize(("flow", "head"), [("4000 l/h", "3 m"), ("1.2e3 gal/h", "118-1/2 in")])
def test_a_pump_known_by_its_rating_gets_a_falling_curve_marked_as_a_guess(
    flow: str, head: str
) -> None:
    """H = Hmax (1 - (Q/Qmax)^2): three quarters of the head are left at half the flow. Common
    practice, no source."""
    sheet = made({"pump.flow": flow, "pump.head": head})
    points = site_of(sheet).pumps["return-pump"].curve
    assert points[1].flow == pytest.approx(points[2].flow / 2)
    assert points[1].head == pytest.approx(points[0].head * 0.75)
    assert (points[0].flow, points[2].head) == (0.0, 0.0)
    assert f"curve = [  # {CURVE}\n" in sheet.text()


def test_a_pump_known_by_its_curve_is_written_point_by_point_without_a_mark() -> None:
    sheet = made({"pump.known": "curve", "pump.curve": CURVES[0]})
    assert '{ flow = "3000 l/h", head = "3 m" },' in sheet.text()
    assert "curve = [\n" in sheet.text()


# --- wrong answers --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "wrong", "sentence"),
    [
        ("display.length", "long", "is not a quantity"),
        ("display.length", "1200", "no unit"),
        ("display.length", "-1200 mm", "more than zero"),
        ("display.length", "0 mm", "more than zero"),
        ("display.length", "5 kg", "another kind of quantity"),
        ("display.length", "1 parsec", "out of range"),
        ("display.length", "3 mm", "give 100.0 mm to 20000.0 mm"),
        ("display.crest", "600 mm", "must lie under the rim"),
        ("display.crest", "2 ft", "must lie under the rim"),
        ("display.crest", "-1 mm", "must lie above the bottom"),
        ("display.rock", "100 %", "give 0 % to 90 %"),
        ("display.rock", "-5 %", 'between "0 %"'),
        ("display.box.depth", "50 mm", "give 145.0 mm"),
        ("display.slots", "0", "from 1 to 1000"),
        ("display.slots", "forty", "from 1 to 1000"),
        ("site.displays", "9", "from 1 to 8"),
        ("site.displays", "0", "from 1 to 8"),
        ("site.id", "My Reef", "lower-case"),
        ("site.name", "x" * 81, "1 to 80 characters"),
        ("sump.bottom", "2 m", "must lie under the overflow"),
        ("sump.inlet.crest", "410 mm", "must lie under the rim"),
        ("sump.return.level", "400 mm", "must lie under the rim"),
        ("display.main-drains", "-1", "from 0 to 3"),
        ("display.main-drain.lip", "340 mm", "must lie under the overflow"),
        ("display.open-drain.lip", "30 mm", "must lie above the lips of the other drains"),
        ("display.emergency-drain.lip", "100 mm", "must lie above the lips of the other drains"),
        ("display.main-drain.pipe", "1.5 in", "is not a pipe"),
        ("display.main-drain.pipe", "7 in sch40", "no such schedule 40 size"),
        ("display.main-drain.length", "0 m", "more than zero"),
        ("display.main-drain.elbows", "many", "from 0 to 20"),
        ("display.riser.outlet", "700 mm", "must lie under the rim"),
        ("display.riser.siphon-break", "100 mm", "breaks nothing"),
        ("pump.intake", "300 mm", "must lie under the level in the return chamber"),
        ("pump.known", "no idea", "answer curve or rating"),
        ("pump.flow", "0 l/h", "give 0.6 l/min"),
        ("pump.flow", "-100 l/h", "must not be negative"),
        ("pump.head", "1 m", "moves nothing"),
        ("outputs.pump-relay", "28", "from 0 to 27"),
        ("outputs.top-off-valve", "17", "taken by the relay of the return pump"),
        ("sensors.return-low", "GPIO 17", "taken by the relay of the return pump"),
        ("sensors.return-low-height", "20 mm", "must lie above the intake"),
        ("sensors.return-high-height", "100 mm", "must lie above the running level"),
        ("display.floats.high-height", "500 mm", "must lie above the crest"),
        ("display.floats.high-height", "600 mm", "must lie under the rim"),
        ("alerts.people", "Ann, ann", "too much like another"),
        ("alerts.people", "Display", "the id of another thing"),
    ],
)
def test_a_wrong_answer_gets_a_sentence_and_the_question_again(
    key: str, wrong: str, sentence: str
) -> None:
    script = Script({key: [wrong]})
    sheet = script.run()
    assert len(script.troubles[key]) == 1
    assert sentence in script.troubles[key][0]
    assert [asked for asked, _ in script.shown].count(key) == 2
    assert sheet.text() == made().text()


def test_a_curve_that_does_not_fall_or_does_not_reach_is_asked_again() -> None:
    wrong = ["3000 l/h", "0 l/h at 4 m", "0 l/h at 2 m, 9 l/h at 3 m", "0 l/h at 4 kg, 9 l/h at 1",
             "0 l/h at 1 m, 3000 l/h at 0 m"]  # fmt: skip
    script = Script({"pump.known": ["curve"], "pump.curve": wrong})
    script.run()
    told = script.troubles["pump.curve"]
    assert len(told) == len(wrong)
    for sentence, part in zip(
        told, ["write a point like", "two points", "must fall", "another kind", "moves nothing"],
        strict=True,
    ):  # fmt: skip
        assert part in sentence


def test_a_site_must_keep_one_drain() -> None:
    script = Script(
        {"display.main-drains": ["0"], "display.open-drains": ["0"],
         "display.emergency-drains": ["0", "2"]}
    )  # fmt: skip
    site = site_of(script.run())
    assert "from 1 to 3" in script.troubles["display.emergency-drains"][0]
    assert list(site.drains_from("overflow-box")) == ["emergency-drain", "emergency-drain-b"]


def test_back_asks_the_question_before_again_and_offers_what_was_said() -> None:
    script = Script({"display.length": ["2 m", "1.5 m"], "display.width": ["back"]})
    site = site_of(script.run())
    assert site.chambers["display"].length == 1.5
    at = script.shown.index(("display.width", "600 mm"))
    assert script.shown[at + 1] == ("display.length", "2 m")


def test_back_at_the_very_first_question_asks_it_again() -> None:
    script = Script({"site.name": ["back", "Frag room"]})
    assert site_of(script.run()).site.name == "Frag room"


# --- answers from a file --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"display.lenght": "1 m"}, "did you mean display.length?"),
        ({"refugium.rim": "300 mm"}, "no such question"),
        ({"display-2.length": "1 m"}, "no such question"),
        ({"display.crest": "1 m"}, "display.crest: it must lie under the rim"),
    ],
)
def test_answers_that_fit_no_question_are_refused(answers: dict[str, str], sentence: str) -> None:
    with pytest.raises(InputError, match=re.escape(sentence)):
        made(answers)


def test_a_draft_is_read_before_anything_is_asked() -> None:
    script = Script({})
    with pytest.raises(InputError, match="no such question"):
        script.run(given={"site.name": Given("x"), "sump.colour": Given("blue")})
    assert script.shown == []


def test_going_on_from_a_draft_asks_only_what_is_left() -> None:
    first = Script({"site.name": ["Reef"], "display.length": ["2 m"]})
    kept: dict[str, Given] = {}
    Interview(Known(), kept, "draft", first).run(describe)
    half = dict(list(kept.items())[: len(kept) // 2])
    assert tomllib.loads(dump(half))["display"]["length"] == "2 m"
    second = Script({})
    sheet = second.run(given=dict(half))
    assert not set(half) & {key for key, _ in second.shown}
    assert sheet.text() == made({"site.name": "Reef", "display.length": "2 m"}).text()


# --- run again on its own output ------------------------------------------------------------


def candidate(draw: random.Random, usual: str) -> str:
    """Something a keeper might type, likely to fit a question with that usual answer."""
    if " at " in usual:
        return draw.choice(CURVES)
    number = re.match(r"^([0-9.]+) ?([^0-9].*)$", usual)
    kind = draw.randrange(8)
    if number and kind < 5:
        return f"{float(number[1]) * draw.choice(SHARES):.8g} {number[2]}"
    return draw.choice([WORDS, NUMBERS, PIPES, LENGTHS, LENGTHS, CURVES][draw.randrange(6)])


def random_answers(seed: int) -> Ask:
    """Valid answers drawn by seed; one quiet value in ten was measured, too."""
    draw = random.Random(seed)

    def ask(question: Question[T], /) -> Answer[T]:
        if question.key == "site.displays":
            return Answer(*question.read(draw.choice("1112")), False)
        if not question.quiet or draw.random() < 0.1:
            for _ in range(4):
                try:
                    return Answer(*question.read(candidate(draw, question.usual)), False)
                except ValueError:
                    continue
        return Answer(*question.read(question.usual), question.guess)

    return ask


def computed(site: Site) -> tuple[float, str]:
    """The volume of the water, or the sentence that says why nothing can be computed."""
    try:
        return compute(site).volume_m3, ""
    except HydraulicsError as error:
        return 0.0, str(error)


@pytest.mark.parametrize("first", range(0, SEEDS, SEEDS_A_TEST))
def test_any_valid_answers_make_a_site_that_computes_and_gives_them_back(first: int) -> None:
    for seed in range(first, first + SEEDS_A_TEST):
        text = describe(random_answers(seed)).text()
        site = parse_site(text, f"seed-{seed}.toml")
        known, again = remembered(text)
        assert again.text() == text, f"seed {seed}"
        assert unknown(text, site, again) == [], f"seed {seed}"
        assert made(known=known).text() == text, f"seed {seed}"
        volume, sentence = computed(site)
        assert volume > 0 or re.search(r"\w+ \w+ \w+", sentence), f"seed {seed}"


def test_the_random_answers_reach_what_they_should() -> None:
    """Were every draw the usual answer, the test above would say little."""
    texts = [describe(random_answers(seed)).text() for seed in range(SEEDS)]
    for part in ("[passages.weir]", "[passages.media-sponge]", "[chambers.refugium]",
                 "[chambers.display-2]", 'units = "us"', "[sensors.return-flow]", "curve = [\n",
                 "[passages.main-drain-b]", "[chambers.settling]"):  # fmt: skip
        assert any(part in text for text in texts), part


def test_every_earlier_answer_is_offered_again() -> None:
    given = {"display.length": "5 ft", "sump.inlet.sponge": "yes", "pump.known": "curve",
             "pump.curve": CURVES[0], "outputs.relays-on": "low", "alerts.people": "Ann, Bo",
             "alerts.broker": "none", "display.riser.siphon-break": "none"}  # fmt: skip
    known, _ = remembered(made(given).text())
    script = Script({})
    script.run(known)
    offered = dict(script.shown)
    assert {key: offered[key] for key in given} == given


def test_a_value_that_was_measured_in_the_file_stays_and_a_guess_follows_the_answers() -> None:
    text = made().text()
    assert f'height = "581 mm"  # {GUESS}' in text
    assert f'outlet = "198 mm"  # {GUESS}' in text
    edited = text.replace(f'outlet = "198 mm"  # {GUESS}', 'outlet = "175 mm"')
    known, again = remembered(edited)
    assert again.text() == edited
    after = made({"sump.inlet.crest": "300 mm"}, known).text()
    assert 'outlet = "175 mm"\n' in after
    assert f'outlet = "310 mm"  # {GUESS}' in after, "the open drain's end follows the crest"


def test_a_mark_taken_off_stays_off_and_one_left_stays_on() -> None:
    text = made().text()
    confirmed = text.replace(f'rim = "600 mm"  # {GUESS}', 'rim = "600 mm"')
    assert confirmed != text
    assert made(known=remembered(confirmed)[0]).text() == confirmed
    left = text.replace(f'rim = "600 mm"  # {GUESS}', f'rim = "610 mm"  # {GUESS}')
    assert made(known=remembered(left)[0]).text() == left


def test_a_measured_quiet_value_that_no_longer_fits_is_asked_for() -> None:
    edited = re.sub(
        r'fittings = \["entrance-projecting", "gate-valve", "elbow-90", "exit"\]',
        'fittings = ["entrance-flush", "union", "elbow-90", "exit"]', made().text(),
    )  # fmt: skip
    known, again = remembered(edited)
    assert again.text() == edited
    script = Script({"display.main-drain.elbows": ["2"]})
    script.run(known)
    assert "display.main-drain.fittings" in dict(script.shown)
    unchanged = Script({})
    assert unchanged.run(known).text() == edited
    assert "display.main-drain.fittings" not in dict(unchanged.shown)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("[sensors.floor-pad]", '[chambers.spare]\nbottom = "0 mm"\nrim = "1 m"\n'
         'area = "1 m^2"\n\n[sensors.floor-pad]', "[chambers.spare]"),
        ('duty = "drain-watch"', 'duty = "drain-watch"\nfilter = "2 s"',
         "[sensors.box-watch] filter"),
        ('kind = "leak"', 'kind = "leak"\nclosed_when = "dry"', "[sensors.floor-pad] closed_when"),
        ("port = 8883", 'port = 8883\nkeep_alive = "30 s"', "[broker] keep_alive"),
        ('[people.the-keeper]\nname = "the keeper"', '[people.x]\nname = "the keeper"',
         "[people.x]"),
        ("[chambers.display]", "# bought second-hand\n[chambers.display]",
         'the comment "bought second-hand"'),
    ],
)  # fmt: skip
def test_what_the_questions_cannot_say_is_named(old: str, new: str, named: str) -> None:
    text = made().text()
    assert text.count(old) == 1
    edited = text.replace(old, new)
    _, again = remembered(edited)
    found = unknown(edited, parse_site(edited, "reef.toml"), again)
    assert any(thing.startswith(named) for thing in found), found


def test_a_file_put_in_another_order_is_still_understood() -> None:
    """Order and spacing are a person's own business: nothing of it counts as lost."""
    text = made().text()
    head, *tables = re.split(r"(?m)^(?=\[)", text)
    shuffled = head + "".join(sorted(tables, reverse=True)).replace(" = ", "   =  ")
    assert shuffled != text
    _, again = remembered(shuffled)
    assert unknown(shuffled, parse_site(shuffled, "reef.toml"), again) == []


def test_marks_are_on_every_value_that_nobody_gave_and_on_no_other() -> None:
    given = {"display.length": "1200 mm", "sump.rim": "400 mm", "display.open-drain.lip": "160 mm"}
    lines = made(given).text().split("\n")
    marks = {line.split("  # ")[0] for line in lines if line.endswith(f"# {GUESS}")}
    assert 'length = "1200 mm"' not in marks
    assert 'mouth = "160 mm"' not in marks
    assert 'width = "600 mm"' in marks
    rims = [line for line in lines if line.startswith('rim = "400 mm"')]
    assert rims[:3] == ['rim = "400 mm"'] * 3, "given once, it holds for every chamber of the sump"
    for before, line in pairwise(lines):
        if line.startswith(("pin", "kind", "pipe", "slots", "name", "safe")):
            assert GUESS not in line, (before, line)
