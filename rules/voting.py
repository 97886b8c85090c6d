"""How floats at one height decide together: 1oo2, 2oo3, 1oo3.

The notation is that of IEC 61508-6 and IEC 61511 (from memory): MooN acts once M of its N channels
ask for it, so that N - M of them may fail to ask. A channel that cannot be read, or is out of
service, votes no longer, and 2oo3 goes on as 1oo2, then as 1oo1, as a site with so many floats
would; with none left that can be read, all are taken at their worst, and it acts.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.site import votes
from rules.site.model import Site

if TYPE_CHECKING:
    from rules.memory import ContactMemory  # which imports the plan, and that these votes

DISAGREES_S = 30.0
"""One that differs from those beside it for so long is named [s]. Waves last for seconds; water
that rises fast enough to matter is past 5 mm in less; shorter names more that is only between."""


@dataclass(frozen=True, slots=True)
class Vote:
    """Floats that vote: their ids and places among the sensors, the state that asks for the act
    (True = wet), and how many of how many must ask for it while all can be read."""

    ids: tuple[str, ...]
    places: tuple[int, ...]
    acts: bool
    pattern: str

    @property
    def needed(self) -> int:
        """How many must ask for the act while all can be read."""
        return int(self.pattern[0])


def derive(site: Site) -> dict[str, Vote]:
    """The vote of every float that has one, by its id."""
    places, floats = list(site.sensors), site.floats()
    found = {}
    for group in votes.groups(site):
        vote = Vote(
            group,
            tuple(places.index(key) for key in group),
            floats[group[0]].duty != "dry-run",
            votes.voting(site, group),
        )
        found.update(dict.fromkeys(group, vote))
    return found


def counted(vote: Vote, contacts: Sequence[ContactMemory], out: Collection[str]) -> tuple[int, ...]:
    """The places of the floats that vote now: those that can be read and are in service."""
    return tuple(
        place
        for key, place in zip(vote.ids, vote.places, strict=True)
        if not contacts[place].unread and key not in out
    )


def needed_of(vote: Vote, count: int) -> int:
    """How many must ask for the act while so many vote: one less for each that does not."""
    return max(1, vote.needed - (len(vote.ids) - count))


def pattern_of(vote: Vote, count: int) -> str:
    """The vote as it is while so many vote, in the notation."""
    return f"{needed_of(vote, count)}oo{count}"


def verdict(vote: Vote, contacts: Sequence[ContactMemory], out: Collection[str]) -> bool:
    """Whether the vote asks for the act; with none left that can be read, it does."""
    left = counted(vote, contacts, out)
    if not left:
        return any(contacts[place].wet is vote.acts for place in vote.places)
    return sum(contacts[place].wet is vote.acts for place in left) >= needed_of(vote, len(left))


def odd_one(vote: Vote, contacts: Sequence[ContactMemory], out: Collection[str]) -> int | None:
    """The place of the one of three that differs from the other two; of two that differ, of the
    one that asks for the act; None while all agree."""
    left = counted(vote, contacts, out)
    asking = [place for place in left if contacts[place].wet is vote.acts]
    if len(left) < 2 or len(asking) in (0, len(left)):
        return None
    if len(asking) == 1:
        return asking[0]
    return next(place for place in left if place not in asking)


def timers_s(all_votes: dict[str, Vote], turned_s: Sequence[float]) -> Iterator[float]:
    """When floats that vote, and last turned then, will have differed for long enough [s]."""
    for vote in all_votes.values():
        for place in vote.places:
            yield turned_s[place] + DISAGREES_S
