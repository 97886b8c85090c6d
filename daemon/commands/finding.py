"""Finding the site and the drills a command is about: files on disk, or ours by their names."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from daemon.sitefile import load, load_apart
from rules.site.model import Site

if TYPE_CHECKING:
    from simulator.story.drill import Drill

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


def find_drill(name: str) -> Drill:
    """The drill file at the path `name`, else our drill of that name; raises InputError."""
    from daemon.errors import InputError
    from simulator import library
    from simulator.story.drill_file import DrillError, parse_drill

    if name.endswith(".toml"):
        try:
            return parse_drill(Path(name).read_text(encoding="utf-8"), Path(name).name)
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"{name}: cannot be read: {error}") from None
        except DrillError as error:
            raise InputError(str(error)) from None
    try:
        return library.load_drill(name)
    except library.NotThereError as missing:
        raise InputError(str(missing)) from None
