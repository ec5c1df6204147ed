"""What makes a recording doubtful is said, and nothing is said of a sound one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from imujump.model import Analysis, EventKind, GaitEvent, Placement, SensorReport, Side
from imujump.sessions.records import Task
from imujump.sessions.remarks import remarks
from tests.analyses import known, one_foot_attempt, two_foot_attempt
from tests.sessions.invented import at, three_jumps

SOUND = tuple(SensorReport(placement, 200.0, 0.02, 0) for placement in Placement)


def sound(*attempts, warnings=()) -> Analysis:
    return Analysis(None, 60.0, SOUND, warnings, attempts)


def strikes(sigma_s: float, side: Side) -> tuple[GaitEvent, ...]:
    return tuple(GaitEvent(EventKind.FOOT_STRIKE, side, float(n), sigma_s) for n in range(4))


def test_a_sound_recording_gives_the_number_of_jumps_only():
    one = replace(one_foot_attempt(), events=strikes(0.006, Side.LEFT))
    assert remarks(sound(one), Task.ONE_FOOT) == ("1 jump was found.",)
    assert remarks(sound(one, at(one, 2, 90.0)), None) == ("2 jumps were found.",)


def test_no_jump_and_jumps_that_are_not_valid_are_told():
    assert remarks(sound(), Task.ONE_FOOT) == ("No jump was found.",)
    told = remarks(replace(three_jumps(), sensors=SOUND), None)
    assert told == (
        "3 jumps were found.",
        "Jump 3 is not valid: no flight followed the plant.",
    )


def test_the_analysis_own_warnings_stand_there():
    swapped = "left and right shank sensors seem to be swapped; swap them back."
    assert remarks(sound(one_foot_attempt(), warnings=(swapped,)), None)[1].startswith("Left and")


def test_missing_sensors_gaps_and_clipping_are_told():
    sensors = (
        SensorReport(Placement.LEFT_SHANK, 200.0, 1.26, 0),
        SensorReport(Placement.PELVIS, 200.0, 0.0, 17),
    )
    told = remarks(replace(sound(one_foot_attempt()), sensors=sensors), None)
    assert told[1:] == (
        "Left shank: 1.3 of 60.0 s are missing.",
        "Right shank: no sensor.",
        "Pelvis: 17 samples are at the end of the sensor's range.",
    )


@pytest.mark.parametrize(("sigma_s", "rate_hz", "loose"), [(0.012, 200.0, 1), (0.012, 60.0, 0)])
def test_a_strap_that_rings_is_told_where_the_rate_can_tell(sigma_s, rate_hz, loose):
    attempt = replace(one_foot_attempt(), events=strikes(sigma_s, Side.RIGHT))
    sensors = tuple(replace(sensor, rate_hz=rate_hz) for sensor in SOUND)
    told = remarks(replace(sound(attempt), sensors=sensors), None)
    assert len(told) == 1 + loose
    if loose:
        assert told[1].startswith("Right shank: the sensor shakes")


def test_another_take_off_than_asked_is_told():
    two = at(two_foot_attempt(), 2, 90.0)
    assert remarks(sound(one_foot_attempt(), two), Task.ONE_FOOT)[1:] == (
        "1 jump was from two feet, where a one-foot jump was asked.",
    )
    told = remarks(sound(one_foot_attempt(), two), Task.STANDING)
    assert told[1:] == (
        "1 jump was from one foot, where a standing jump was asked.",
        "2 jumps had a run-up, where a standing jump was asked.",
    )
    slow = {**two.metrics, "approach_speed_mps": known(0.4, 0.1)}
    assert len(remarks(sound(replace(two, metrics=slow)), Task.STANDING)) == 1
