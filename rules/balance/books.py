"""All that the guard keeps of the water's bookkeeping, from tick to tick and over a restart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.balance import fresh, tracks
from rules.balance.fresh import NEW, Fresh
from rules.balance.tracks import Track, TrackPlan


@dataclass(frozen=True, slots=True)
class Books:
    """The books as they stand; of a fixed size. `tracks` follow those of the plan."""

    fresh: Fresh = NEW
    tracks: tuple[Track, ...] = ()


EMPTY = Books()


def kept(plans: Sequence[TrackPlan], books: Books) -> dict[str, float]:
    """What outlives a restart of the daemon, in coarse steps."""
    return fresh.kept(books.fresh) | tracks.kept(plans, books.tracks)


def begun(plans: Sequence[TrackPlan], kept_by_name: Mapping[str, float]) -> Books:
    """The books of a guard that begins with what an earlier run left behind."""
    return Books(fresh.begun(kept_by_name), tracks.begun(plans, kept_by_name))
