"""All that the guard keeps of the water's bookkeeping, from tick to tick and over a restart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.balance import fresh
from rules.balance.fresh import NEW, Fresh


@dataclass(frozen=True, slots=True)
class Books:
    """The books as they stand; of a fixed size."""

    fresh: Fresh = NEW


EMPTY = Books()


def kept(books: Books) -> dict[str, float]:
    """What outlives a restart of the daemon, in coarse steps."""
    return fresh.kept(books.fresh)


def begun(kept_s: Mapping[str, float]) -> Books:
    """The books of a guard that begins with what an earlier run left behind."""
    return Books(fresh.begun(kept_s))
