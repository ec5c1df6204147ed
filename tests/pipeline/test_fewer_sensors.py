"""Fewer sensors, other rates and ranges: what can be measured is, the rest says why not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Analysis, Placement
from imujump.pipeline.engine import analyse
from imujump.simulate.athlete import ApproachJump

from .comparing import against_truth, assert_complete, only_attempt
from .recordings import (
    ONE_FOOT,
    SHARED_CLOCK,
    TWO_FOOT,
    Packets,
    motion_of,
    only,
    recorded,
    truth_of,
)

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS

JUMPS = pytest.mark.parametrize("jump", [ONE_FOOT, TWO_FOOT], ids=["one_foot", "two_foot"])

MOST_SIGMAS = 4.0

SURELY = {
    (LEFT, RIGHT, PELVIS): {
        "approach_speed_mps",
        "peak_speed_mps",
        "plant_speed_mps",
        "take_off_speed_mps",
        "speed_loss_mps",
        "last_step_m",
        "penultimate_step_m",
        "last_step_ratio",
        "last_step_s",
        "penultimate_step_s",
        "penultimate_contact_s",
        "lowering_m",
        "plant_lowering_m",
        "plant_sink_m",
        "take_off_contact_s",
        "plant_shank_angle_rad",
        "pelvis_tilt_rad",
        "turn_rad",
        "flight_s",
        "height_flight_m",
        "take_off_vertical_mps",
        "height_velocity_m",
        "pelvis_rise_m",
        "reactive_ratio",
    },
    (LEFT, RIGHT): {
        "last_step_m",
        "penultimate_step_m",
        "last_step_ratio",
        "last_step_s",
        "penultimate_step_s",
        "penultimate_contact_s",
        "take_off_contact_s",
        "plant_shank_angle_rad",
        "flight_s",
        "height_flight_m",
        "reactive_ratio",
    },
    (LEFT, PELVIS): {
        "take_off_speed_mps",
        "lowering_m",
        "flight_s",
        "height_flight_m",
        "take_off_vertical_mps",
        "height_velocity_m",
        "pelvis_rise_m",
    },
}
SURELY[RIGHT, PELVIS] = SURELY[LEFT, PELVIS]
SURELY[(PELVIS,)] = SURELY[LEFT, PELVIS]
"""What sensors at these places must give for a jump seen whole."""


def assert_true(analysis: Analysis, jump: ApproachJump, worn: tuple[Placement, ...]) -> None:
    attempt, truth = only_attempt(analysis), truth_of(motion_of(jump))
    assert_complete(attempt)
    given = {name for name, e in attempt.metrics.items() if e.value is not None}
    assert SURELY[worn] <= given, SURELY[worn] - given
    assert truth.mark.toe_off_s == pytest.approx(attempt.toe_off_s, abs=0.03)
    assert truth.mark.landing_s == pytest.approx(attempt.landing_s, abs=0.06)
    far = {
        name: round(sigmas, 1)
        for name, sigmas in against_truth(attempt, truth.metrics).items()
        if abs(sigmas) > MOST_SIGMAS
    }
    assert far == {}


@pytest.mark.parametrize(
    ("jump", "rate_hz", "range_g"),
    [
        *((ONE_FOOT, rate_hz, 32.0) for rate_hz in (100.0, 200.0, 400.0)),
        *((TWO_FOOT, rate_hz, 32.0) for rate_hz in (100.0, 200.0, 400.0)),
        (ONE_FOOT, 200.0, 16.0),
        (TWO_FOOT, 100.0, 16.0),
    ],
)
def test_rates_and_ranges(jump: ApproachJump, rate_hz: float, range_g: float) -> None:
    errors = replace(SHARED_CLOCK, accel_range_mps2=range_g * STANDARD_GRAVITY_MPS2)
    analysis = analyse(recorded(jump, rate_hz=rate_hz, errors=errors))
    assert analysis.warnings == ()
    attempt = only_attempt(analysis)
    assert attempt.take_off_style is jump.style
    assert attempt.take_off_side is jump.side
    assert len(attempt.steps) == jump.steps - 1
    assert_true(analysis, jump, tuple(Placement))


@JUMPS
@pytest.mark.parametrize(
    "worn", [(LEFT, PELVIS), (RIGHT, PELVIS), (LEFT, RIGHT), (PELVIS,)], ids=str
)
def test_fewer_sensors(jump: ApproachJump, worn: tuple[Placement, ...]) -> None:
    analysis = analyse(only(recorded(jump), worn))
    attempt = only_attempt(analysis)
    if len(worn) == 2 and PELVIS not in worn:
        assert attempt.take_off_style is jump.style
        assert attempt.take_off_side is jump.side
    if worn == (PELVIS,):
        assert attempt.take_off_style is None
        assert attempt.take_off_side is None
        assert attempt.events == ()
    assert_true(analysis, jump, worn)


def test_input_is_never_changed() -> None:
    """Neither the caller's arrays nor what they are views of; read-only arrays are taken too."""
    recording = recorded(ONE_FOOT, rate_hz=100.0)
    before = [
        (b.ticks.tobytes(), b.accel_mps2.tobytes(), b.gyro_radps.tobytes())
        for b in recording.packets
    ]
    for packet in recording.packets:
        for array in (packet.ticks, packet.accel_mps2, packet.gyro_radps):
            array.flags.writeable = False
    try:
        analyse(Packets(recording.info, recording.packets))
    finally:
        for packet in recording.packets:
            for array in (packet.ticks, packet.accel_mps2, packet.gyro_radps):
                array.flags.writeable = True
    after = [
        (b.ticks.tobytes(), b.accel_mps2.tobytes(), b.gyro_radps.tobytes())
        for b in recording.packets
    ]
    assert before == after


def test_damaged_samples_are_not_mended_in_the_caller_s_arrays() -> None:
    recording = recorded(ONE_FOOT, rate_hz=100.0)
    accel = recording.packets[0].accel_mps2.copy()
    accel[0, 0] = 1e9
    first = replace(recording.packets[0], accel_mps2=accel)
    analyse(Packets(recording.info, (first, *recording.packets[1:])))
    assert accel[0, 0] == 1e9
    assert np.isfinite(accel).all()
