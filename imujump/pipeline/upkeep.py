"""State of each sensor over a recording: missing time, clipping, dead or stuck channels."""

from __future__ import annotations

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import SensorInfo, SensorReport
from imujump.pipeline.calibration import CLIP_SHARE, FULL_SCALES_G
from imujump.pipeline.streams import Received

STUCK_S = 3.0
"""A sensor that shows one value for this long and never another is stuck (own choice)."""


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
        steps = np.diff(ticks, prepend=ticks[0] if self._last_tick is None else self._last_tick)
        gaps = steps[steps * self.info.tick_s > 1.5 / self.info.rate_hz]
        self._gaps += len(gaps)
        self._gap_ticks += int(gaps.sum())
        self._last_tick = int(ticks[-1])
        self._samples += len(ticks)
        whole = np.isfinite(values)
        self._not_whole += int(np.count_nonzero(~whole.all(axis=1)))
        self._low = np.minimum(self._low, np.where(whole, values, np.inf).min(axis=0))
        self._high = np.maximum(self._high, np.where(whole, values, -np.inf).max(axis=0))
        size = np.abs(np.where(whole[:, :3], values[:, :3], 0.0)).max(axis=1)
        self._peak_mps2 = max(self._peak_mps2, float(size.max()))
        self._at_limit += (size[:, None] >= CLIP_SHARE * self._limits_mps2).sum(axis=0)

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

    def warnings(self, duration_s: float) -> list[str]:
        """Sentences on what makes the sensor unusable as a whole."""
        name = str(self.info.placement).replace("_", " ")
        if not self._samples:
            return [f"{name}: no samples in the recording; check that the sensor was on."]
        told = []
        for label, part in (("acceleration", slice(0, 3)), ("angular rate (gyro)", slice(3, 6))):
            missing = ~np.isfinite(self._low[part])
            if missing.any():
                axes = "no" if missing.all() else "not all axes of"
                told.append(
                    f"{name}: {axes} {label} in the recording; both accelerometer and gyroscope "
                    "are needed to measure this sensor."
                )
                continue
            low, high = self._low[part], self._high[part]
            if self._samples < STUCK_S * self.info.rate_hz or not (high == low).all():
                continue
            shown = "only zeros" if not high.any() else "one value only"
            told.append(
                f"{name}: {label} shows {shown}; the sensor is stuck or was off, restart it."
            )
        return told
