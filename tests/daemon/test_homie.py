"""The device against the rules of the Homie convention 5.0 (its document, read for this test)."""

from __future__ import annotations

import json
import re
from math import inf, nan
from pathlib import Path
from typing import Any

import pytest

import simulator
from daemon import homie
from rules.signals import AlarmState, Condition, Phase, Priority
from rules.site.model import Site
from rules.site.parse import parse_site
from tests.daemon.decisions import alarm, classroom, decision
from tests.level_site import level_site

OWN = homie.Own("boot-a")

ID = re.compile(r"[a-z0-9-]+")  # Homie 5.0, "Topic IDs"
DATATYPES = {  # Homie 5.0, "Property Attributes"
    "integer",
    "float",
    "boolean",
    "string",
    "enum",
    "color",
    "datetime",
    "duration",
    "json",
}
FLOAT = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE]-?[0-9]+)?")  # Homie 5.0, "Float"
INTEGER = re.compile(r"-?[0-9]+")


def check_description(text: str) -> dict[str, dict[str, Any]]:
    """Check the document; returns properties by `node/property`."""
    document = json.loads(text)
    assert set(document) <= {
        "homie", "version", "nodes", "name", "type", "children", "root", "parent", "extensions"
    }  # fmt: skip
    assert re.fullmatch(r"5\.[0-9]+", document["homie"])
    assert type(document["version"]) is int
    assert "root" not in document  # must be omitted by a root device
    properties = {}
    for node_id, node in document["nodes"].items():
        assert ID.fullmatch(node_id)
        assert set(node) <= {"name", "type", "properties"}
        for key, described in node["properties"].items():
            assert ID.fullmatch(key)
            check_property(described)
            properties[f"{node_id}/{key}"] = described
    return properties


def check_property(described: dict[str, Any]) -> None:
    """Attributes, their types, and the format that a datatype asks for ("Formats")."""
    assert set(described) <= {"name", "datatype", "format", "settable", "retained", "unit"}
    assert described["datatype"] in DATATYPES
    assert all(type(described[k]) is str for k in ("name", "format", "unit") if k in described)
    form = described.get("format")
    match described["datatype"]:
        case "float" | "integer" if form is not None:
            low, _, high = form.partition(":")
            assert ":" in form
            assert all(part == "" or FLOAT.fullmatch(part) for part in (low, high))
        case "enum":
            values = form.split(",")
            assert all(values)
            assert len(set(values)) == len(values)
        case "boolean" if form is not None:
            assert len(form.split(",")) == 2


def check_payload(described: dict[str, Any], payload: str) -> None:
    """A payload against the datatype and the format ("Payloads")."""
    form = described.get("format", "")
    match described["datatype"]:
        case "float" | "integer" as datatype:
            assert (FLOAT if datatype == "float" else INTEGER).fullmatch(payload), payload
            low, _, high = form.partition(":")
            assert not low or float(payload) >= float(low)
            assert not high or float(payload) <= float(high)
        case "enum":
            assert payload in form.split(",")
        case "boolean":
            assert payload in ("true", "false")
        case "string":
            assert payload
        case other:
            raise AssertionError(f"the checker does not know {other}")


def split(device: homie.Device, values: dict[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Values of properties by `node/property`, and alerts by id."""
    properties, alerts = {}, {}
    for topic, payload in values.items():
        assert topic.startswith(device.base + "/")
        rest = topic.removeprefix(device.base + "/")
        if rest.startswith("$alert/"):
            alerts[rest.removeprefix("$alert/")] = payload
        else:
            properties[rest] = payload
    return properties, alerts


def sites() -> list[Site]:
    folder = Path(simulator.__file__).parent / "sites"
    return [parse_site(path.read_text(), path.name) for path in sorted(folder.glob("*.toml"))]


@pytest.mark.parametrize("site", sites(), ids=lambda site: site.site.id)
def test_description_and_values_keep_the_convention(site: Site) -> None:
    """Every demo site: ids, datatypes, formats; and every described property has a valid value."""
    device = homie.Device(site)
    described = check_description(device.description(version=3))
    values, _ = split(device, device.values(decision(site), OWN))
    assert set(values) == set(described)
    for key, payload in values.items():
        check_payload(described[key], payload)


def test_nothing_can_be_set_through_the_device() -> None:
    """Orders go another way, where they are checked."""
    described = check_description(homie.Device(classroom()).description(version=1))
    assert not any(each["settable"] for each in described.values())


@pytest.mark.parametrize("figure", [inf, nan, 0.0, 1e-12, 1e12, 86401.0, -0.0])
def test_no_figure_breaks_the_convention(figure: float) -> None:
    """Infinity, NaN and odd sizes become a valid payload or no message at all."""
    site = classroom()
    device = homie.Device(site)
    described = check_description(device.description(version=1))
    odd = decision(
        site,
        flow=figure,
        capacity_m3_s=figure,
        margin=figure,
        level_least_m=figure,
        level_most_m=figure,
        spill_s=figure,
    )
    values, _ = split(device, device.values(odd, OWN))
    for key, payload in values.items():
        check_payload(described[key], payload)


def test_what_is_not_known_is_not_claimed() -> None:
    """NaN removes the value; infinity reads as the documented end of the scale."""
    site = classroom()
    device = homie.Device(site)
    unknown = device.values(decision(site, flow=nan, spill_s=nan, margin=inf), OWN)
    for key in ("overflow-box/spill-time", "overflow-box/return-flow", "return-pump/flow"):
        assert f"{device.base}/{key}" not in unknown
    assert unknown[f"{device.base}/overflow-box/margin"] == "99.00"
    endless = device.values(decision(site, spill_s=inf), OWN)
    assert endless[f"{device.base}/overflow-box/spill-time"] == "86400"


def test_units_of_flows_and_levels() -> None:
    """1 l/s is 60 l/min (arithmetic); levels in whole millimetres."""
    site = classroom()
    device = homie.Device(site)
    values = device.values(decision(site, flow=0.001, level_most_m=0.2054), OWN)
    assert values[f"{device.base}/overflow-box/return-flow"] == "60.0"
    assert values[f"{device.base}/overflow-box/level-most"] == "205"
    assert values[f"{device.base}/return-pump/phase"] == Phase.RUNNING.value


def test_what_is_left_of_the_main_drain_where_a_level_sensor_tells() -> None:
    """In percent with its band; no message while it is not known."""
    site = level_site()
    device = homie.Device(site)
    described = check_description(device.description(version=1))
    told = decision(site, condition=Condition(0.925, 0.9, 0.95))
    values, _ = split(device, device.values(told, OWN))
    keys = [f"overflow-box/main-drain{end}" for end in ("", "-least", "-most")]
    assert [values[key] for key in keys] == ["92.5", "90.0", "95.0"]
    for key in keys:
        check_payload(described[key], values[key])
    unknown, _ = split(device, device.values(decision(site), OWN))
    assert not set(keys) & set(unknown)


def test_outputs_but_not_the_heartbeat() -> None:
    """A line that changes for its own sake tells nobody anything."""
    site = classroom()
    device = homie.Device(site)
    values = device.values(decision(site), OWN)
    assert values[f"{device.base}/pump-relay/energised"] == "true"
    assert values[f"{device.base}/sounder/energised"] == "false"
    assert not any("/heartbeat/" in topic for topic in values)


def test_alerts_stand_while_the_alarm_does() -> None:
    """One topic an alarm, with a valid id, and none for an alarm that is normal."""
    site = classroom()
    device = homie.Device(site)
    over = alarm(row="leak.floor-pad", state=AlarmState.NORMAL)
    _, alerts = split(device, device.values(decision(site, alarms=(alarm(), over)), OWN))
    assert set(alerts) == {"spill-edge--display-high"}
    assert all(ID.fullmatch(key) for key in alerts)
    assert "acknowledge 4821" in alerts["spill-edge--display-high"]


def test_two_rows_never_share_an_alert() -> None:
    """`a-b.c` and `a.b-c` are two causes and must stay two."""
    assert homie.alert_id("a-b.c") != homie.alert_id("a.b-c")


def test_the_summary_counts_what_stands() -> None:
    """How many, how many unanswered, and the gravest."""
    site = classroom()
    device = homie.Device(site)
    standing = (
        alarm(),
        alarm(row="x.y", state=AlarmState.ACK_ALARM, priority=Priority.LOW),
        alarm(row="z.y", state=AlarmState.NORMAL),
    )
    values = device.values(decision(site, alarms=standing), OWN)
    found = {key: values[f"{device.base}/guard/{key}"] for key in ("alarms", "unacknowledged")}
    assert found == {"alarms": "2", "unacknowledged": "1"}
    assert values[f"{device.base}/guard/most-severe"] == "high"
    calm = device.values(decision(site), OWN)
    assert calm[f"{device.base}/guard/most-severe"] == "none"


def test_a_chamber_called_guard_keeps_its_own_node() -> None:
    """The site's ids come first; ours gives way."""
    site = classroom()
    chambers = {**site.chambers, "guard": site.chambers["inlet"]}
    device = homie.Device(site.model_copy(update={"chambers": chambers}))
    described = check_description(device.description(version=1))
    assert "guard-/alarms" in described


def drain(mirror: homie.Mirror, values: dict[str, str] | None) -> list[tuple[str, str]]:
    """Send all that is due."""
    out = []
    while due := mirror.due(values):
        out.append(due[0])
        mirror.sent(*due[0])
    return out


def mirrored() -> tuple[homie.Device, homie.Mirror]:
    device = homie.Device(classroom())
    return device, homie.Mirror(device, device.description(version=1))


def test_the_greeting_is_init_description_values_ready() -> None:
    """Homie 5.0, "Device Lifecycle": ready means that everything has been sent."""
    device, mirror = mirrored()
    mirror.begin()
    values = device.values(decision(classroom()), OWN)
    topics = drain(mirror, values)
    assert topics[0] == (device.state_topic, "init")
    assert topics[1][0] == device.description_topic
    assert topics[-1] == (device.state_topic, "ready")
    assert dict(topics[2:-1]) == values


def test_without_values_the_device_is_not_ready() -> None:
    """Before the first tick there is nothing to be ready with."""
    device, mirror = mirrored()
    mirror.begin()
    assert [topic for topic, _ in drain(mirror, None)] == [
        device.state_topic,
        device.description_topic,
    ]


def test_only_changes_are_sent_and_lost_values_removed() -> None:
    """A value that stays the same is silent; one that is gone is deleted with an empty payload."""
    device, mirror = mirrored()
    mirror.begin()
    values = device.values(decision(classroom()), OWN)
    drain(mirror, values)
    assert drain(mirror, values) == []
    topic = f"{device.base}/overflow-box/margin"
    assert drain(mirror, {**values, topic: "1.00"}) == [(topic, "1.00")]
    del values[topic]
    assert drain(mirror, values) == [(topic, "")]


def test_the_description_is_sent_only_while_init() -> None:
    """Homie 5.0: it may change only in init, disconnected or lost."""
    device, mirror = mirrored()
    for _ in range(2):
        mirror.begin()
        state = ""
        for topic, payload in drain(mirror, device.values(decision(classroom()), OWN)):
            if topic == device.state_topic:
                state = payload
            if topic == device.description_topic:
                assert state == "init"
        mirror.forget()


def test_an_alert_of_an_earlier_run_is_removed() -> None:
    """What the broker still holds and nothing raises now goes away."""
    device, mirror = mirrored()
    mirror.begin()
    values = device.values(decision(classroom()), OWN)
    stale = f"{device.base}/$alert/leak--floor-pad"
    mirror.hear(stale, b"There is water on the floor.", retained=True)
    assert (stale, "") in drain(mirror, values)
    assert drain(mirror, values) == []


def test_a_late_last_will_is_corrected() -> None:
    """Somebody said `lost` while the device stands connected."""
    device, mirror = mirrored()
    mirror.begin()
    values = device.values(decision(classroom()), OWN)
    drain(mirror, values)
    mirror.hear(device.state_topic, b"ready", retained=False)
    assert drain(mirror, values) == []
    mirror.hear(device.state_topic, b"lost", retained=False)
    assert drain(mirror, values) == [(device.state_topic, "ready")]
