"""An invented athlete's three short jumps, for replay and for emulated sensors to wear."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from imujump.model import Side
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import record
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose

HEIGHTS_M = (0.42, 0.36, 0.40)
"""Rise of the three jumps, in the order in which they are made."""

RATE_HZ = 200.0


def write_three_jumps(folder: Path) -> Path:
    """Write the recording, about 25 s long; return its path."""
    generator = np.random.default_rng(7)
    jumps = [
        ApproachJump(
            side=Side.LEFT,
            steps=4,
            approach_speed_mps=3.6,
            take_off_vertical_mps=float(np.sqrt(2.0 * 9.81 * height_m)),
            stand_before_s=1.4,
            stand_after_s=1.4,
            seed=number,
        )
        for number, height_m in enumerate(HEIGHTS_M, 1)
    ]
    recording = record(
        compose([Stand(1.0), *jumps, Stand(1.0)], generator), generator, rate_hz=RATE_HZ
    )
    path = folder / "three_jumps.imujump"
    profile = compact_profile(RATE_HZ, accel_range_g=32.0)
    profiles = {sensor.placement: profile for sensor in recording.info.sensors}
    save_recording(recording, path, profiles)
    return path
