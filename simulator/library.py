"""The sites and drills that come with the package."""

from __future__ import annotations

from importlib.resources import files

from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.story.drill import GROUPS, Drill
from simulator.story.drill_file import parse_drill


class NotThereError(LookupError):
    """No site or drill of that name; the sentence says which there are."""

    def __str__(self) -> str:
        return str(self.args[0])


def _names(folder: str) -> tuple[str, ...]:
    found = (entry.name for entry in (files("simulator") / folder).iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in found if name.endswith(".toml")))


def _text(folder: str, name: str) -> str:
    known = _names(folder)
    if name not in known:
        noun = folder.removesuffix("s")
        raise NotThereError(f'there is no {noun} "{name}"; the {folder} are {", ".join(known)}')
    return (files("simulator") / folder / f"{name}.toml").read_text(encoding="utf-8")


def site_names() -> tuple[str, ...]:
    """The demo sites."""
    return _names("sites")


def site_text(name: str) -> str:
    """The text of a demo site's file; raises NotThereError."""
    return _text("sites", name)


def load_site(name: str) -> Site:
    """A demo site; raises NotThereError."""
    return parse_site(site_text(name), f"{name}.toml")


def drill_names() -> tuple[str, ...]:
    """The drills."""
    return _names("drills")


def drills_by_group() -> dict[str, dict[str, Drill]]:
    """Every drill by its name, group by group."""
    drills = {name: load_drill(name) for name in drill_names()}
    return {
        group: {name: drill for name, drill in drills.items() if drill.group == group}
        for group in GROUPS
    }


def drills_in(group: str) -> dict[str, Drill]:
    """The drills of a group by their names; raises NotThereError."""
    groups = drills_by_group()
    if group not in groups:
        raise NotThereError(f'there is no group "{group}"; the groups are {", ".join(groups)}')
    return groups[group]


def drill_text(name: str) -> str:
    """The text of a drill's file; raises NotThereError."""
    return _text("drills", name)


def load_drill(name: str) -> Drill:
    """A drill; raises NotThereError."""
    return parse_drill(drill_text(name), f"{name}.toml")
