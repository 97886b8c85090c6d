"""What the guard needs of the world, as protocols: real pins and the plant both stand here."""

from __future__ import annotations

from typing import Protocol


class Board(Protocol):
    """Everything wired to the guard: contacts and analog levels to read, pulses to count,
    outputs to drive.

    Sensors and outputs go by their id in the site file. A board knows polarity of outputs (what
    level means on) and nothing else: what a closed contact means is the guard's business.
    """

    name: str
    """Where the signals come from; a simulated board says so: "sim+..."."""

    def closed(self, sensor: str) -> bool:
        """True while the contact is closed; raises OSError when the pin cannot be read."""

    def pulses(self, sensor: str) -> int:
        """Pulses of a flow meter since the board was opened; raises OSError like `closed`."""

    def analog(self, sensor: str) -> float:
        """What a level sensor's converter reads, as a share of its range, 0 to 1; raises OSError
        like `closed`."""

    def drive(self, output: str, on: bool) -> None:
        """Put one output on or off; raises OSError when the pin cannot be driven."""

    def close(self) -> None:
        """Drive every output off and let the pins go."""
