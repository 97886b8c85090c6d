"""Checks of how things are wired: pins, the SPI bus, converters, and what a level sensor reads."""

from __future__ import annotations

from collections.abc import Iterator

from rules.site.finding import Finding
from rules.site.model import Site
from rules.site.sensors import SPI_PINS, LevelSensor
from rules.site.show import length


def pins(site: Site) -> Iterator[Finding]:
    """Each pin serves one thing; a converter takes those of the bus."""
    used: dict[int, str] = {}
    bus = next((f"sensors.{key}" for key in site.levels()), None)
    for table in ("sensors", "outputs"):
        for key, thing in getattr(site, table).items():
            if isinstance(thing, LevelSensor):
                continue
            if thing.pin in used:
                yield (
                    f"{table}.{key}",
                    "pin",
                    f"pin {thing.pin} is used by [{used[thing.pin]}] already; each needs its own",
                )
            elif bus is not None and thing.pin in SPI_PINS:
                yield (
                    f"{table}.{key}",
                    "pin",
                    f"pin {thing.pin} is of the SPI bus, GPIO 7 to 11, over which the converter of "
                    f"[{bus}] speaks; take another",
                )
            used.setdefault(thing.pin, f"{table}.{key}")


def converters(site: Site) -> Iterator[Finding]:
    """One kind of converter on a select, one sensor on a channel."""
    kinds: dict[int, str] = {}
    taken: dict[tuple[int, int], str] = {}
    for key, sensor in site.levels().items():
        first = kinds.setdefault(sensor.select, key)
        if site.levels()[first].converter != sensor.converter:
            yield (
                f"sensors.{key}",
                "converter",
                f"[sensors.{first}] says that an {site.levels()[first].converter} has select "
                f"{sensor.select}; a select has one converter",
            )
        other = taken.setdefault((sensor.select, sensor.channel), key)
        if other != key:
            yield (
                f"sensors.{key}",
                "channel",
                f"channel {sensor.channel} is used by [sensors.{other}] already; each needs its "
                "own",
            )


def pump_outputs(site: Site) -> Iterator[Finding]:
    """Each pump is powered by one output."""
    per_pump: dict[str, str] = {}
    for key, output in site.outputs.items():
        if output.kind == "pump":
            if output.pump in per_pump:
                yield (
                    f"outputs.{key}",
                    "pump",
                    f'"{output.pump}" is powered by [outputs.{per_pump[output.pump]}] already',
                )
            per_pump.setdefault(output.pump, key)


def level_points(site: Site) -> Iterator[Finding]:
    """Both points of a calibration lie where water can stand."""
    units = site.site.units
    for key, sensor in site.levels().items():
        rim = site.chambers[sensor.chamber].rim
        for name, point in (("low", sensor.low), ("high", sensor.high)):
            if not 0.0 <= point.level <= rim:
                where = "above the rim" if point.level > 0 else "below the bottom"
                yield (
                    f"sensors.{key}",
                    f"{name}.level",
                    f"{length(point.level, units)} lies {where} of {sensor.chamber} (rim at "
                    f"{length(rim, units)}): no water can have stood there",
                )
