"""A jump replayed over the emulated air: the same live, from the file made, and from its source."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from imujump import contract
from imujump.capture.emulated.rig import emulated_sensors
from imujump.capture.link_state import Timings
from imujump.live import LiveSession, Snapshot
from imujump.model import Analysis, Placement, TakeOffStyle
from imujump.pipeline.engine import analyse
from imujump.recording.files import open_recording
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import SensorErrors, record
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose

from .captured import all_linked, crew_of

RATE_HZ = 200.0
SKEWS_PPM = {Placement.LEFT_SHANK: 40.0, Placement.RIGHT_SHANK: -40.0, Placement.PELVIS: 7.0}

CLOCK_S = 0.003
"""Sensor-to-sensor clock error that capture promises at the 95th percentile."""

EVENT_S = CLOCK_S + 0.002
"""An event is told by a shank, and refined by the pelvis: one clock error; and two fifths of a
sample period for weights that the error shifts (own choice)."""

SPEED_MPS = 10.0 * CLOCK_S + 0.02
"""The pelvis loses speed at up to 10 m/s² during the plant, so reading it a clock error off costs
this much; and half of the approach speed's usual sigma for weights shifted (own choice)."""

QUIET = 0.1
"""Share of the usual noise: emulated sensors hold a recording's first sample until all of them have
started, and its noise is then taken for bias. A usual one, 1 mrad/s, makes 0.1 m/s in a run-up."""


def write_source(path: Path) -> Path:
    """One jump of sensors that share one perfect clock, saved in 16 bits."""
    jump = ApproachJump(
        style=TakeOffStyle.ONE_FOOT, steps=5, stand_before_s=2.0, stand_after_s=1.5, seed=1
    )
    generator = np.random.default_rng(7)
    motion = compose([Stand(1.0), jump, Stand(0.5)], generator)
    usual = SensorErrors()
    errors = replace(
        usual,
        clock_skew_ppm=0.0,
        clock_offset_s=0.0,
        latency_s=0.0,
        jitter_s=0.0,
        accel_noise_mps2_per_rthz=QUIET * usual.accel_noise_mps2_per_rthz,
        gyro_noise_radps_per_rthz=QUIET * usual.gyro_noise_radps_per_rthz,
    )
    recording = record(motion, generator, rate_hz=RATE_HZ, errors=errors)
    profile = compact_profile(RATE_HZ, accel_range_g=32.0)
    save_recording(recording, path, {s.placement: profile for s in recording.info.sensors})
    return path


async def captured(source: Path, made: Path, length_s: float) -> tuple[Analysis, Snapshot]:
    """Capture sensors that play the source, with a recorder and the live analysis."""
    async with emulated_sensors(
        source, interval_s=0.0075, skew_ppm=SKEWS_PPM, jitter_s=3e-4
    ) as rig:
        crew: Any = crew_of(rig, timings=Timings())

        async def direct() -> None:
            await all_linked(crew)
            await asyncio.sleep(length_s + 1.0)
            crew.end()

        async with crew:
            directing = asyncio.create_task(direct())
            with RecordingKeeper(made, crew.recorded_sensors) as keeper:
                async with LiveSession(crew, keeper, now_s=crew.clock.now_s) as live:
                    analysis = await live.follow()
            await directing
    return analysis, live.snapshot()


def test_a_jump_over_the_air_is_the_jump_that_was_replayed(tmp_path):
    source = write_source(tmp_path / "source.imujump")
    truth = analyse(open_recording(source))
    made = tmp_path / "made.imujump"
    live, snapshot = asyncio.run(captured(source, made, truth.duration_s))
    offline = analyse(open_recording(made))

    assert contract.line(live, "made") == contract.line(offline, "made")
    assert snapshot.attempts == offline.attempts
    assert sum(state.lost for state in snapshot.sensors) == 0

    (of_source,), (of_air,) = truth.attempts, offline.attempts
    assert (of_air.take_off_style, of_air.take_off_side, of_air.valid) == (
        of_source.take_off_style,
        of_source.take_off_side,
        of_source.valid,
    )
    assert [(e.kind, e.side) for e in of_air.events] == [(e.kind, e.side) for e in of_source.events]
    shift_s = np.array(
        [a.time_s - b.time_s for a, b in zip(of_air.events, of_source.events, strict=True)]
    )
    # On a busy computer the sensors' clocks are told less surely; sigma has its part of that.
    sigma_s = np.array([event.sigma_s for event in of_air.events])
    off_s = np.abs(shift_s - np.median(shift_s))
    assert np.median(off_s) < EVENT_S
    assert (off_s < EVENT_S + 2.0 * sigma_s).all()
    for name, told in of_source.metrics.items():
        again = of_air.metrics[name]
        if told.value is None or again.value is None or again.sigma is None:
            assert (told.value, again.value) == (None, None), name
        elif name.endswith("_mps"):
            assert abs(again.value - told.value) < SPEED_MPS + 2.0 * again.sigma, name
        elif name.endswith("_s"):
            # Between two events.
            assert abs(again.value - told.value) < 2.0 * (EVENT_S + again.sigma), name
