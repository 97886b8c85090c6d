"""Reading recordings: every kind of file that is none, or not quite one, is a sentence."""

from __future__ import annotations

import gzip
import random
import re
from pathlib import Path

import pytest

from daemon import cli
from daemon.errors import InputError
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from rules.signals import Quality
from rules.site.problems import SiteError
from tests.daemon.tapes import Tape, site, tape

CLASSROOM = site("classroom")
HEAD = b"t_s,box-watch.wet,return-flow.l_min,pump-relay.on\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Tape:
    """A short recording."""
    return tape(tmp_path_factory.mktemp("tapes") / "night.csv", "main-drain-blocked")


def put(folder: Path, content: bytes, name: str = "given.csv") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def read(path: Path) -> int:
    """Read all of it; the number of its rows."""
    return len(list(Recording(path).rows(CLASSROOM)))


BAD: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "is empty"),
    "only blank lines": (b"\n\n \n", "is empty"),
    "only comments": (b"# nothing\n# at all\n", "is empty"),
    "a header alone": (HEAD, "has a header and no rows"),
    "binary": (bytes(range(256)) * 20, r"line \d+: not UTF-8 text"),
    "zero bytes": (HEAD + b"0,0,\0,1\n", "line 2: not UTF-8 text"),
    "latin letters": ("t_s,größe\n".encode("latin-1"), "line 1: not UTF-8 text"),
    "one endless line": (b"1" * 1_100_000, "line 1: longer than 1 MB"),
    "semicolons": (b"t_s;box-watch.wet\n0;1\n", "line 1: columns are separated by commas"),
    "tabs": (b"t_s\tbox-watch.wet\n0\t1\n", "line 1: columns are separated by commas"),
    "old line ends": (b"t_s,box-watch.wet\r0,1\r", "line 1: its lines end in carriage returns"),
    "no time": (b"box-watch.wet\n1\n", "line 1: no column t_s"),
    "no sensor": (b"t_s,salinity\n0,35\n", "line 1: no column belongs to a sensor"),
    "a misspelt sensor": (
        b"t_s,box-wach.wet\n0,1\n",
        r'line 1, column box-wach.wet: Classroom reef has no sensor "box-wach"; '
        'did you mean "box-watch"',
    ),
    "a misspelt output": (
        b"t_s,box-watch.wet,pump-realy.on\n0,1,1\n",
        'column pump-realy.on: .* has no output "pump-realy"; did you mean "pump-relay"',
    ),
    "a unit of another kind": (
        b"t_s,box-watch.l_min\n0,1\n",
        "column box-watch.l_min: a sensor of kind float is given as box-watch.wet",
    ),
    "an unknown unit": (
        b"t_s,return-flow.gpm\n0,1\n",
        "column return-flow.gpm: a sensor of kind flow-meter is given as return-flow.m3_s or",
    ),
    "a column twice": (b"t_s,box-watch.wet,box-watch.wet\n0,1,1\n", "two columns of this name"),
    "a sensor twice": (
        b"t_s,return-flow.l_min,return-flow.l_h\n0,1,60\n",
        "column return-flow.l_h: return-flow has two columns",
    ),
    "too few values": (HEAD + b"0,0,60\n", "line 2: 3 values under a header of 4 columns"),
    "too many values": (HEAD + b"0,0,60,1\n1,0,60,1,\n", "line 3: 5 values under a header of 4"),
    "a decimal comma": (HEAD + b"0,0,60,5,1\n", "line 2: 5 values under a header of 4"),
    "words": (HEAD + b"0,0,much,1\n", 'line 2, column return-flow.l_min: "much" is no number'),
    "a contact of two": (HEAD + b"0,2,60,1\n", "line 2, column box-watch.wet: 2 is neither 1"),
    "an output of two": (HEAD + b"0,0,60,2\n", "line 2, column pump-relay.on: 2 is neither 1"),
    "time that is no number": (HEAD + b"soon,0,60,1\n", 'line 2, column t_s: "soon" is no number'),
    "time without end": (HEAD + b"inf,0,60,1\n", 'line 2, column t_s: "inf" is no time'),
    "time backwards": (
        HEAD + b"5,0,60,1\n# a remark\n4,0,60,1\n",
        "line 4, column t_s: time runs backwards: 4.0 s after 5.0 s in line 2",
    ),
    "time that stands": (HEAD + b"5,0,60,1\n5,0,60,1\n", "line 3, column t_s: time stands still"),
    "dates that are none": (
        b"time,box-watch.wet\n03/02/2026,1\n",
        'line 2, column time: "03/02/2026" is no date and time in ISO 8601',
    ),
    "dates of two kinds": (
        b"time,box-watch.wet\n2026-02-03T02:40:00Z,1\n2026-02-03T02:40:01,1\n",
        "line 3, column time: some times have an offset",
    ),
    "quotes that do not match": (b't_s,box-watch.wet\n0,"1\n', "line 2: quotes that do not match"),
    "a newer format": (
        b"# weirkeeper recording 2\nt_s,box-watch.wet\n0,1\n",
        'line 1: its format is "2"; this version of Weirkeeper reads format 1',
    ),
}


@pytest.mark.parametrize("why", BAD)
def test_a_file_that_cannot_be_used_is_a_sentence_with_its_place(
    why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content, sentence = BAD[why]
    path = put(tmp_path, content)
    with pytest.raises(InputError, match=sentence) as told:
        read(path)
    assert str(told.value).startswith(f"{path}:")
    assert cli.main(["replay", str(path), "--site", "classroom"]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert re.search(sentence, printed.err)
    assert "Traceback" not in printed.err


def test_what_is_not_there_and_what_is_a_folder_are_sentences(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            Recording(path)


def test_readings_far_apart_are_not_held_for_ever(tmp_path: Path) -> None:
    path = put(tmp_path, HEAD + b"0,0,60,1\n1700000000,0,60,1\n")
    with pytest.raises(InputError, match="line 3: 1700000000 s after the row before"):
        list(Replay(Recording(path), CLASSROOM).play())


def test_a_compressed_file_cut_short_or_damaged_is_a_sentence(made: Tape, tmp_path: Path) -> None:
    packed = gzip.compress(made.path.read_bytes())
    damaged = bytearray(packed)
    damaged[len(packed) // 2] ^= 0xFF
    for content in (packed[:-2000], bytes(damaged), b"\x1f\x8b", b"\x1f\x8bno gzip at all"):
        with pytest.raises(
            InputError, match=r"damaged or cut short|not UTF-8|is no|values under|quotes that"
        ):
            read(put(tmp_path, content))


def test_a_recording_cut_short_is_read_and_told_so(
    made: Tape, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = made.path.read_bytes().split(b"\n")
    path = put(tmp_path, b"\n".join(lines[:-50]) + b"\n")
    recording = Recording(path)
    lost = sum(not line.startswith(b"#") for line in lines[-50:-1])
    assert len(list(recording.rows(CLASSROOM))) == len(made.seen) - lost
    assert not recording.whole
    assert cli.main(["replay", str(path)]) == 0
    assert "cut short" in capsys.readouterr().out
    assert cli.main(["replay", str(made.path)]) == 0
    assert "cut short" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("cell", "sentence"),
    [
        ("nonsense", "column notes: .* is not sensor:QUALITY:age:why"),
        ("box-watch:FINE:0.0:", 'column notes: "FINE" is no quality'),
        ("box-watch:BAD:old:", 'column notes: "old" is no age'),
        ("a:b", "column notes: .a:b. is not"),
        ("box-watch:BAD:0.0:%ff", 'column notes: "%ff" is no text'),
    ],
)
def test_notes_that_are_none_are_a_sentence(
    made: Tape, tmp_path: Path, cell: str, sentence: str
) -> None:
    lines = made.path.read_text().split("\n")
    row = next(i for i, line in enumerate(lines) if line.startswith("t_s,")) + 3
    lines[row] = f"{lines[row].rpartition(',')[0]},{cell}"
    with pytest.raises(InputError, match=f"line {row + 1}, {sentence}"):
        read(put(tmp_path, "\n".join(lines).encode()))


def test_a_site_file_that_is_no_longer_understood_is_told_with_its_recording(
    made: Tape, tmp_path: Path
) -> None:
    text = made.path.read_text().replace('#|kind = "comb"', '#|kind = "brush"')
    path = put(tmp_path, text.encode())
    with pytest.raises(SiteError, match=r"given.csv, its site file: \[passages.comb\]"):
        Recording(path).own_site()


def test_what_the_guard_remembered_is_told_with_its_line_where_it_is_none(
    made: Tape, tmp_path: Path
) -> None:
    text = re.sub("\n#=.*\n", "\n#={}\n", made.path.read_text())
    recording = Recording(put(tmp_path, text.encode()))
    with pytest.raises(InputError, match=r"given.csv: line \d+: what the guard remembered"):
        list(Replay(recording, CLASSROOM).play())


def test_a_time_of_looks_left_out_that_is_none_is_told_with_its_line(
    made: Tape, tmp_path: Path
) -> None:
    text = re.sub("\n#>.*\n", "\n#>soon\n", made.path.read_text(), count=1)
    with pytest.raises(InputError, match=r'given.csv: line \d+: "soon" is no number of seconds'):
        read(put(tmp_path, text.encode()))


def test_a_mark_at_the_beginning_and_other_line_ends_do_no_harm(tmp_path: Path) -> None:
    path = put(tmp_path, b"\xef\xbb\xbf" + (HEAD + b"0,0,60,1\n1,1,60,0\n").replace(b"\n", b"\r\n"))
    rows = list(Recording(path).rows(CLASSROOM))
    assert [row.on[0] for row in rows] == [True, False]


def test_an_empty_cell_is_a_sensor_that_could_not_be_read(tmp_path: Path) -> None:
    path = put(tmp_path, HEAD + b"0,,NaN,\n")
    (row,) = Recording(path).rows(CLASSROOM)
    by_id = dict(zip(CLASSROOM.sensors, row.readings, strict=True))
    for key in ("box-watch", "return-flow"):
        reading = by_id[key]
        assert reading is not None
        assert reading.quality is Quality.BAD
    assert by_id["display-high"] is None, "it has no column"
    assert row.on[0] is None


def test_words_for_contacts_are_understood(tmp_path: Path) -> None:
    """As tables of other programs write them."""
    content = b't_s,box-watch.wet,supply.present\n0,True,"1.0"\n1, FALSE , 1\n'
    rows = list(Recording(put(tmp_path, content)).rows(CLASSROOM))
    at = list(CLASSROOM.sensors).index("box-watch")
    assert [row.readings[at].value for row in rows] == [1.0, 0.0]


def test_no_garbled_recording_ends_in_anything_but_a_sentence(made: Tape, tmp_path: Path) -> None:
    draw = random.Random(11)
    whole = b"\n".join(made.path.read_bytes().split(b"\n")[:400])
    told = []
    for _ in range(150):
        content = bytearray(whole)
        for _ in range(draw.randint(1, 30)):
            at = draw.randrange(len(content))
            content[at : at + draw.randint(0, 3)] = draw.randbytes(draw.randint(0, 3))
        try:
            read(put(tmp_path, bytes(content)))
        except InputError as error:
            told.append(str(error))
    assert len(told) > 50
    assert all(sentence.startswith(str(tmp_path)) for sentence in told)
