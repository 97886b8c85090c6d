"""Questions about the broker and the people who answer alerts."""

from __future__ import annotations

from daemon.wizard.form import Desk, Form
from daemon.wizard.question import Part, Raw, at, has
from daemon.wizard.reading import count, name, or_none, people, yes_no
from daemon.wizard.sheet import Section


def alerts(desk: Desk) -> None:
    """Ask where alerts go and who may answer them."""
    form = Form(desk, "alerts", Part.ALERTS)
    host = form.ask(
        "broker",
        ("Broker",
         "Host of the MQTT broker that carries the alerts, or none; it asks for no password."),
        "localhost", or_none(name), _host_of,
    )  # fmt: skip
    if host.value is not None:
        _broker(form, host.text)
    who = form.ask(
        "people",
        ("People", "Who may acknowledge an alert: names with commas between them, or none."),
        "the keeper", people(desk.sheet.ids()), _people_of,
    ).value  # fmt: skip
    for key, called in who:
        desk.sheet.open(Section.ALERTS, f"people.{key}", name=called)


def _broker(form: Form, host: str) -> None:
    """How the broker is reached: as the installer sets it up, unless the file says otherwise."""
    table = form.desk.sheet.open(Section.ALERTS, "broker", host=host)
    form.plain(
        (table, "port"), "port", ("Port of the broker", "8883 with encryption, 1883 without."),
        "8883", count(1, 65535), quiet=True, absent="8883",
    )  # fmt: skip
    form.plain(
        (table, "tls"), "tls", ("Encryption", "Whether the link to the broker is encrypted."),
        "yes", yes_no, quiet=True, absent="yes",
    )  # fmt: skip
    for field, usual, why in (
        ("ca_file", "/etc/weirkeeper/ca.pem", "File of the CA that signed its certificate."),
        ("secret_file", "/etc/weirkeeper/broker.secret", "File of user name and password."),
    ):
        form.plain(
            (table, field), field.replace("_", "-"), (field, why), usual, or_none(name),
            quiet=True, absent="none",
        )  # fmt: skip


def _host_of(raw: Raw) -> str | None:
    return at("broker", "host")(raw) or ("none" if has(raw, "chambers") else None)


def _people_of(raw: Raw) -> str | None:
    names = [str(person.get("name")) for person in raw.get("people", {}).values()]
    return ", ".join(names) or ("none" if has(raw, "chambers") else None)
