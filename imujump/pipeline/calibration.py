"""Rest biases, sensor scale and the vertical, from the stands around an attempt.

No pose beyond standing still is asked for: at rest the gyroscope shows its bias, the
accelerometer the vertical and its own scale. Everything else about how a sensor sits on the
body follows from the motion (see :mod:`imujump.pipeline.body`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import BoolArray, FloatArray, Placement
from imujump.pipeline.body import SensorWindow, Window
from imujump.pipeline.stillness import SHORTEST_REST_S, spans, still
from imujump.pipeline.streams import Samples

REST_MARGIN_S = 0.1
"""Cut off both ends of a stand: weight shifts before the first step (own choice)."""

BRIDGED_REST_S = 0.3
"""A gap shorter than this does not end a stand when the samples around it are still."""

SCALE_TOLERANCE = 0.15
"""Resting specific force further than this from gravity is a fault of unit or sensor, not of
scale: uncalibrated parts are seen to be up to 8 % off (own choice)."""

FULL_SCALES_G = (2.0, 4.0, 8.0, 16.0, 24.0, 32.0, 64.0)
"""Usual full-scale ranges of accelerometers, in standard gravities (common practice, no source)."""

QUIET_MOMENT_S, QUIET_SEARCH_S = 0.15, 1.5
"""Where nobody stands still: length of the moment taken instead, and where it is sought (own
choice)."""

UNKNOWN_BIAS_RADPS = 0.01
"""Bias of an uncalibrated gyroscope: 0.6 degrees per second, usual in data sheets of small parts
(common practice, no source)."""

DRIFT_REST_S, STEADY_MPS2 = 0.8, 0.02
"""A stand as long as this tells the accelerometer's bias along the vertical anew; below 2 mg it is
sway and noise (own choice)."""

CLIP_SHARE = 0.98
"""A sample at 98 % of the range counts as clipped (own choice: scale error and offset)."""


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A window ready for motion analysis, and what was noticed on the way."""

    window: Window
    unusable: Mapping[Placement, str]


def clipped(accel_mps2: FloatArray, accel_range_mps2: float | None) -> BoolArray:
    """Mark samples (n,) with a channel at the end of its range.

    Without a stated range, the recording's own extreme tells when it lies at a usual full
    scale and is reached by two samples running.
    """
    size = np.abs(accel_mps2).max(axis=1)
    if accel_range_mps2 is not None:
        return np.asarray(size >= CLIP_SHARE * accel_range_mps2)
    peak = float(size.max(initial=0.0)) / STANDARD_GRAVITY_MPS2
    for scale in FULL_SCALES_G:
        if abs(peak - scale) < 0.02 * scale:
            at_end = size >= CLIP_SHARE * scale * STANDARD_GRAVITY_MPS2
            if (at_end[1:] & at_end[:-1]).any():
                return np.asarray(at_end)
    return np.zeros(len(size), dtype=bool)


def find_rests(samples: Mapping[Placement, Samples], step_s: float) -> list[tuple[int, int]]:
    """Spans (first, last sample) in which all sensors are still, ends trimmed."""
    together: BoolArray | None = None
    for sensor in samples.values():
        own = still(sensor.accel_mps2, sensor.gyro_radps, step_s)
        for first, last in spans(sensor.missing, round(BRIDGED_REST_S / step_s)):
            own[first : last + 1] = False
        together = own if together is None else together & own
    if together is None:
        return []
    margin = round(REST_MARGIN_S / step_s)
    found = []
    for first, last in spans(together, round(SHORTEST_REST_S / step_s)):
        a = first if first == 0 else first + margin
        b = last if last == len(together) - 1 else last - margin
        found.append((a, b))
    return found


def quietest(samples: Mapping[Placement, Samples], step_s: float) -> tuple[int, int]:
    """Most still moment of the first second and a half: first and last sample."""
    width = max(round(QUIET_MOMENT_S / step_s), 2)
    turning = sum(
        np.sum(s.gyro_radps[: round(QUIET_SEARCH_S / step_s)] ** 2, axis=1)
        for s in samples.values()
    )
    total = np.cumsum(np.concatenate(((0.0,), turning)))
    first = int(np.argmin(total[width:] - total[:-width]))
    return first, first + width - 1


def calibrate(
    samples: Mapping[Placement, Samples],
    ranges_mps2: Mapping[Placement, float | None],
    step_s: float,
    rests: list[tuple[int, int]],
    gravity_mps2: float,
) -> Calibrated:
    """Remove rest bias and scale; the first stand must begin at sample 0.

    Parameters
    ----------
    samples : mapping of Placement to Samples
        All sensors on the common grid.
    ranges_mps2 : mapping of Placement to float or None
        Full scale of each accelerometer, if stated.
    step_s : float
        Sample period.
    rests : list of (first, last)
        Stands, oldest first.
    gravity_mps2 : float
        Local gravity, which the resting accelerometer is scaled to.
    """
    sensors: dict[Placement, SensorWindow] = {}
    unusable: dict[Placement, str] = {}
    first, last = rests[0]
    for placement, sensor in samples.items():
        seen = ~sensor.missing
        part = slice(first, last + 1)
        if not seen[part].any():
            unusable[placement] = "no samples while standing before the attempt"
            continue
        up = sensor.accel_mps2[part][seen[part]].mean(axis=0)
        size = float(np.linalg.norm(up))
        if abs(size / gravity_mps2 - 1.0) > SCALE_TOLERANCE:
            unusable[placement] = (
                f"the accelerometer reads {size:.1f} m/s² at rest instead of "
                f"{gravity_mps2:.1f} m/s²: check its unit and calibration"
            )
            continue
        bias, bias_sigma_radps = _gyro_bias(
            sensor.accel_mps2[part], sensor.gyro_radps[part], seen[part], step_s
        )
        steady = sensor.accel_mps2 - _upright_drift(sensor, rests, size, step_s)
        sensors[placement] = SensorWindow(
            steady * (gravity_mps2 / size),
            sensor.gyro_radps - bias,
            up / size,
            sensor.missing,
            clipped(sensor.accel_mps2, ranges_mps2[placement]),
            bias_sigma_radps,
        )
    return Calibrated(Window(step_s, gravity_mps2, sensors, tuple(rests)), unusable)


def _upright_drift(
    sensor: Samples, rests: list[tuple[int, int]], size_mps2: float, step_s: float
) -> FloatArray:
    """Change (n, 3) of the accelerometer's bias since the first stand, by straight lines.

    Its part along the vertical is seen at every stand, where the specific force must have the
    length it had at first; a sensor that warms up shows another.
    """
    middles, changes = [0.5 * (rests[0][0] + rests[0][1])], [np.zeros(3)]
    for first, last in rests[1:]:
        part = sensor.accel_mps2[first : last + 1][~sensor.missing[first : last + 1]]
        if len(part) * step_s < DRIFT_REST_S:
            continue
        mean = part.mean(axis=0)
        size = float(np.linalg.norm(mean))
        if abs(size - size_mps2) < STEADY_MPS2:
            continue
        middles.append(0.5 * (first + last))
        changes.append((size - size_mps2) / size * mean)
    grid = np.arange(len(sensor.accel_mps2))
    return np.stack(
        [np.interp(grid, middles, [c[axis] for c in changes]) for axis in range(3)], axis=1
    )


def _gyro_bias(
    accel_mps2: FloatArray, gyro_radps: FloatArray, seen: BoolArray, step_s: float
) -> tuple[FloatArray, float]:
    """Mean rate (3,) of a stand, and how far it may be from the bias, rad/s.

    Someone who stands still may still lean over slowly: that turning is seen by the vertical
    and belongs to the rate, not to the bias. A moment too short to tell leaves the bias open.
    """
    if len(seen) * step_s < SHORTEST_REST_S:
        return np.zeros(3), UNKNOWN_BIAS_RADPS
    third = max(len(seen) // 3, 1)
    ends = []
    for part in (slice(0, third), slice(-third, None)):
        if not seen[part].any():
            return gyro_radps[seen].mean(axis=0), UNKNOWN_BIAS_RADPS
        mean = accel_mps2[part][seen[part]].mean(axis=0)
        ends.append(mean / np.linalg.norm(mean))
    leaned_rad = float(np.linalg.norm(np.cross(*ends)))
    return gyro_radps[seen].mean(axis=0), leaned_rad / ((len(seen) - third) * step_s)
