"""What is known of an open recording apart from its sensors."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from imujump.model import GaitEvent, Side


@dataclass(frozen=True, slots=True)
class Stride:
    """Path of one foot from one stance to its next: ``length_m`` is horizontal.

    ``start_s`` and ``end_s`` bound it as the set defines it (mid-stance to mid-stance, or
    strike to strike); ``sigma_m`` is one standard deviation of the length.
    """

    side: Side
    start_s: float
    end_s: float
    length_m: float
    sigma_m: float


@dataclass(frozen=True, slots=True)
class GaitTruth:
    """Foot events (with their own uncertainty) and strides of a walk or run.

    ``complete`` says whether the list claims to hold every step of the recording; if not,
    only recall may be judged.
    """

    events: tuple[GaitEvent, ...]
    strides: tuple[Stride, ...] = ()
    complete: bool = True


@dataclass(frozen=True, slots=True)
class Contact:
    """One foot on the ground by force; ``side`` is None when the set does not tell."""

    side: Side | None
    on_s: float
    off_s: float
    sigma_s: float


@dataclass(frozen=True, slots=True)
class RunTruth:
    """Contacts of a run on a force-measuring surface, its mean speed and slope (uphill above 0)."""

    contacts: tuple[Contact, ...]
    speed_mps: float | None
    slope_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class JumpTruth:
    """Instants of one jump and ``sigma_s`` of each; heights where the set gives them."""

    take_off_s: float
    landing_s: float
    sigma_s: float
    height_flight_m: float | None = None
    height_impulse_m: float | None = None

    @property
    def flight_s(self) -> float:
        """Last toe-off to first landing contact, seconds."""
        return self.landing_s - self.take_off_s


@dataclass(frozen=True, slots=True)
class ForceRecording:
    """Vertical ground reaction of one jump: no sensor, truth only.

    ``table`` has columns ``time_s`` and ``force_n``; ``body_weight_n`` and
    ``take_off_mps`` are those of the set's own computation. ``impulse_trusted`` is False
    where the README doubts the impulse.
    """

    table: pd.DataFrame
    body_weight_n: float
    take_off_mps: float
    jump: JumpTruth
    impulse_trusted: bool
