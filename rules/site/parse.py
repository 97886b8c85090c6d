"""From the text of a site file to a checked site."""

from __future__ import annotations

from pydantic import ValidationError

from rules.site import checks
from rules.site.model import Site
from rules.site.problems import Problem, SiteError, from_validation
from rules.site.text import NotTomlError, tables


def parse_site(text: str, file: str) -> Site:
    """Read a site file's text; `file` is only its name, for messages.

    Raises SiteError with every problem found, each a sentence with file, table and key.
    """
    try:
        raw = tables(text, file)
    except NotTomlError as error:
        raise SiteError([error.problem]) from None
    try:
        site = Site.model_validate(raw)
    except ValidationError as error:
        raise SiteError(from_validation(file, error, raw)) from None
    found = checks.findings(site)
    if found:
        raise SiteError([Problem(file, *finding) for finding in found])
    return site
