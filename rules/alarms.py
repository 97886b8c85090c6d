"""The life of an alarm, in the states of ISA-18.2 and IEC 62682."""

from __future__ import annotations

import zlib
from collections.abc import Collection
from enum import StrEnum

from rules.alarming import chatter
from rules.matrix import Row
from rules.memory import RowMemory
from rules.signals import Alarm, AlarmState


class Stimulus(StrEnum):
    """What can move an alarm from one state to another."""

    ALARM = "the cause appears"
    WORSE = "the cause that stands becomes more severe"
    CLEAR = "the cause goes"
    ACKNOWLEDGE = "a person acknowledges"
    RESET = "a person resets"


_N, _U, _A = AlarmState.NORMAL, AlarmState.UNACK_ALARM, AlarmState.ACK_ALARM
_RU, _LU, _LA = AlarmState.RTN_UNACK, AlarmState.LATCH_UNACK, AlarmState.LATCH_ACK

PLAIN: dict[tuple[AlarmState, Stimulus], AlarmState] = {
    (_N, Stimulus.ALARM): _U,
    (_U, Stimulus.ACKNOWLEDGE): _A,
    (_U, Stimulus.CLEAR): _RU,
    (_A, Stimulus.CLEAR): _N,
    (_A, Stimulus.WORSE): _U,
    (_RU, Stimulus.ACKNOWLEDGE): _N,
    (_RU, Stimulus.ALARM): _U,
    # reached when an alarm becomes latching while it stands, or stood
    (_LU, Stimulus.ALARM): _U,
    (_LU, Stimulus.ACKNOWLEDGE): _LA,
    (_LU, Stimulus.RESET): _RU,
    (_LA, Stimulus.ALARM): _U,
    (_LA, Stimulus.RESET): _N,
}
"""Transitions of an alarm that ends when its cause does; every other pair changes nothing."""

LATCHING: dict[tuple[AlarmState, Stimulus], AlarmState] = {
    **PLAIN,
    (_U, Stimulus.CLEAR): _LU,
    (_A, Stimulus.CLEAR): _LA,
}
"""Transitions of an alarm that stays until a person resets it."""


def after(state: AlarmState, stimulus: Stimulus, latching: bool) -> AlarmState:
    """The state that follows `state` when `stimulus` happens."""
    return (LATCHING if latching else PLAIN).get((state, stimulus), state)


def as_told(row: Row, state: RowMemory) -> Alarm:
    """The alarm of a row, for people; the row must have been raised at least once."""
    assert state.saying is not None
    return Alarm(
        row.id,
        row.hazard,
        state.state if state.shelved_until_s is None else AlarmState.SHELVED,
        state.priority or row.priority,
        state.occurrence,
        state.code,
        state.since_s,
        chatter.told(state.saying, state.comings),
        state.spill_s,
    )


def code(boot: str, row: str, occurrence: int, taken: Collection[str]) -> str:
    """Four digits that answer one occurrence of one alarm of one boot, unlike all in `taken`.

    A command that was sent for an earlier occurrence, or before a restart, does not fit by
    anything but a chance of one in 9,000.
    """
    salt = 0
    while True:
        digest = zlib.crc32(f"{boot}/{row}/{occurrence}/{salt}".encode())
        digits = str(1000 + digest % 9000)
        if digits not in taken:
            return digits
        salt += 1
