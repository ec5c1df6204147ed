"""Short forms of the long runs: over the air in two processes, and a long recording."""

from __future__ import annotations

import asyncio
import sys

import pytest

from imujump.model import Placement
from tests.capture_runs import long_recording, over_the_air


def test_over_the_air_in_short(tmp_path):
    found = asyncio.run(
        over_the_air.run(tmp_path, minutes=0.2, rate_hz=200.0, drops=1, seed=5, longest_s=2.0)
    )
    assert set(found.sensors) == set(Placement)
    for sensor in found.sensors.values():
        assert sensor.samples > 1500
        assert sensor.unexplained_samples == 0
        assert sensor.doubled_samples == 0
        assert sensor.gap_packets == 0
    assert sum(sensor.reconnects for sensor in found.sensors.values()) == 1
    assert sum(sensor.recovered_packets for sensor in found.sensors.values()) > 10
    assert found.reconnect_max_s is not None


@pytest.mark.skipif(sys.platform != "linux", reason="resident memory is read from /proc")
def test_a_long_recording_in_short(tmp_path):
    found = long_recording.run(tmp_path, hours=0.1, rate_hz=400.0, speed=1e9)
    assert found.packets == 3 * 6 * 60 * 40
    assert found.lost == 0
