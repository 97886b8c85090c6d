"""From the text of a site file to a checked site."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from pydantic import ValidationError

from rules.site import checks
from rules.site.model import Site
from rules.site.problems import Problem, SiteError, from_validation

_AT = re.compile(r"\(at (line \d+, column \d+|end of document)\)")


def parse_site(text: str, file: str) -> Site:
    """Read a site file's text; `file` is only its name, for messages.

    Raises SiteError with every problem found, each a sentence with file, table and key.
    """
    try:
        raw: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = _AT.search(str(error))
        what = _AT.sub("", str(error)).strip().rstrip(".")
        sentence = f"not TOML: {what[:1].lower()}{what[1:]}"
        raise SiteError([Problem(file, "", at[1] if at else "", sentence)]) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, or tables without end
        sentence = "not TOML that can be read: a number too long, or brackets too deep"
        raise SiteError([Problem(file, "", "", sentence)]) from None
    try:
        site = Site.model_validate(raw)
    except ValidationError as error:
        raise SiteError(from_validation(file, error, raw)) from None
    found = checks.findings(site)
    if found:
        raise SiteError([Problem(file, *finding) for finding in found])
    return site
