"""What the engine holds follows the attempt at hand, not the recording's length."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from imujump.model import FloatArray, Placement, RecordingInfo, SampleBatch, SensorInfo
from imujump.pipeline import engine as engine_module
from imujump.pipeline.engine import KEEP_S, Engine
from imujump.pipeline.windows import Found
from imujump.simulate.imu import record
from imujump.simulate.movements import Fidget, Stand, TurnAround, Walk
from imujump.simulate.session import compose

from .recordings import SHARED_CLOCK

RATE_HZ = 100.0
PACKET_SAMPLES = 25
ERRORS = replace(SHARED_CLOCK, gyro_drift_radps_per_rts=0.0)

LEFT, PELVIS = Placement.LEFT_SHANK, Placement.PELVIS


@cache
def training() -> dict[Placement, FloatArray]:
    """Half a minute of standing, fidgeting and walking, all channels of each sensor (n, 6)."""
    motion = compose(
        [Stand(5.0), Walk(9.0), TurnAround(), Walk(9.0), Fidget(6.0)], np.random.default_rng(1)
    )
    recording = record(motion, np.random.default_rng(2), rate_hz=RATE_HZ, errors=ERRORS)
    found = {}
    for placement in Placement:
        own = [b for b in recording.batches() if b.placement is placement]
        accel, gyro = (
            np.concatenate([getattr(b, name) for b in own]) for name in ("accel_mps2", "gyro_radps")
        )
        found[placement] = np.concatenate((accel, gyro), axis=1)
    length = min(len(values) for values in found.values()) // PACKET_SAMPLES * PACKET_SAMPLES
    return {placement: values[:length] for placement, values in found.items()}


def most_held(minutes: float, stride_s: float, ends_s: dict[Placement, float]) -> tuple[int, int]:
    """Most samples held at once and most looks, sensors ending when ``ends_s`` says."""
    block = training()
    length = len(block[LEFT])
    info = RecordingInfo(tuple(SensorInfo(p, str(p), RATE_HZ, 1.0 / RATE_HZ) for p in Placement))
    engine = Engine(info, stride_s=stride_s)
    samples = looks = 0
    for index in range(0, round(minutes * 60.0 * RATE_HZ), PACKET_SAMPLES):
        first = index % length
        ticks = np.arange(index, index + PACKET_SAMPLES, dtype=np.int64)
        arrival_s = (index + PACKET_SAMPLES) / RATE_HZ
        for placement, values in block.items():
            if arrival_s < ends_s.get(placement, np.inf):
                part = values[first : first + PACKET_SAMPLES]
                engine.push(
                    SampleBatch(placement, index, ticks, arrival_s, part[:, :3], part[:, 3:])
                )
        engine.advance(arrival_s)
        samples = max(samples, engine.samples_held)
        looks = max(looks, engine.looks_held)
    analysis = engine.finish()
    assert analysis.duration_s == pytest.approx(minutes * 60.0, abs=0.1)
    return samples, looks


@pytest.mark.parametrize(
    ("stride_s", "ends_s"),
    [
        (0.0, {}),
        (5.0, {}),
        (0.0, {LEFT: 3.0}),
        (5.0, {LEFT: 70.0}),
        (5.0, {LEFT: 0.0}),
        (5.0, {PELVIS: 10.0}),
    ],
    ids=["live", "offline", "lost at once", "lost later", "silent", "pelvis lost"],
)
def test_memory_is_flat(
    stride_s: float, ends_s: dict[Placement, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Windows are opened and closed as ever; what is found in them is not at issue here.
    monkeypatch.setattr(engine_module, "analyse_span", lambda *_: Found((), ()))
    short, long = (most_held(minutes, stride_s, ends_s) for minutes in (1.6, 4.0))
    # Kept seconds, what comes in between two rounds of work, what may still come late.
    limit = 3 * RATE_HZ * (KEEP_S + 3.0 * stride_s + 5.0)
    assert short[0] <= limit
    assert long[0] <= 1.02 * short[0]
    assert long[1] <= 1.05 * short[1]


def test_buffers_shrink_to_what_is_held() -> None:
    """Room for samples is at most a fixed multiple of what may be held."""
    from imujump.pipeline.streams import SensorStream

    stream = SensorStream(SensorInfo(LEFT, "L", RATE_HZ, 1.0 / RATE_HZ))
    for index in range(0, 60_000, 50):
        ticks = np.arange(index, index + 50, dtype=np.int64)
        flat = np.zeros((50, 3))
        stream.append(SampleBatch(LEFT, index, ticks, index / RATE_HZ, flat, flat))
        stream.settle()
        stream.drop_before(index / RATE_HZ - KEEP_S)
    assert len(stream) == pytest.approx(KEEP_S * RATE_HZ, abs=51)
    assert stream.capacity <= 2.1 * (KEEP_S * RATE_HZ + 50)
