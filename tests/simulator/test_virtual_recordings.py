"""The flight recorder of the whole daemon under virtual time: it changes nothing that the guard
does, whatever its disk does, and one seed leaves the same files."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.flight import Records
from daemon.recording.compare import Comparison
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from rules.site.model import Site
from simulator.library import site_text
from simulator.story.drill import Drill
from simulator.story.drill_file import parse_drill
from simulator.virtual.play import Ways, staged
from simulator.virtual.trace import Trace

RECORDS = Records(Path("/state"), site_text("classroom"), "sim+plant, virtual time")


def night(around: str = "", lasts: str = "390 s") -> Drill:
    """The main drain blocks after a minute, and something happens around the guard."""
    text = f"""
title = "A drain, and more"
story = "The main drain blocks, and something happens to the disk."
starts_at = "03:00"
lasts = "{lasts}"
happens = [
  {{ at = "60 s", what = "block", where = "main drain of the first display", cause = true }},
  {around}
]
must = [{{ what = "pump cut", within = "15 s" }}]
must_not = [{{ what = "spill" }}]
"""
    return parse_drill(text, "night.toml")


def played(
    site: Site, drill: Drill, records: Records | None = RECORDS, seed: int = 1
) -> tuple[dict[str, str], list[str]]:
    """The files on the disk when the night is over, and the lines of its trace."""
    trace = Trace(keep=True)
    with staged(site, drill, seed, trace, ways=Ways(records=records)) as stage:
        stage.loop.run_until_complete(stage.world.over)
        return dict(stage.disk.files), trace.lines


def by_the_guard(lines: list[str]) -> list[str]:
    """What the guard decided and what its outputs did, with the times."""
    return [line for line in lines if line.split(" ")[1] in ("guard:", "pins:")]


def logged(lines: list[str], what: str) -> list[str]:
    return [line for line in lines if " log: " in line and what in line]


def recordings(files: dict[str, str], folder: Path) -> list[Path]:
    """The recordings on the simulated disk, put on the real one."""
    found = []
    for name, text in sorted(files.items()):
        if Path(name).parent == RECORDS.folder / "recordings":
            found.append(folder / Path(name).name)
            found[-1].write_bytes(text.encode("latin-1"))
    return found


def assert_replays(path: Path) -> Recording:
    """It is whole, and decides the same again."""
    recording = Recording(path)
    replay = Replay(recording, recording.own_site())
    comparison = Comparison(replay.site, ours=True)
    for look in replay.play():
        comparison.take(look)
    assert comparison.same
    assert comparison.rows
    assert recording.whole
    return recording


AROUND = {
    "nothing": "",
    "a full disk": '{ at = "50 s", what = "disk full", lasts = "200 s" }',
    "a stalled disk": '{ at = "61 s", what = "disk stalls", lasts = "30 s" }',
    "a clock that is set": '{ at = "40 s", what = "clock jumps", by = "2 h", to = "back" }',
}


@pytest.mark.parametrize("around", AROUND.values(), ids=AROUND)
def test_the_guard_does_the_same_with_a_recorder_beside_it(
    around: str, classroom: Site, tmp_path: Path
) -> None:
    drill = night(around)
    _, alone = played(classroom, drill, None)
    files, lines = played(classroom, drill)
    assert by_the_guard(lines) == by_the_guard(alone)
    (path,) = recordings(files, tmp_path)
    assert_replays(path)
    refused = logged(lines, "recordings cannot be written")
    assert len(refused) == (1 if "full" in around else 0), "said once"
    assert not logged(lines, "a tick came late") or logged(alone, "a tick came late")
    days = [name for name in files if name.startswith("/state/days/")]
    assert days
    assert all(files[name].endswith("\n") for name in days)


def test_one_seed_leaves_the_same_files_and_nothing_on_the_real_disk(classroom: Site) -> None:
    drill = night()
    first, lines = played(classroom, drill, seed=3)
    again, same = played(classroom, drill, seed=3)
    assert first == again
    assert lines == same
    assert len([name for name in first if name.endswith(".csv.gz")]) == 1
    assert not RECORDS.folder.exists()


@pytest.mark.parametrize("seed", range(4))
def test_a_guard_killed_in_the_midst_leaves_whole_files(
    seed: int, classroom: Site, tmp_path: Path
) -> None:
    """Whenever that is: what was half written is gone once the next guard looks round."""
    killed = f'{{ at = "{66 + 10 * seed} s", what = "guard killed", back_after = "5 s" }}'
    drill = night(killed, lasts="10 min")
    files, lines = played(classroom, drill, seed=seed)
    found = recordings(files, tmp_path)
    assert found
    assert all(path.name.endswith(".csv.gz") for path in found), found
    for path in found:
        assert_replays(path)
    assert logged(lines, "recording begun")
    day = files["/state/days/2026-03-01.csv"]
    assert day.count("# boot: ") == 2
    header = next(line for line in day.splitlines() if line.startswith("time,"))
    rows = [line for line in day.splitlines() if line.startswith("2026-")]
    assert {line.count(",") for line in rows} == {header.count(",")}
