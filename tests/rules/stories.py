"""One story for every hazard that cuts the pump: what happens, and how soon the cut must come."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rules.engine import RETURN_S
from rules.hazards.draws_air import DELAY_S as AIR_DELAY_S
from rules.signals import EventKind
from tests.rules.nights import TICK_S, Night

FILTER_S = 1.0
"""Filter of every float in these stories, of pads and of supply inputs [s]."""


@dataclass(frozen=True, slots=True)
class Story:
    """A cause at one place of the classroom; `within_s` is from the cause to the cut [s]."""

    hazard: str
    row: str
    happens: Callable[[Night], None]
    within_s: float
    latches: bool = False


def _runs_low_behind_its_float(night: Night) -> None:
    """The top-off float has long been dry and the low float still says wet; then the flow goes."""
    night.dry("return-level")
    night.run(125)
    night.flow("return-flow", 0.6)


CUTTING = (
    Story(
        "spill-edge",
        "spill-edge.display-high",
        lambda night: night.wet("display-high"),
        FILTER_S + TICK_S,
        latches=True,
    ),
    Story(
        "drain-capacity",
        "drain-capacity.overflow-box",
        lambda night: night.wet("box-watch"),
        FILTER_S + TICK_S,
    ),
    Story(
        "chamber-high",
        "chamber-high.inlet-high",
        lambda night: night.wet("inlet-high"),
        FILTER_S + TICK_S,
        latches=True,
    ),
    Story(
        "dry-run",
        "dry-run.return-low",
        lambda night: night.dry("return-low"),
        FILTER_S + TICK_S,
        latches=True,
    ),
    Story(
        "draws-air",
        "draws-air.return-low",
        _runs_low_behind_its_float,
        AIR_DELAY_S + TICK_S,
        latches=True,
    ),
    Story(
        "leak",
        "leak.floor-pad",
        lambda night: night.wet("floor-pad"),
        FILTER_S + 1.0 + TICK_S,  # a pad must have been wet for a second more
        latches=True,
    ),
    Story("mains", "mains.supply", lambda night: night.dry("supply"), FILTER_S + TICK_S),
    Story(
        "lease-lost",
        "lease-lost.pump-relay",
        lambda night: night.drop("pump-relay"),
        TICK_S,
    ),
)


def told(story: Story, night: Night, seconds: float = 30.0) -> None:
    """A good hundred seconds, then the story, then what follows."""
    night.good(100)
    assert night.on("pump-relay")
    story.happens(night)
    night.changed_s = night.t_s
    night.run(seconds)


def starts(night: Night) -> list[float]:
    """When the pump was started [s]."""
    return [event.t_s for event in night.of(EventKind.PUMP_STARTED)]


def happened(story: Story, night: Night) -> float:
    """The story for five seconds, then as on a good day; returns when its cause is gone for good.

    That is `RETURN_S` after the float has turned; a lease is lost for one look only.
    """
    story.happens(night)
    began_s = night.t_s
    night.run(5)
    assert not night.on("pump-relay")
    night.mend()
    last_s = began_s if story.hazard == "lease-lost" else night.t_s + FILTER_S
    night.run(FILTER_S + RETURN_S + 1)
    return last_s + RETURN_S
