"""A recorded session with two jumps, made once, whose packets come with jitter of the radio."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from imujump.model import TakeOffStyle
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import SensorErrors, SimulatedRecording, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.truth import TrueEvent, events

RATE_HZ = 200.0


@cache
def session_motion() -> tuple[Motion, np.random.Generator]:
    """One- and two-foot jump, 20 s, and the generator that drew them."""
    generator = np.random.default_rng(2024)
    jumps = [
        ApproachJump(style=style, steps=5, stand_before_s=2.0, stand_after_s=1.5, seed=n)
        for n, style in enumerate((TakeOffStyle.ONE_FOOT, TakeOffStyle.TWO_FOOT), 1)
    ]
    return compose([Stand(1.0), *jumps, Stand(0.5)], generator), generator


@cache
def session(packet_samples: int = 10) -> tuple[SimulatedRecording, tuple[TrueEvent, ...]]:
    """The motion at 200 Hz in packets of so many samples, and its true foot events."""
    motion, drawn = session_motion()
    generator = deepcopy(drawn)
    # Delay and jitter as measured on emulated links of 7.5 to 15 ms connection interval.
    errors = replace(SensorErrors(), latency_s=0.008, jitter_s=0.003)
    recording = record(
        motion, generator, rate_hz=RATE_HZ, errors=errors, packet_samples=packet_samples
    )
    return recording, tuple(events(motion))


def write_session(path: Path, packet_samples: int = 10) -> Path:
    """Save the session as sensors would have sent it, in 16 bits."""
    recording, _ = session(packet_samples)
    profile = compact_profile(RATE_HZ, accel_range_g=32.0)
    save_recording(recording, path, {s.placement: profile for s in recording.info.sensors})
    return path
