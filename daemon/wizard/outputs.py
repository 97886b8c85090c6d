"""Questions about relays and other outputs."""

from __future__ import annotations

from daemon.wizard.form import Desk, Form, Words, small
from daemon.wizard.question import Part, Raw, fitted_in
from daemon.wizard.reading import choice
from daemon.wizard.sheet import Section, quoted

PINS = {"high": (17, 27, 22, 23, 24, 25, 18, 26), "low": (5, 6, 7, 8, 4)}
"""Pins to offer for relays that pull in on a high, and on a low pin: off by their own pull."""

WHAT = {
    "pump-relay": (
        "pump", "Relay of the return pump",
        "It cuts the pump; without it the guard can only tell.",
    ),
    "top-off-valve": (
        "top-off", "Valve of the top-off",
        "The relay of the valve or small pump that lets fresh water in.",
    ),
    "sounder": ("sounder", "Sounder", "A buzzer at the tanks, heard without any network."),
    "heartbeat": (
        "heartbeat", "Heartbeat",
        "A line to an external timer relay, which cuts the pump when the guard's machine hangs.",
    ),
    "spare-pump": (
        "spare-pump", "Spare pump in the display",
        "A pump that keeps water moving in the display while the return pump stands.",
    ),
}  # fmt: skip
"""The outputs in the order in which they are asked for: id, kind, words."""

TARGETS = {"pump": ("pump", "return-pump"), "spare-pump": ("chamber", "display")}
"""What some kinds of output name as theirs, and under which key."""


def outputs(desk: Desk, reservoir: bool) -> None:
    """Ask for relays and other outputs."""
    form = Form(desk, "outputs", Part.OUTPUTS)
    level = form.ask(
        "relays-on",
        ("Relays pull in on a high or a low pin",
         "Which level of its pin switches a relay on; it stands on the board or in its sheet."),
        "high", choice("high", "low"), _level_of,
    ).value  # fmt: skip
    for key, (kind, *words) in WHAT.items():
        if kind != "top-off" or reservoir:
            _output(form, level, key, kind, (words[0], words[1]))


def _output(form: Form, level: str, key: str, kind: str, words: Words) -> None:
    """One output, where it is fitted."""
    desk, table = form.desk, f"outputs.{key}"
    offered = "none" if kind == "spare-pump" else desk.free_pin(*PINS[level])
    pin = form.pin(key, words, offered, fitted_in(table))
    if pin is None:
        return
    desk.sheet.open(Section.OUTPUTS, table, kind=kind)
    if kind in TARGETS:
        field, target = TARGETS[kind]
        desk.sheet.row(table, field, quoted(target))
    desk.sheet.row(table, "pin", str(pin))
    form.plain(
        (table, "safe"), f"{key}-safe",
        (f"Level at rest, {small(words[0])}",
         "The level of the pin at which it is off."),
        "low" if level == "high" else "high",
        choice("low", "high"), quiet=True,
    )  # fmt: skip


def _level_of(raw: Raw) -> str | None:
    safe = [output.get("safe") for output in raw.get("outputs", {}).values()]
    return {"low": "high", "high": "low"}.get(safe[0]) if safe else None
