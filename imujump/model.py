"""Every data type that crosses a module border.

All types are frozen dataclasses. Arrays are float64, C-contiguous and never changed in
place. Numbers are SI; every numeric name ends in its unit. ``time_s`` counts seconds from
the recording's first sample. Accelerometers report specific force: at rest the vector
points up and its length is local gravity.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


class Placement(StrEnum):
    """Where on the body a sensor is worn."""

    LEFT_SHANK = "left_shank"
    RIGHT_SHANK = "right_shank"
    PELVIS = "pelvis"

    @property
    def side(self) -> Side | None:
        """The side of a shank sensor, None for the pelvis."""
        return next((side for side in Side if side.shank is self), None)

    @property
    def words(self) -> str:
        """The placement as it stands in a sentence."""
        return self.value.replace("_", " ")


class Side(StrEnum):
    """Left or right foot."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Side:
        """The opposite side."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT

    @property
    def shank(self) -> Placement:
        """The placement of this side's shank sensor."""
        return Placement.LEFT_SHANK if self is Side.LEFT else Placement.RIGHT_SHANK


class EventKind(StrEnum):
    """The two gait events of a foot."""

    FOOT_STRIKE = "foot_strike"
    TOE_OFF = "toe_off"


class TakeOffStyle(StrEnum):
    """Number of feet that push off for the jump."""

    ONE_FOOT = "one_foot"
    TWO_FOOT = "two_foot"


@dataclass(frozen=True, slots=True)
class SensorInfo:
    """What is known of one sensor before its first sample.

    ``rate_hz`` is the nominal sample rate; ``tick_s`` the length of one device clock tick.
    A range is ``None`` when the source does not state it.
    """

    placement: Placement
    sensor_id: str
    rate_hz: float
    tick_s: float
    accel_range_mps2: float | None = None
    gyro_range_radps: float | None = None


@dataclass(frozen=True, slots=True)
class SampleBatch:
    """Consecutive samples of one sensor, in SI units and sensor axes.

    ``ticks`` (n,) are device clock ticks, strictly increasing over the stream; a jump of
    more than one sample period is a gap. ``arrival_s`` is the host's monotonic time, from
    the session's start, at which the batch's packet arrived. ``accel_mps2`` and
    ``gyro_radps`` are (n, 3); NaN marks a channel that was not measured. ``first_index``
    is the running sample number of the first row, counting received samples only. ``segment``
    counts the sensor's restarts: each begins a new count of ticks, which may fall.
    """

    placement: Placement
    first_index: int
    ticks: IntArray
    arrival_s: float
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    segment: int = 0


@dataclass(frozen=True, slots=True)
class ClockReading:
    """A sensor's answer to the question what its clock shows.

    ``sent_s`` and ``received_s`` are the host's monotonic time, from the session's start,
    before the question and after the answer; in between the counter that stamps the samples
    stood at ``tick``: in a capture wrapped as sent, for the engine on the axis of
    ``SampleBatch.ticks``. ``segment`` is that of :class:`SampleBatch`.
    """

    placement: Placement
    sent_s: float
    received_s: float
    tick: int
    segment: int = 0


@dataclass(frozen=True, slots=True)
class Mark:
    """A note that a person set at an instant of the recording."""

    time_s: float
    text: str


@dataclass(frozen=True, slots=True)
class RecordingInfo:
    """The head of a recording: everything but its samples."""

    sensors: tuple[SensorInfo, ...]
    started_utc: datetime | None = None
    marks: tuple[Mark, ...] = ()
    warnings: tuple[str, ...] = ()


class SampleSource(Protocol):
    """A recording that can be read once from front to back.

    ``batches`` yields each sensor's batches in order; sensors may interleave in any way. A
    source whose sensors' clocks were read has :meth:`TimedSource.timeline` as well.
    """

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording."""
        ...

    def batches(self) -> Iterator[SampleBatch]:
        """Yield all samples from the first to the last."""
        ...


@runtime_checkable
class TimedSource(SampleSource, Protocol):
    """A recording that also holds readings of its sensors' clocks."""

    def timeline(self) -> Iterator[SampleBatch | ClockReading]:
        """Yield batches as :meth:`batches` does, with each reading at its place in time.

        A reading comes before every batch of its sensor that arrived after it.
        """
        ...


@dataclass(frozen=True, slots=True)
class Estimate:
    """A measured quantity with one standard deviation, or the reason why there is none.

    ``value`` and ``sigma`` share one unit. ``value`` is ``None`` when the quantity could
    not be measured, and ``reason`` then says why; a value may also carry a reason for
    doubt. ``method`` names how it was obtained.
    """

    value: float | None
    sigma: float | None
    reason: str | None
    method: str


@dataclass(frozen=True, slots=True)
class GaitEvent:
    """A foot strike or toe-off and its timing uncertainty (one standard deviation)."""

    kind: EventKind
    side: Side
    time_s: float
    sigma_s: float


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the approach, from one foot's touchdown to the next foot's touchdown.

    ``number`` is -1 for the last step (it ends at the plant's first contact), -2 for the
    penultimate and so on; ``side`` is the foot that lands at ``strike_s``; ``contact_s``
    belongs to the foot that begins the step.
    """

    number: int
    side: Side
    strike_s: float
    length_m: Estimate
    time_s: Estimate
    contact_s: Estimate
    speed_mps: Estimate


@dataclass(frozen=True, slots=True)
class Attempt:
    """One jump with its run-up: where it lies, what was seen, what was measured.

    ``toe_off_s`` and ``landing_s`` bound the flight. ``take_off_side`` is the take-off foot
    (two-foot: the foot that plants first). Style and side are ``None`` when no shank sensor
    tells. ``metrics`` maps every name in
    :data:`METRIC_NAMES` to its estimate.
    """

    number: int
    start_s: float
    end_s: float
    toe_off_s: float
    landing_s: float
    take_off_style: TakeOffStyle | None
    take_off_side: Side | None
    valid: bool
    reasons: tuple[str, ...]
    events: tuple[GaitEvent, ...]
    steps: tuple[Step, ...]
    metrics: Mapping[str, Estimate]


@dataclass(frozen=True, slots=True)
class SensorReport:
    """How well one sensor was received: missing time and samples at the range's end."""

    placement: Placement
    rate_hz: float
    missing_s: float
    clipped_samples: int


@dataclass(frozen=True, slots=True)
class Analysis:
    """All that a recording's analysis yields; times count from the first sample."""

    started_utc: datetime | None
    duration_s: float
    sensors: tuple[SensorReport, ...]
    warnings: tuple[str, ...] = ()
    attempts: tuple[Attempt, ...] = field(default=())
    marks: tuple[Mark, ...] = ()


METRIC_NAMES: tuple[str, ...] = (
    "approach_speed_mps",
    "peak_speed_mps",
    "plant_speed_mps",
    "take_off_speed_mps",
    "speed_loss_mps",
    "last_step_m",
    "penultimate_step_m",
    "last_step_ratio",
    "last_step_s",
    "penultimate_step_s",
    "penultimate_contact_s",
    "lowering_m",
    "plant_lowering_m",
    "plant_sink_m",
    "plant_interval_s",
    "take_off_contact_s",
    "plant_shank_angle_rad",
    "pelvis_tilt_rad",
    "free_leg_peak_radps",
    "free_leg_lead_s",
    "turn_rad",
    "flight_s",
    "height_flight_m",
    "take_off_vertical_mps",
    "height_velocity_m",
    "pelvis_rise_m",
    "reactive_ratio",
    "landing_interval_s",
    "landing_peak_left_mps2",
    "landing_peak_right_mps2",
)
"""The metrics of an attempt, in the order of the JSON contract."""
