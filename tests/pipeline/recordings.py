"""Simulated recordings that several pipeline tests share, and ways to spoil them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from imujump.model import (
    FloatArray,
    IntArray,
    Placement,
    RecordingInfo,
    SampleBatch,
    Side,
    TakeOffStyle,
)
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import Gap, SensorErrors, SimulatedRecording, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.truth import JumpTruth, jump_truth

ONE_FOOT = ApproachJump(landing="right", irregularity_ratio=0.03, seed=5)
TWO_FOOT = ApproachJump(
    style=TakeOffStyle.TWO_FOOT,
    side=Side.RIGHT,
    approach_speed_mps=3.6,
    last_step_ratio=1.2,
    lowering_m=0.20,
    turn_rad=0.6,
    irregularity_ratio=0.03,
    seed=6,
)

SHARED_CLOCK = replace(SensorErrors(), clock_skew_ppm=0.0, clock_offset_s=0.0)
"""Imperfect sensors that sample at the same instants."""

Arrays = tuple[IntArray, FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Packets:
    """A recording as a list of packets: the plainest source there is."""

    info: RecordingInfo
    packets: tuple[SampleBatch, ...]

    def batches(self) -> Iterator[SampleBatch]:
        """Yield the packets as they stand."""
        yield from self.packets


@cache
def motion_of(jump: ApproachJump, before_s: float = 0.5, after_s: float = 0.5) -> Motion:
    """One approach jump with standing before and after."""
    return compose([Stand(before_s), jump, Stand(after_s)], np.random.default_rng(3))


def truth_of(motion: Motion) -> JumpTruth:
    """What is true of the only jump."""
    (mark,) = motion.jumps
    return jump_truth(motion, mark)


@cache
def recorded(
    jump: ApproachJump = ONE_FOOT,
    *,
    before_s: float = 0.5,
    after_s: float = 0.5,
    rate_hz: float = 200.0,
    errors: SensorErrors = SHARED_CLOCK,
    gaps: tuple[Gap, ...] = (),
    legs_swapped: bool = False,
    packet_samples: int = 10,
    seed: int = 11,
    placements: tuple[Placement, ...] = tuple(Placement),
) -> SimulatedRecording:
    """One approach jump, worn and recorded."""
    return record(
        motion_of(jump, before_s, after_s),
        np.random.default_rng(seed),
        rate_hz=rate_hz,
        errors=errors,
        gaps=gaps,
        legs_swapped=legs_swapped,
        packet_samples=packet_samples,
        placements=placements,
    )


def streams(recording: SimulatedRecording | Packets) -> dict[Placement, list[SampleBatch]]:
    """Packets of each sensor that is in the head, in order."""
    found: dict[Placement, list[SampleBatch]] = {s.placement: [] for s in recording.info.sensors}
    for packet in recording.batches():
        found[packet.placement].append(packet)
    return found


def changed(
    recording: SimulatedRecording | Packets,
    change: Callable[[Placement, Arrays], Arrays | None],
) -> Packets:
    """Change each sensor's whole arrays (ticks, accel, gyro); ``None`` leaves it silent.

    Packets keep their borders and arrivals, so the number of samples must stay.
    """
    packets = []
    for placement, own in streams(recording).items():
        whole = (
            np.concatenate([b.ticks for b in own]),
            np.concatenate([b.accel_mps2 for b in own]),
            np.concatenate([b.gyro_radps for b in own]),
        )
        new = change(placement, (whole[0].copy(), whole[1].copy(), whole[2].copy()))
        if new is None:
            continue
        at = 0
        for b in own:
            rows = slice(at, at + len(b.ticks))
            at = rows.stop
            packets.append(
                replace(b, ticks=new[0][rows], accel_mps2=new[1][rows], gyro_radps=new[2][rows])
            )
    packets.sort(key=lambda b: b.arrival_s)
    return Packets(recording.info, tuple(packets))


def only(recording: SimulatedRecording | Packets, placements: Sequence[Placement]) -> Packets:
    """Leave out the other sensors, head and packets."""
    return Packets(
        replace(
            recording.info,
            sensors=tuple(s for s in recording.info.sensors if s.placement in placements),
        ),
        tuple(b for b in recording.batches() if b.placement in placements),
    )


def turned(
    recording: SimulatedRecording | Packets, turns: Mapping[Placement, FloatArray]
) -> Packets:
    """Turn sensors on the body: ``turns`` (3, 3) take old sensor axes to new."""

    def turn(placement: Placement, arrays: Arrays) -> Arrays:
        ticks, accel, gyro = arrays
        rot = turns.get(placement)
        if rot is None:
            return arrays
        return ticks, np.ascontiguousarray(accel @ rot.T), np.ascontiguousarray(gyro @ rot.T)

    return changed(recording, turn)
