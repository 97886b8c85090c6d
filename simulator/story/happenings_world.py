"""What happens to the guard, to the world around it, and what people answer."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from rules.site.pauses import PauseKind
from rules.site.quantities import Duration
from simulator.story.happenings_base import Beginning, Passing
from simulator.story.named import HazardName, InputRole, PumpRole


class GuardKilled(Beginning):
    """The guard's process is killed, and started again by what watches over it."""

    what: Literal["guard killed"]
    back_after: Duration = Field(5.0, description="how long until it runs again [s]")
    pins: Literal["held", "let go"] = Field(
        "held", description="what becomes of the outputs meanwhile: held as they were, or let go"
    )


class GuardHangs(Passing):
    """The guard stands still until it goes on by itself."""

    what: Literal["guard hangs"]
    pins: Literal["held", "let go"] = Field(
        "held",
        description="what becomes of the outputs meanwhile: held if all of it stands still, let go "
        "if only its loop does and the leases run out",
    )


class GuardReboots(Beginning):
    """Its machine starts anew: until then every pin follows its own pull."""

    what: Literal["guard reboots"]
    back_after: Duration = Field(45.0, description="how long until the guard runs again [s]")


class GuardUnpowered(Passing):
    """The guard's own supply is gone; the pump's is not."""

    what: Literal["guard without power"]


class GuardUpgraded(Beginning):
    """Somebody puts a new version in: an orderly stop, outputs off, and a new start."""

    what: Literal["guard upgraded"]
    back_after: Duration = Field(8.0, description="how long until it runs again [s]")


class ClockJumps(Beginning):
    """The clock on the wall is set; time itself goes on."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["clock jumps"]
    by: Duration
    to: Literal["forward", "back"]


class DiskFull(Passing):
    """Nothing can be written."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["disk full"]


class DiskStalls(Passing):
    """Whatever is written takes until this is over."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["disk stalls"]


class BrokerDown(Passing):
    """Nobody listens at the broker's address."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["broker down"]


class BrokerHangs(Passing):
    """The connection stands, and nothing comes of it: nothing is taken, nothing said."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["broker hangs"]


class BrokerForgets(Beginning):
    """The broker starts anew and has lost all that it kept."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["broker loses all"]


class Acknowledge(Beginning):
    """The person on call acknowledges what alarms then stand: of one hazard, or of all."""

    what: Literal["acknowledge"]
    hazard: HazardName | None = None


class Paused(Beginning):
    """Somebody at the guard pauses the pump; it comes back by itself."""

    what: Literal["pause"]
    kind: PauseKind
    for_: Duration | None = Field(
        None, alias="for", description="how long [s]; as usual for its kind if not given"
    )
    where: PumpRole = Field("return pump", description="a pump of the circuit that is to stop")


class PauseEnded(Beginning):
    """Somebody at the guard ends the pause before its time."""

    what: Literal["end pause"]


class Shelved(Beginning):
    """The person on call shelves what alarms then stand: of one hazard, or of all that can be."""

    what: Literal["shelve"]
    hazard: HazardName | None = None
    for_: Duration | None = Field(None, alias="for", description="how long [s]; as usual if not")


class OutOfService(Beginning):
    """Somebody at the guard takes a sensor out of service."""

    what: Literal["out of service"]
    where: InputRole


class InService(Beginning):
    """Somebody at the guard puts a sensor back."""

    what: Literal["in service"]
    where: InputRole


class Reset(Beginning):
    """The person on call resets whatever then waits for it."""

    what: Literal["reset"]
