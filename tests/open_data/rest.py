"""How a sensor reads while it is held still, and which recordings there are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from .array_source import ArraySource, SensorArrays

LOW_BACK_RECORDINGS = tuple(
    f"{person}_{test}"
    for person in ("HA001", "MS001")
    for test in ("Test5_Trial1", "Test5_Trial2", "Test11_Trial1")
)
"""Names of the recordings in walk_lowback_reference."""


def feet_lowback_trials(data: Path) -> list[str]:
    """Return the names of the trials in walk_feet_lowback_events."""
    return sorted(p.stem for p in (data / "walk_feet_lowback_events").glob("*.npz"))


def stillest(sensor: SensorArrays, window_s: float = 0.5) -> tuple[float, float]:
    """Norm of the mean specific force, and mean rate, of the window that varies least."""
    n = round(window_s * sensor.rate_hz)
    spread = pd.DataFrame(sensor.accel_mps2).rolling(n).std().sum(axis=1, skipna=False)
    end = int(np.nanargmin(spread.to_numpy())) + 1
    force_mps2 = np.linalg.norm(sensor.accel_mps2[end - n : end].mean(axis=0))
    rate_radps = np.linalg.norm(sensor.gyro_radps[end - n : end].mean(axis=0))
    return float(force_mps2), float(rate_radps)


def every_sensor(source: ArraySource) -> list[tuple[str, SensorArrays]]:
    """Return each sensor with a name that says which it is."""
    return [(f"{source.name} {s.placement}", s) for s in source.sensors]
