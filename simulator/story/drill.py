"""A drill: a night that goes wrong in a written way, what must come of it and what must not."""

from __future__ import annotations

from typing import Annotated, Literal, Self, get_args

from pydantic import Field, StringConstraints, model_validator

from rules.site.base import Name, Table
from rules.site.quantities import Duration
from simulator.story.happenings import Happening
from simulator.story.recorded import Recorded, unfit
from simulator.story.statements import Must, MustNot

Group = Literal[
    "drains",
    "pump",
    "sump and screens",
    "refugium and branches",
    "top-off and water change",
    "power",
    "sensors",
    "outputs",
    "guard, broker and machine",
    "people",
    "healthy nights",
]
"""What a drill is about; in the order in which they are listed."""

GROUPS: tuple[str, ...] = get_args(Group)


class Drill(Table):
    """A whole drill."""

    title: Name = Field(description="what people call it")
    group: Group | None = Field(None, description="the group of drills that it is listed in")
    story: Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)] = Field(
        description="the night, told in a paragraph"
    )
    starts_at: Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")] = Field(
        description='the time on the clock when it begins, like "02:40"'
    )
    lasts: Duration = Field(description="how long it goes on [s]")
    recording: Recorded | None = Field(
        None, description="the recording that is played, in place of what happens"
    )
    happens: tuple[Happening, ...] = Field((), description="what goes wrong, and when")
    must: tuple[Must, ...] = Field((), description="what has to come of it")
    must_not: tuple[MustNot, ...] = Field((), description="what may not come of it")

    @model_validator(mode="after")
    def _in_time(self) -> Self:
        if not 10.0 <= self.lasts <= 7 * 86400.0:
            raise ValueError("lasts: give 10 s to 7 days")
        if not self.must and not self.must_not:
            raise ValueError("a drill without must and must_not proves nothing; state at least one")
        late = [h.what for h in self.happens if h.at >= self.lasts]
        if late:
            raise ValueError(f'"{late[0]}" happens after the drill has ended')
        if sum(h.cause for h in self.happens) > 1:
            raise ValueError("only one happening can be the cause")
        if self.recording and (why := unfit(len(self.happens), self.must, self.must_not)):
            raise ValueError(why)
        return self

    @property
    def cause_s(self) -> float | None:
        """When the cause begins, from the start of the drill [s]; None if nothing goes wrong."""
        causes = [h.at for h in self.happens if h.cause]
        return causes[0] if causes else min((h.at for h in self.happens), default=None)

    @property
    def needs_daemon(self) -> bool:
        """True if it is about the daemon's clock, disk, broker or alerts, and not only the guard's.

        Such a drill runs where the whole daemon does.
        """
        return any(part.needs_daemon for part in (*self.happens, *self.must, *self.must_not))
