"""Finding the site and the drills a command is about: files on disk, or ours by their names."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from daemon.sitefile import load, load_apart, text_of
from rules.site.model import Site

if TYPE_CHECKING:
    from simulator.story.drill import Drill
    from simulator.story.recorded import Recorded

DEMO_SITE = "classroom"
"""The site that is meant where none is given."""

SITE_HELP = "a site file, or the name of a demo site: classroom, rack"


def find_site(name: str, *, lean: bool = False) -> Site:
    """The site file at the path `name`, else the demo site of that name; raises SiteError.

    `lean` keeps the unit library out of this process.
    """
    if not Path(name).exists():
        from simulator import library

        if name in library.site_names():
            return library.load_site(name)
    return load_apart(name) if lean else load(name)


def find_site_text(name: str) -> str:
    """The text of what `find_site` finds; raises SiteError."""
    if not Path(name).exists():
        from simulator import library

        if name in library.site_names():
            return library.site_text(name)
    return text_of(name)


def site_for(recorded: Recorded, given: str | None) -> Site:
    """The site that a recorded night is played on: the one given, else the drill's, else its own.

    Raises SiteError and InputError.
    """
    if named := given or recorded.site:
        return find_site(named)
    from daemon.recording.read import Recording

    return Recording(Path(recorded.file)).own_site()


def find_drill(name: str) -> Drill:
    """The drill file at the path `name`, else our drill of that name; raises InputError."""
    from daemon.errors import InputError
    from simulator import library
    from simulator.story.drill_file import DrillError, parse_drill

    if name.endswith(".toml"):
        try:
            drill = parse_drill(Path(name).read_text(encoding="utf-8"), Path(name).name)
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"{name}: cannot be read: {error}") from None
        except DrillError as error:
            raise InputError(str(error)) from None
        if drill.recording is not None:
            found = drill.recording.beside(Path(name).parent)
            drill = drill.model_copy(update={"recording": found})
        return drill
    try:
        return library.load_drill(name)
    except library.NotThereError as missing:
        raise InputError(str(missing)) from None
