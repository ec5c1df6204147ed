"""The in-memory source: batches interleave, keep gaps and lose nothing."""

from __future__ import annotations

import numpy as np
import pytest

from imujump.model import Placement, RecordingInfo, SensorInfo
from imujump.recording.memory import MemorySource, from_arrays

INFO = RecordingInfo(
    sensors=(
        SensorInfo(Placement.LEFT_SHANK, "L", 200.0, 0.005),
        SensorInfo(Placement.PELVIS, "P", 100.0, 0.001),
    )
)


def channels(time, seed):
    rng = np.random.default_rng(seed)
    return time, rng.normal(size=(len(time), 3)), rng.normal(size=(len(time), 3))


def test_all_samples_come_back_in_arrival_order_with_gaps():
    left = channels(np.delete(np.arange(400), slice(100, 160)), 1)
    pelvis = channels(np.arange(200) * 0.01 + 0.003, 2)
    source = from_arrays(INFO, {Placement.LEFT_SHANK: left, Placement.PELVIS: pelvis})
    batches = list(source.batches())
    assert [b.arrival_s for b in batches] == sorted(b.arrival_s for b in batches)
    for placement, ticks, accel, gyro in (
        (Placement.LEFT_SHANK, left[0], *left[1:]),
        (Placement.PELVIS, np.arange(200) * 10 + 3, *pelvis[1:]),
    ):
        own = [b for b in batches if b.placement is placement]
        assert np.array_equal(np.concatenate([b.ticks for b in own]), ticks)
        assert np.array_equal(np.concatenate([b.accel_mps2 for b in own]), accel)
        assert np.array_equal(np.concatenate([b.gyro_radps for b in own]), gyro)
        index = 0
        for batch in own:
            assert batch.first_index == index
            index += len(batch.ticks)
    # 0.1 s at 200 Hz are 20 samples.
    assert {len(b.ticks) for b in batches if b.placement is Placement.LEFT_SHANK} == {20}
    assert list(source.batches()) == batches


def test_empty_and_bad_arrays():
    none = np.empty((0, 3))
    source = from_arrays(INFO, {Placement.PELVIS: (np.empty(0), none, none)})
    assert list(source.batches()) == []
    assert list(MemorySource(INFO, []).batches()) == []
    three = np.zeros((3, 3))
    with pytest.raises(ValueError, match="strictly increasing"):
        from_arrays(INFO, {Placement.PELVIS: (np.array([0, 2, 2]), three, three)})
    with pytest.raises(ValueError, match="gyro has shape"):
        from_arrays(INFO, {Placement.PELVIS: (np.arange(3), three, np.zeros((2, 3)))})
    with pytest.raises(ValueError, match="does not describe"):
        from_arrays(INFO, {Placement.RIGHT_SHANK: (np.arange(3), three, three)})
    with pytest.raises(ValueError, match="batch_s"):
        from_arrays(INFO, {Placement.PELVIS: (np.arange(3), three, three)}, batch_s=0.0)
