"""Reading a site file from disk."""

from __future__ import annotations

from pathlib import Path

from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.problems import Problem, SiteError

LONGEST_BYTES = 1_000_000


def load(path: str) -> Site:
    """Read and check the site file at `path`; raises SiteError, with sentences."""
    file = Path(path)
    try:
        if file.stat().st_size > LONGEST_BYTES:
            raise SiteError([Problem(path, "", "", "larger than 1 MB: this is no site file")])
        text = file.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise SiteError([Problem(path, "", "", "not UTF-8 text")]) from None
    except OSError as error:
        sentence = f"cannot be read: {error.strerror or error}"
        raise SiteError([Problem(path, "", "", sentence)]) from None
    return parse_site(text, file.name)
