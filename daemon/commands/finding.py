"""Finding the site a command is about: a file on disk, or a demo site by its name."""

from __future__ import annotations

from pathlib import Path

from daemon.sitefile import load
from rules.site.model import Site

SITE_HELP = "a site file, or the name of a demo site: classroom, rack"


def find_site(name: str) -> Site:
    """The site file at the path `name`, else the demo site of that name; raises SiteError."""
    if not Path(name).exists():
        from simulator import library

        if name in library.site_names():
            return library.load_site(name)
    return load(name)
