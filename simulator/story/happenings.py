"""Everything that can happen in a drill: what goes wrong, and what people do in it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from simulator.story.happenings_machines import (
    DeadRelay,
    FreeValve,
    MendRelay,
    PowerCut,
    PumpDies,
    PumpRevives,
    StickValve,
    Unplug,
    WearPump,
    WeldRelay,
)
from simulator.story.happenings_signals import (
    CutCable,
    DriftMeter,
    DullPad,
    FoulMeter,
    FreeSensor,
    LevelDropsOut,
    LevelFreezes,
    LevelHiss,
    LevelOffset,
    LooseCable,
    MendCable,
    NoisyMeter,
    QuietMeter,
    ReviveMeter,
    SilenceMeter,
    Splash,
    StickSensor,
    Swap,
    Unswap,
)
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
from simulator.story.happenings_world import (
    Acknowledge,
    BrokerDown,
    BrokerForgets,
    BrokerHangs,
    ClockJumps,
    DiskFull,
    DiskStalls,
    GuardHangs,
    GuardKilled,
    GuardReboots,
    GuardUnpowered,
    GuardUpgraded,
    InService,
    OutOfService,
    Paused,
    PauseEnded,
    Reset,
    Shelved,
)

Happening = Annotated[
    Block
    | Unblock
    | DrawsAir
    | Seals
    | LosesPrime
    | Leak
    | HoseSlips
    | LoseWater
    | AddWater
    | Stir
    | Displace
    | PlugBreak
    | ClearBreak
    | ChangeDiffers
    | DryAir
    | WearPump
    | PumpDies
    | PumpRevives
    | Unplug
    | StickValve
    | FreeValve
    | WeldRelay
    | DeadRelay
    | MendRelay
    | PowerCut
    | StickSensor
    | FreeSensor
    | CutCable
    | LooseCable
    | MendCable
    | Swap
    | Unswap
    | Splash
    | DullPad
    | SilenceMeter
    | ReviveMeter
    | DriftMeter
    | FoulMeter
    | NoisyMeter
    | QuietMeter
    | LevelOffset
    | LevelHiss
    | LevelDropsOut
    | LevelFreezes
    | GuardKilled
    | GuardHangs
    | GuardReboots
    | GuardUnpowered
    | GuardUpgraded
    | ClockJumps
    | DiskFull
    | DiskStalls
    | BrokerDown
    | BrokerHangs
    | BrokerForgets
    | Acknowledge
    | Paused
    | PauseEnded
    | Shelved
    | OutOfService
    | InService
    | Reset,
    Field(discriminator="what"),
]
