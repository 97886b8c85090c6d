"""What an alarm says that does not tell of its hazard: of a signal, or of an earlier run."""

from __future__ import annotations

from dataclasses import replace

from rules.estimate import View
from rules.hazards.base import cut_words
from rules.hazards.table import HAZARDS
from rules.matrix import Clear, Effect, Row
from rules.memory import RowMemory
from rules.resting import RESTS_S
from rules.signals import Quality, Saying
from rules.site import show


def unread_words(row: Row, view: View) -> Saying:
    """What is said of a signal that cannot be read where a person would have to reset the row.

    That much for a loose wire would leave the animals without flow all night: so it is restarted
    as after water that was gone by itself, and as often. See that it tells of nothing, and it is.
    """
    name = view.plan.site.label(row.subject)
    return Saying(
        what=f"The {name} cannot be read, so that nobody would know of this: {row.cause}",
        where=name,
        done=cut_words(row, view),
        do_now=f"Check its cable and plug. When it has read as it should for "
        f"{show.duration(RESTS_S[0])} the pump is tried again by itself, {len(RESTS_S)} times at "
        "most.",
    )


def held_over(row: Row, view: View) -> Saying:
    """What is said of a cause that has gone, and was latched before the guard restarted."""
    order = "acknowledge" if row.clear is Clear.ON_ACKNOWLEDGE else "reset at the guard"
    return Saying(
        what=f"Latched since before the guard was restarted: {row.cause}",
        where=view.plan.site.label(row.subject),
        done=cut_words(row, view),
        do_now=f"The cause is not seen now. See that all is well, then {order}.",
    )


def stricter(row: Row, view: View, saying: Saying) -> Saying:
    """What is said of a row that the site file has made stricter: what it really did, and what it
    waits for."""
    if "effect" in row.stricter:
        cuts = row.effect is Effect.CUT_PUMP
        saying = replace(saying, done=cut_words(row, view) if cuts else "The top-off is shut.")
    if "clear" in row.stricter:
        order = "acknowledge" if row.clear is Clear.ON_ACKNOWLEDGE else "reset at the guard"
        saying = replace(saying, do_now=f"{saying.do_now} It holds until you {order}.")
    return saying


def unread_signal(row: Row, view: View) -> bool:
    """True while the contact that a row goes by cannot be read, and is taken at its worst."""
    contact = view.plan.contacts.get(row.subject)
    return contact is not None and view.readings[contact.index].quality is Quality.BAD


def of(row: Row, view: View, state: RowMemory, unread: bool) -> Saying:
    """What is said of a row that is raised."""
    if not state.standing:
        return held_over(row, view)
    saying = unread_words(row, view) if unread else HAZARDS[row.hazard].say(row, view)
    return stricter(row, view, saying) if row.stricter else saying
