"""Findings of the sensor check: what was looked at, how it stands, why, and what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from imujump.model import FloatArray, IntArray, Placement, SensorInfo


class Verdict(StrEnum):
    """How something stands; the words are those shown."""

    GOOD = "good"
    LOOK = "look at it"
    UNUSABLE = "not usable"

    @property
    def badness(self) -> int:
        """0 for good, 2 for not usable."""
        return list(Verdict).index(self)


class CheckItem(StrEnum):
    """What the check looks at; the words are those shown."""

    LINK = "link"
    RATE = "rate"
    BATTERY = "battery"
    CHANNELS = "channels"
    GRAVITY = "gravity at rest"
    GYRO = "gyroscope at rest"
    RANGE = "range"
    PLACEMENT = "placement"
    SIDE = "side"
    STRAP = "strap"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing about one sensor.

    ``reason`` says in a sentence without a full stop what was seen; ``remedy`` what to do, empty
    when all is well. ``figure`` is what was measured, in ``unit``.
    """

    item: CheckItem
    verdict: Verdict
    reason: str
    remedy: str = ""
    figure: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class SensorJudgement:
    """All findings on one sensor."""

    placement: Placement
    serial: str
    findings: tuple[Finding, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of its findings."""
        return worst(finding.verdict for finding in self.findings)


@dataclass(frozen=True, slots=True)
class LinkFigures:
    """What the link tells of a sensor; None where it is not known.

    ``rate_hz`` is the rate of samples by the host's clock; ``packets`` and ``lost`` count those
    received and those that will not come.
    """

    packets: int = 0
    lost: int = 0
    rate_hz: float | None = None
    battery_percent: int | None = None
    rssi_dbm: int | None = None


@dataclass(frozen=True, slots=True)
class CheckSamples:
    """One sensor's samples over the check, all sensors on one clock.

    ``time_s`` (n,) increases; ``accel_mps2`` and ``gyro_radps`` are (n, 3) in sensor axes.
    """

    info: SensorInfo
    time_s: FloatArray
    accel_mps2: FloatArray
    gyro_radps: FloatArray


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst verdict, good when there is none."""
    return max(verdicts, key=lambda verdict: verdict.badness, default=Verdict.GOOD)


def graded(value: float, good: float, usable: float) -> Verdict:
    """Verdict on a value that is better the smaller it is."""
    if value <= good:
        return Verdict.GOOD
    return Verdict.LOOK if value <= usable else Verdict.UNUSABLE


REST_S = 0.5
"""Rest is judged in stretches of this length (own choice)."""

REST_ACCEL_MPS2, REST_RATE_RADPS = 0.25, 0.08
"""Standard deviation of all three axes together of a sensor on a person who stands still: sway
and noise stay below half of it (own choice)."""


def resting(sensor: CheckSamples) -> IntArray:
    """Row numbers (m,) at which the sensor rests: whole stretches whose signals keep still.

    A gyroscope's bias does not matter.
    """
    size = max(2, round(REST_S * sensor.info.rate_hz))
    count = len(sensor.time_s) // size
    if not count:
        return np.empty(0, dtype=np.int64)
    accel = sensor.accel_mps2[: count * size].reshape(count, size, 3)
    gyro = sensor.gyro_radps[: count * size].reshape(count, size, 3)
    still = np.linalg.norm(accel.std(axis=1), axis=1) < REST_ACCEL_MPS2
    still &= np.linalg.norm(gyro.std(axis=1), axis=1) < REST_RATE_RADPS
    return np.flatnonzero(np.repeat(still, size))
