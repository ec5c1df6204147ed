"""State of each sensor over a recording: missing time, clipping, dead or stuck channels."""

from __future__ import annotations

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, SensorInfo, SensorReport
from imujump.pipeline.calibration import CLIP_SHARE, FULL_SCALES_G
from imujump.pipeline.streams import Received, repeats

STUCK_S = 2.0
"""A sensor that shows one value for this long is stuck (own choice)."""

USUAL_MEAN_G = (0.5, 4.0)
"""Mean specific force over a recording, in gravities: 1 at rest, up to 2 on the shank of a
runner. Outside these bounds its unit is wrong (own choice)."""

FASTEST_GYRO_RADPS = 100.0
"""No usual gyroscope reads more than 4000 deg/s, 70 rad/s (common practice, no source): more
is a wrong unit."""

COUNT_MPS2 = 1e-3
"""Specific force is summed in whole counts of this size, so that the sum is exact."""


class Upkeep:
    """Running figures of one sensor, the same for any cutting into batches."""

    def __init__(self, info: SensorInfo) -> None:
        self.info = info
        self._last_tick: int | None = None
        # Counted in whole ticks and samples: sums of seconds would depend on their order.
        self._gaps = 0
        self._gap_ticks = 0
        self._not_whole = 0
        self._samples = 0
        self._force_counts = 0
        self._forces = 0
        self._last_row = np.full((1, 6), np.nan)
        self._run = 0
        self._frozen = 0
        self._low = np.full(6, np.inf)
        self._high = np.full(6, -np.inf)
        self._peak_mps2 = 0.0
        limits = (
            np.array(FULL_SCALES_G) * STANDARD_GRAVITY_MPS2
            if info.accel_range_mps2 is None
            else np.array((info.accel_range_mps2,))
        )
        self._limits_mps2 = limits
        self._at_limit = np.zeros(len(limits), dtype=np.int64)

    def take(self, received: Received) -> None:
        """Count samples."""
        ticks, values = received.ticks, received.values
        before = int(ticks[0]) if self._last_tick is None else self._last_tick
        steps = np.concatenate(((ticks[0] - before,), ticks[1:] - ticks[:-1]))
        gaps = steps[steps * self.info.tick_s > 1.5 / self.info.rate_hz]
        self._gaps += len(gaps)
        self._gap_ticks += int(gaps.sum())
        self._last_tick = int(ticks[-1])
        self._samples += len(ticks)
        self._follow_runs(values)
        # Rows of one channel each: sums along short rows would take several times longer.
        channels = np.ascontiguousarray(values.T)
        finite = np.isfinite(channels)
        accel = channels[:3]
        if not finite.all():
            self._not_whole += int(np.count_nonzero(~finite.all(axis=0)))
            accel = accel[:, finite[:3].all(axis=0)]
        self._low = np.fmin(self._low, np.fmin.reduce(channels, axis=1))
        self._high = np.fmax(self._high, np.fmax.reduce(channels, axis=1))
        self._forces += accel.shape[1]
        force = np.sqrt(np.sum(accel * accel, axis=0))
        self._force_counts += int(np.rint(force / COUNT_MPS2).sum())
        largest = np.fmax.reduce(np.abs(channels[:3]), axis=0)
        peak_mps2 = float(np.fmax.reduce(largest))
        if peak_mps2 >= CLIP_SHARE * self._limits_mps2[0]:
            at_end = largest >= CLIP_SHARE * self._limits_mps2[:, None]
            self._at_limit += np.count_nonzero(at_end, axis=1)
        self._peak_mps2 = max(self._peak_mps2, peak_mps2)

    def _follow_runs(self, values: FloatArray) -> None:
        """Count samples in long runs of one value."""
        same = repeats(np.concatenate((self._last_row, values)))[1:]
        self._last_row = values[-1:].copy()
        starts = np.flatnonzero(~same)
        if not len(starts):
            self._run += len(values)
            return
        runs = np.concatenate(((self._run + starts[0],), np.diff(starts)))
        self._frozen += int(runs[runs >= STUCK_S * self.info.rate_hz].sum())
        self._run = len(values) - int(starts[-1])

    def report(self, end_s: float | None, start_s: float | None, duration_s: float) -> SensorReport:
        """Report on a recording of ``duration_s``; the sensor's samples span start to end."""
        if end_s is None or start_s is None:
            return SensorReport(self.info.placement, self.info.rate_hz, duration_s, 0)
        edges_s = (duration_s - end_s) + start_s
        missing_s = self._gap_ticks * self.info.tick_s
        missing_s += (self._not_whole - self._gaps) / self.info.rate_hz
        missing_s += edges_s if edges_s > 1.5 / self.info.rate_hz else 0.0
        return SensorReport(
            self.info.placement, self.info.rate_hz, missing_s, self._clipped_samples()
        )

    def _clipped_samples(self) -> int:
        if self.info.accel_range_mps2 is not None:
            return int(self._at_limit[0])
        near = np.abs(self._peak_mps2 / self._limits_mps2 - 1.0) < 0.02
        return int(self._at_limit[near].max(initial=0)) if self._at_limit[near].any() else 0

    def warnings(self) -> list[str]:
        """Sentences on what makes the sensor unusable, as a whole or in part."""
        name = self.info.placement.words
        if not self._samples:
            return [f"{name}: no samples in the recording; check that the sensor was on."]
        parts = {"acceleration": slice(0, 3), "angular rate (gyro)": slice(3, 6)}
        unmeasured = ~np.isfinite(self._low)
        if unmeasured.any():
            none = [label for label, part in parts.items() if unmeasured[part].all()]
            some = [
                label
                for label, part in parts.items()
                if unmeasured[part].any() and label not in none
            ]
            told = [f"no {' and no '.join(none)}"] if none else []
            told += [f"not all axes of {' and '.join(some)}"] if some else []
            return [
                f"{name}: {' and '.join(told)} in the recording; both accelerometer and gyroscope "
                "are needed to measure this sensor."
            ]
        stuck = [label for label, part in parts.items() if self._stuck(part)]
        if stuck:
            zeros = not self._high[parts[stuck[0]]].any() and len(stuck) == 2
            verb = "shows" if len(stuck) == 1 else "show"
            shown = "only zeros" if zeros else "one value only"
            return [
                f"{name}: {' and '.join(stuck)} {verb} {shown}; the sensor is stuck or was off, "
                "restart it."
            ]
        return [f"{name}: {text}." for text in (*self._frozen_told(), *self._units_told())]

    def _stuck(self, part: slice) -> bool:
        long_enough = self._samples >= STUCK_S * self.info.rate_hz
        return long_enough and bool((self._high[part] == self._low[part]).all())

    def _frozen_told(self) -> list[str]:
        least = STUCK_S * self.info.rate_hz
        frozen_s = (self._frozen + (self._run if self._run >= least else 0)) / self.info.rate_hz
        if not frozen_s:
            return []
        return [f"the sensor showed one value for {frozen_s:.1f} s in all; restart it"]

    def _units_told(self) -> list[str]:
        told = []
        mean_mps2 = self._force_counts * COUNT_MPS2 / max(self._forces, 1)
        low, high = (g * STANDARD_GRAVITY_MPS2 for g in USUAL_MEAN_G)
        if self._forces >= STUCK_S * self.info.rate_hz and not low <= mean_mps2 <= high:
            told.append(
                f"the accelerometer reads {mean_mps2:.3g} m/s² on average, where gravity alone "
                "gives 9.8 m/s²; check its unit"
            )
        fastest = float(max(self._high[3:].max(), -self._low[3:].min()))
        if fastest > FASTEST_GYRO_RADPS:
            told.append(
                f"the gyroscope reads {fastest:.3g} rad/s, more than any measures; check its unit"
            )
        return told
