"""The site: all tables together."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.site.base import Id, Name, Table
from rules.site.chambers import Chamber
from rules.site.measured import Measured
from rules.site.outputs import Output, PumpOutput
from rules.site.own_rows import OwnRow, Stricter
from rules.site.passages import (
    Branch,
    Drain,
    EmergencyDrain,
    Gravity,
    OpenDrain,
    Passage,
    SiphonDrain,
)
from rules.site.pauses import Pause, PauseKind
from rules.site.pumps import Pump, TopOff, WaterChange
from rules.site.quantities import Duration, Salinity, Share, Temperature
from rules.site.sensors import FloatSwitch, LevelSensor, Sensor
from rules.site.show import Units


class Head(Table):
    """What the site is called and how its figures are printed."""

    id: Id = Field(description="short id; it stands in every MQTT topic")
    name: Name = Field(description="what people call it")
    units: Units = Field(Units.METRIC, description="units in which figures are printed")


class Water(Table):
    """The water of the circuits."""

    temperature: Temperature = Field(description="its temperature [degC inside]")
    salinity: Salinity = Field(35.0, description="its salinity [g/kg inside]")
    evaporation: Share = Field(
        0.01, description="share of the whole volume that evaporates in a day; about 1 %"
    )


class Broker(Table):
    """The MQTT broker. User and password come from a file or the environment, never from here."""

    host: Name = Field(description="host name or address")
    port: int = Field(8883, ge=1, le=65535, description="TCP port; 8883 with TLS, 1883 without")
    tls: bool = Field(True, description="encrypt, and check the broker's certificate")
    ca_file: str | None = Field(None, description="file with the CA that signed that certificate")
    cert_file: str | None = Field(None, description="file with this guard's own certificate")
    key_file: str | None = Field(None, description="file with that certificate's key")
    secret_file: str | None = Field(
        None,
        description="file of two lines, user name and password, readable by the guard alone; "
        "or set WEIRKEEPER_BROKER_USER and WEIRKEEPER_BROKER_PASSWORD",
    )
    keep_alive: Duration = Field(
        15.0,
        ge=5,
        le=60,
        description="longest silence on the link [s]; 5 to 60 s, shorter is "
        "stricter: a dead link is noticed within twice this",
    )


class Person(Table):
    """Somebody who may answer an alert."""

    name: Name = Field(description="what to call this person in messages")
    may: tuple[Literal["acknowledge", "shelve"], ...] = Field(
        ("acknowledge",),
        description='what this person may do over MQTT: "acknowledge", "shelve"',
    )


class Site(Table):
    """A whole site: circuits, sensors, outputs, broker and people."""

    site: Head
    water: Water
    chambers: dict[Id, Chamber] = Field(min_length=1)
    passages: dict[Id, Passage] = Field(min_length=1)
    pumps: dict[Id, Pump] = Field(min_length=1)
    top_off: TopOff | None = None
    water_change: WaterChange | None = None
    pauses: dict[PauseKind, Pause] = Field(default_factory=dict)
    stricter: dict[Id, dict[Id, Stricter]] = Field(
        default_factory=dict,
        description="rows of the matrix made stricter: [stricter.HAZARD.SUBJECT]",
    )
    rows: dict[Id, OwnRow] = Field(
        default_factory=dict, description="rows of the site's own in its matrix"
    )
    measured: dict[Id, Measured] = Field(default_factory=dict)
    sensors: dict[Id, Sensor] = Field(default_factory=dict)
    outputs: dict[Id, Output] = Field(default_factory=dict)
    broker: Broker | None = None
    people: dict[Id, Person] = Field(default_factory=dict)

    def branches(self, pump: str) -> dict[str, Branch]:
        """The branches of one pump, in the order of the site file."""
        return {
            key: passage
            for key, passage in self.passages.items()
            if isinstance(passage, Branch) and passage.pump == pump
        }

    def gravity(self) -> dict[str, Gravity]:
        """Every passage that needs no pump, in the order of the site file."""
        return {k: p for k, p in self.passages.items() if not isinstance(p, Branch)}

    def drains_from(self, chamber: str) -> dict[str, Drain]:
        """The drains that leave one chamber, in the order of the site file."""
        return {
            key: passage
            for key, passage in self.passages.items()
            if isinstance(passage, (SiphonDrain, OpenDrain, EmergencyDrain))
            and passage.from_ == chamber
        }

    def drained_chambers(self) -> tuple[str, ...]:
        """The chambers that drains leave, in the order of the site file."""
        return tuple(key for key in self.chambers if self.drains_from(key))

    def floats(self, chamber: str | None = None, duty: str | None = None) -> dict[str, FloatSwitch]:
        """The float switches, of one chamber and of one duty where given."""
        return {
            key: sensor
            for key, sensor in self.sensors.items()
            if isinstance(sensor, FloatSwitch)
            and chamber in (None, sensor.chamber)
            and duty in (None, sensor.duty)
        }

    def levels(self, chamber: str | None = None) -> dict[str, LevelSensor]:
        """The level sensors, of one chamber where given."""
        return {
            key: sensor
            for key, sensor in self.sensors.items()
            if isinstance(sensor, LevelSensor) and chamber in (None, sensor.chamber)
        }

    def pump_output(self, pump: str) -> str | None:
        """The id of the output that powers a pump, if the guard has one."""
        for key, output in self.outputs.items():
            if isinstance(output, PumpOutput) and output.pump == pump:
                return key
        return None

    def label(self, key: str) -> str:
        """What people call the thing with this id: its name, or the id in words."""
        tables = (self.chambers, self.passages, self.pumps, self.sensors, self.outputs, self.rows)
        for table in tables:
            thing = table.get(key)
            if thing is not None:
                return thing.name or key.replace("-", " ")
        return key.replace("-", " ")
