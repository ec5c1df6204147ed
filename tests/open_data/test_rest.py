"""Does every sensor that comes to rest read gravity and no rate?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2

from . import jumping, walking
from .rest import LOW_BACK_RECORDINGS, every_sensor, stillest


@pytest.mark.requires_shared("cmj_pelvis_imu", "cmj_phone_forceplate")
@pytest.mark.requires_shared("walk_foot_mocap", "walk_lowback_reference")
def test_at_rest_reads_gravity_and_no_rate(shared_data: Path) -> None:
    sources = [
        jumping.cmj_pelvis_imu(shared_data)[0],
        jumping.cmj_phone_forceplate(shared_data)[0],
        walking.walk_foot_mocap(shared_data)[0],
        *(walking.walk_lowback_reference(shared_data, n)[0] for n in LOW_BACK_RECORDINGS),
    ]
    for name, sensor in (pair for source in sources for pair in every_sensor(source)):
        force_mps2, rate_radps = stillest(sensor)
        # 1 %: usual scale and offset tolerance of a calibrated accelerometer; gravity on
        # Earth spans 9.780 to 9.832 m/s².
        assert force_mps2 == pytest.approx(STANDARD_GRAVITY_MPS2, rel=0.01), name
        # Standing sways at up to some 0.3 rad/s; degrees read as radians would show 57 times that.
        assert rate_radps < 0.3, name
        fastest = float(np.abs(sensor.gyro_radps).max())
        assert 0.5 < fastest < np.radians(2000), name
