"""What happens to the water and to what leads and holds it, done to the plant."""

from __future__ import annotations

from collections.abc import Callable

from rules.site.model import Site
from simulator.signals.stand import Stand
from simulator.story.acts import Part, at_once, for_a_while, ramp_entry, ramp_field, set_to
from simulator.story.happenings import Happening
from simulator.story.happenings_water import (
    AddWater,
    Block,
    ChangeDiffers,
    ClearBreak,
    Displace,
    DrawsAir,
    DryAir,
    HoseSlips,
    Leak,
    LosesPrime,
    LoseWater,
    PlugBreak,
    Seals,
    Stir,
    Unblock,
)
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.water.drains import Siphon
from simulator.water.plant import Plant


def to_the_water(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that move water by themselves; none if it is of another kind."""
    plant = stand.plant
    match event:
        case LoseWater() | AddWater():
            sign = -1.0 if isinstance(event, LoseWater) else 1.0
            keys = resolve(site, "chamber", event.where)
            return [_stream(plant, key, event.volume, event.over, sign) for key in keys]
        case Displace():
            return [
                part
                for key in resolve(site, "chamber", event.where)
                for part in for_a_while(
                    event.lasts,
                    _bring(plant, key, event.volume),
                    _bring(plant, key, -event.volume),
                )
            ]
        case Stir():
            return [
                part
                for key in resolve(site, "chamber", event.where)
                for part in _stir(plant, key, event)
            ]
        case Leak():
            return [
                part
                for key in resolve(site, "chamber", event.where)
                for part in _leak(plant, key, event)
            ]
        case DryAir():
            return [at_once(lambda: plant.dry_air(event.a_day))]
        case ChangeDiffers():
            if plant.water_change is None:
                raise NoSuchRoleError(f"{site.site.name} has no water change")
            goal = event.share if event.more == "in" else -event.share
            return [ramp_field(plant.water_change, "differs", goal, event.over)]
        case _:
            return []


def to_the_passages(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that change a passage; none if it is of another kind."""
    plant = stand.plant
    match event:
        case Block() | Unblock():
            goal = 1.0 - event.share if isinstance(event, Block) else 1.0
            return [
                ramp_field(plant.rises[key], "condition", goal, event.over)
                if key in plant.rises
                else ramp_entry(plant.condition, key, goal, event.over)
                for key in resolve(site, "passage", event.where)
            ]
        case DrawsAir() | Seals():
            draws = isinstance(event, DrawsAir)
            siphons = _siphons(site, plant, event.where)
            return [set_to(siphon, "draws_air", draws) for siphon in siphons]
        case LosesPrime():
            return [at_once(siphon.lose_prime) for siphon in _siphons(site, plant, event.where)]
        case HoseSlips():
            keys = resolve(site, "branch", event.where)
            return [set_to(plant.rises[key], "beside", event.share) for key in keys]
        case PlugBreak() | ClearBreak():
            plugged = isinstance(event, PlugBreak)
            keys = resolve(site, "branch", event.where)
            return [set_to(plant.rises[key], "plugged", plugged) for key in keys]
        case _:
            return []


def _siphons(site: Site, plant: Plant, where: str) -> list[Siphon]:
    """The siphon drains among what a role stands for; raises NoSuchRoleError if there are none."""
    keys = resolve(site, "passage", where)
    found = [plant.siphon(key) for key in keys if site.passages[key].kind == "siphon-drain"]
    if not found:
        raise NoSuchRoleError(f"{site.site.name} has no siphon drain that could be the {where}")
    return found


def _stream(plant: Plant, key: str, volume: float | None, over_s: float, sign: float) -> Part:
    """Water carried off or poured in, evenly over a time; all there is when no volume is given."""

    def act(share: float) -> None:
        whole = plant.volume_m3[plant.index[key]] if volume is None else volume
        if over_s <= 0.0:
            plant.bring(key, sign * whole)
        elif share < 1.0:
            plant.stream_m3_s.setdefault(key, sign * whole / over_s)
        else:
            plant.stream_m3_s.pop(key, None)

    return Part(act, over_s)


def _bring(plant: Plant, key: str, volume: float) -> Callable[[], None]:
    return lambda: plant.bring(key, volume)


def _stir(plant: Plant, key: str, event: Stir) -> list[Part]:
    return for_a_while(
        event.lasts,
        lambda: plant.stirred_m.__setitem__(key, event.height),
        lambda: plant.stirred_m.pop(key, None),
    )


def _leak(plant: Plant, key: str, event: Leak) -> list[Part]:
    leaking = [ramp_entry(plant.leak_m3_s, key, event.flow, event.over)]
    if event.mended_after is not None:
        mended = at_once(lambda: plant.leak_m3_s.pop(key, None))
        leaking.append(Part(mended.act, after_s=event.mended_after))
    return leaking
