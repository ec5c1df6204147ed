"""How a rig of emulated sensors is set up; travels to another process as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field

from imujump.capture.emulated.air import SUPERVISION_S
from imujump.model import Placement

PACKET_S = 0.025
"""Stream in a packet as README asks of our own sensors: a foot event that needs the next packet is
told well within 60 ms, and 40 packets a second are easy on a link (own choice)."""


@dataclass(frozen=True, slots=True)
class RigSettings:
    """Everything that is chosen when a rig starts.

    Attributes
    ----------
    rate_hz : float
        Rate of an athlete's sensors; a recording has its own.
    placements : sequence of Placement
        Sensors worn.
    seed : int
        The same seed gives the same samples, phases and ids.
    interval_s, event_loss_ratio : float
        Connection interval, 0 for none, and the share of connection events that is lost.
    skew_ppm : mapping
        Rate error of each sensor's clock; 0 where not named.
    jitter_s : float
        Mean random delay of everything the firmware does.
    buffer_s : float
        What each sensor's ring buffer holds.
    samples_per_packet : int or None
        Most samples in a packet, MTU permitting; None for those of :data:`PACKET_S`.
    number_samples : bool
        Write the sample number into the first channel, to expose lost and doubled samples.
    keep_packets : bool
        Keep all packets made in ``sensor.made`` (this process only).
    battery_percent : int
        Charge at the start.
    supervision_s : float
        Silence that ends a link.
    legs_swapped : bool
        An athlete wears the shank sensors on the wrong legs.
    scenes : str
        What an athlete does: ``jumps``, a jump session; or ``check``, a sensor check as it is
        guided, which begins once all sensors have been started.
    apart : bool
        Write an athlete's later scenes in another process, so that the radio never waits.
    """

    rate_hz: float = 200.0
    placements: Sequence[Placement] = tuple(Placement)
    seed: int = 0
    interval_s: float = 0.0075
    event_loss_ratio: float = 0.0
    skew_ppm: Mapping[Placement, float] = field(default_factory=dict)
    jitter_s: float = 0.0
    buffer_s: float = 60.0
    samples_per_packet: int | None = 10
    number_samples: bool = False
    keep_packets: bool = False
    battery_percent: int = 90
    supervision_s: float = SUPERVISION_S
    legs_swapped: bool = False
    scenes: str = "jumps"
    apart: bool = False

    def to_json(self) -> str:
        """Return the settings as JSON.

        Examples
        --------
        >>> settings = RigSettings(rate_hz=400.0, skew_ppm={Placement.PELVIS: 40.0})
        >>> RigSettings.from_json(settings.to_json()) == settings
        True
        """
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, text: str) -> RigSettings:
        """Read settings from JSON."""
        told = json.loads(text)
        told["placements"] = tuple(Placement(name) for name in told["placements"])
        told["skew_ppm"] = {Placement(name): ppm for name, ppm in told["skew_ppm"].items()}
        return cls(**told)
