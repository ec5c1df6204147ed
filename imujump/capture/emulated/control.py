"""What can be done to an emulated sensor, in this process or in another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from imujump.capture.emulated.memory import DeviceClock
from imujump.model import Placement


@dataclass(frozen=True, slots=True)
class SensorFacts:
    """The truth about a sensor, for judging what capture made of it.

    ``clock`` counts in this computer's monotonic time; ``packets_made`` and ``samples_made``
    count since boot; ``overflow`` tells whether packets that never went out were overwritten.
    Feed time, that of the recording or athlete, is 0 at ``feed_starts_s`` (None while a
    recording still waits) and the feed ends ``feed_length_s`` later.
    """

    placement: Placement
    serial: str
    boot_id: int
    clock: DeviceClock
    measuring: bool
    connected: bool
    packets_made: int
    samples_made: int
    overflow: bool
    feed_starts_s: float | None
    feed_length_s: float


class SensorControl(Protocol):
    """The handle by which a test makes things go wrong; all take effect at once."""

    def drop_link(self, duration_s: float = 0.0) -> None:
        """Lose the link at once, and be out of reach for a while."""

    def silence(self, duration_s: float) -> None:
        """Let no radio packet through; the link ends if that outlasts its supervision."""

    def stall(self, duration_s: float) -> None:
        """Keep the link but send no data."""

    def reboot(self) -> None:
        """Restart: new boot id, counters from the start, buffer empty, not measuring."""

    def set_battery(self, percent: int) -> None:
        """Set the charge, and notify it."""

    def refuse(self, connections: int) -> None:
        """Let the next connections fail to be established."""

    def hide(self, hidden: bool = True) -> None:
        """Stop advertising, as a sensor does that another host holds."""

    def set_interval(self, interval_s: float, event_loss_ratio: float = 0.0) -> None:
        """Set the connection interval and the share of events lost to interference."""

    def set_rssi(self, rssi_dbm: int) -> None:
        """Set the signal strength that scans report."""

    async def facts(self) -> SensorFacts:
        """Return the truth about the sensor."""
        ...


FAULTS = (
    "drop_link",
    "silence",
    "stall",
    "reboot",
    "set_battery",
    "refuse",
    "hide",
    "set_interval",
    "set_rssi",
)
"""The methods that another process may call."""
