"""A long recording made in memory: standing, walking and approach jumps, again and again.

Two minutes are simulated once and served repeatedly, so that the recording's length costs no
memory and the measured memory is that of the analysis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import (
    FloatArray,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
    TakeOffStyle,
)
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import SensorErrors, record
from imujump.simulate.movements import Fidget, Stand, TurnAround, Walk
from imujump.simulate.session import Block, compose

RATE_HZ = 200.0
BLOCK_S = 120.0
BLOCK_SAMPLES = round(BLOCK_S * RATE_HZ)
PACKET_SAMPLES = 20
SEED = 20260314

ERRORS = replace(
    SensorErrors(), clock_skew_ppm=0.0, clock_offset_s=0.0, gyro_drift_radps_per_rts=0.0
)
"""Imperfect sensors whose clocks and biases are steady, so that repeats join without a step."""

Signals = dict[Placement, tuple[FloatArray, FloatArray]]
"""Specific force and angular rate (n, 3) of each sensor, in sensor axes."""


def training_block() -> Signals:
    """Simulate two minutes: a one-foot and a two-foot jump, walking back, standing about.

    That is 60 jumps an hour; 36 to 62 were counted in youth volleyball (Bahr 2014,
    doi 10.1136/bjsports-2014-093593).
    """
    movements: list[Block | ApproachJump] = [
        Stand(4.0),
        ApproachJump(),
        TurnAround(),
        Walk(12.0),
        Fidget(20.0),
        Stand(4.0),
        ApproachJump(style=TakeOffStyle.TWO_FOOT),
        TurnAround(),
        Walk(12.0),
        Fidget(20.0),
    ]
    rest_s = BLOCK_S + 1.0 - compose(movements, np.random.default_rng(SEED)).duration_s
    motion = compose([*movements, Stand(rest_s)], np.random.default_rng(SEED))
    recording = record(motion, np.random.default_rng(SEED), rate_hz=RATE_HZ, errors=ERRORS)
    block: Signals = {}
    for place in Placement:
        packets = [packet for packet in recording.batches() if packet.placement is place]
        accel = np.concatenate([packet.accel_mps2 for packet in packets])[:BLOCK_SAMPLES]
        rate = np.concatenate([packet.gyro_radps for packet in packets])[:BLOCK_SAMPLES]
        block[place] = np.ascontiguousarray(accel), np.ascontiguousarray(rate)
    return block


@dataclass(frozen=True)
class RepeatedBlock:
    """Serves two minutes of three sensors on one clock, again and again.

    A :class:`imujump.model.SampleSource`.
    """

    block: Signals
    repeats: int

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording."""
        return RecordingInfo(
            tuple(
                SensorInfo(
                    place,
                    str(place),
                    RATE_HZ,
                    1.0 / RATE_HZ,
                    ERRORS.accel_range_mps2,
                    ERRORS.gyro_range_radps,
                )
                for place in Placement
            )
        )

    def batches(self) -> Iterator[SampleBatch]:
        """Yield batches of 0.1 s, as packets come from a radio, the three sensors in turn."""
        for repeat in range(self.repeats):
            for first in range(0, BLOCK_SAMPLES, PACKET_SAMPLES):
                rows = slice(first, first + PACKET_SAMPLES)
                index = repeat * BLOCK_SAMPLES + first
                ticks = np.arange(index, index + PACKET_SAMPLES, dtype=np.int64)
                arrival_s = (index + PACKET_SAMPLES) / RATE_HZ
                for place, (accel, rate) in self.block.items():
                    yield SampleBatch(place, index, ticks, arrival_s, accel[rows], rate[rows])

    def channels(self) -> FloatArray:
        """Give all channels as one array (n, 18)."""
        block = np.hstack([np.hstack(self.block[place]) for place in Placement])
        return np.tile(block, (self.repeats, 1))
