"""What an existing site file holds that the questions cannot say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from daemon.wizard.sheet import CURVE, GUESS, Sheet, comments
from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.problems import SiteError


def unknown(text: str, site: Site, sheet: Sheet) -> list[str]:
    """Each thing that would be lost or changed if `text` were written anew from its own answers.

    `sheet` is what its answers make. The two are compared as sites, so that order and spacing do
    not count; then their comments.
    """
    again = sheet.text()
    try:
        made = parse_site(again, "")
    except SiteError as error:
        return [f"what its answers would make: {problem.sentence}" for problem in error.problems]
    found = list(_differences(_flat(site), _flat(made)))
    ours = {*comments(again), GUESS, CURVE}
    found += [
        f'the comment "{comment}" in line {line}'
        for comment, line in comments(text).items()
        if comment not in ours
    ]
    return found


def _flat(site: Site) -> dict[str, dict[str, object]]:
    """The tables of a site by their headings, each with its keys."""
    flat: dict[str, dict[str, object]] = {}
    for name, table in site.model_dump(by_alias=True, exclude_none=True).items():
        if all(isinstance(thing, dict) for thing in table.values()):
            flat |= {f"{name}.{key}": thing for key, thing in table.items()}
        else:
            flat[name] = table
    return flat


def _differences(
    had: Mapping[str, Mapping[str, object]], made: Mapping[str, Mapping[str, object]]
) -> Iterator[str]:
    for table, thing in had.items():
        if table not in made:
            yield f"[{table}]"
            continue
        for key in [*thing, *(key for key in made[table] if key not in thing)]:
            if thing.get(key) != made[table].get(key):
                yield f"[{table}] {key}"
    for table in made:
        if table not in had:
            yield f"[{table}], which is not there and always is in files of this command"
