"""The whole analysis on recordings of people that were not made for this tool.

No jump may be invented in walking, running or daily tasks; the jumps that are there must
be found as far as the sensors worn can tell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from imujump.errors import ImuJumpError
from imujump.model import Analysis, Attempt, Placement, SampleSource

from . import jumping, running, walking
from .array_source import ArraySource
from .rest import LOW_BACK_RECORDINGS, feet_lowback_trials

Analyse = Callable[[SampleSource], Analysis]


@pytest.fixture(scope="module")
def analyse() -> Analyse:
    # Imported here, so that a broken pipeline fails these tests and not the collection.
    from imujump.pipeline.engine import analyse

    return analyse


def valid_attempts(analysis: Analysis) -> list[Attempt]:
    return [a for a in analysis.attempts if a.valid]


def assert_nothing_invented(analyse: Analyse, sources: Iterable[ArraySource]) -> None:
    invented = {}
    for source in sources:
        analysis = analyse(source)
        end_s = max(float(source.time_s(s.placement)[-1]) for s in source.sensors)
        # Analysed to the end, not given up: within one second of the last sample.
        assert analysis.duration_s == pytest.approx(end_s, abs=1.0), source.name
        found = [(round(a.start_s, 2), round(a.end_s, 2)) for a in valid_attempts(analysis)]
        if found:
            invented[source.name] = found
    assert invented == {}


@pytest.mark.requires_shared("walk_pelvis_shanks_vicon")
@pytest.mark.parametrize("shank", ["LowLeg", "LowLeg2"])
def test_no_jump_in_a_walk_with_all_three_sensors(
    shared_data: Path, analyse: Analyse, shank: str
) -> None:
    source, _ = walking.walk_pelvis_shanks_vicon(shared_data, shank)
    left, right, pelvis = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS
    fewer = ((pelvis,), (left, pelvis), (right, pelvis), (left, right), (left,))
    assert_nothing_invented(analyse, [source, *(source.only(*worn) for worn in fewer)])


@pytest.mark.requires_shared("walk_lowback_reference")
@pytest.mark.parametrize("name", LOW_BACK_RECORDINGS)
def test_no_jump_in_walks_and_daily_tasks(shared_data: Path, analyse: Analyse, name: str) -> None:
    assert_nothing_invented(analyse, [walking.walk_lowback_reference(shared_data, name)[0]])


@pytest.mark.requires_shared("walk_feet_lowback_events")
def test_no_jump_in_walks_with_lost_packets(shared_data: Path, analyse: Analyse) -> None:
    assert_nothing_invented(
        analyse,
        (
            walking.walk_feet_lowback_events(shared_data, trial)[0]
            for trial in feet_lowback_trials(shared_data)
        ),
    )


@pytest.mark.requires_shared("walk_feet_lowback_events")
def test_lost_packets_are_told(shared_data: Path, analyse: Analyse) -> None:
    source, _ = walking.walk_feet_lowback_events(shared_data, "10-3")
    analysis = analyse(source)
    assert {r.placement for r in analysis.sensors} == {s.placement for s in source.sensors}
    for report in analysis.sensors:
        ticks = source.sensor(report.placement).ticks
        lost_s = float(ticks[-1] - ticks[0] + 1 - len(ticks)) / 100.0
        assert lost_s > 4.0
        # Streams end up to 0.3 s apart; whether that counts as missing is left open.
        assert lost_s - 0.1 <= report.missing_s <= lost_s + 0.5


@pytest.mark.requires_shared("walk_foot_mocap")
def test_no_jump_in_a_walk_without_pelvis(shared_data: Path, analyse: Analyse) -> None:
    assert_nothing_invented(analyse, [walking.walk_foot_mocap(shared_data)[0]])


@pytest.mark.requires_shared("overground_run_markers_grf")
def test_no_jump_in_a_running_pass(shared_data: Path, analyse: Analyse) -> None:
    assert_nothing_invented(analyse, [running.overground_run_markers_grf(shared_data)[0]])


def refused_or_without_jump(analyse: Analyse, source: ArraySource) -> None:
    """Either one clear sentence, or an analysis with a warning and no valid attempt."""
    try:
        analysis = analyse(source)
    except ImuJumpError as refusal:
        sentence = str(refusal)
    else:
        assert valid_attempts(analysis) == []
        assert analysis.warnings, source.name
        sentence = " ".join(analysis.warnings)
    assert "\n" not in sentence
    assert "gyro" in sentence.lower() or "angular rate" in sentence.lower(), sentence


@pytest.mark.requires_shared("outdoor_run_hip_ankle")
def test_run_without_gyroscope(shared_data: Path, analyse: Analyse) -> None:
    refused_or_without_jump(analyse, running.outdoor_run_hip_ankle(shared_data)[0])


@pytest.mark.requires_shared("treadmill_run_sacrum_grf")
@pytest.mark.parametrize("trial", [0, 2, 17, 30])
def test_run_with_two_accelerometer_axes(shared_data: Path, analyse: Analyse, trial: int) -> None:
    refused_or_without_jump(analyse, running.treadmill_run_sacrum_grf(shared_data, trial)[0])


@pytest.fixture(scope="module")
def belt_jump(shared_data: Path, analyse: Analyse) -> Analysis:
    return analyse(jumping.cmj_pelvis_imu(shared_data)[0])


@pytest.mark.requires_shared("cmj_pelvis_imu")
class TestOneJumpWithABeltSensor:
    """98 s: unit put on, quiet standing, one jump, walking, unit taken off."""

    def test_is_found_once(self, belt_jump: Analysis, shared_data: Path) -> None:
        _, truth = jumping.cmj_pelvis_imu(shared_data)
        found = valid_attempts(belt_jump)
        assert len(found) == 1, [(a.start_s, a.end_s) for a in found]
        assert found[0].start_s < truth.take_off_s < truth.landing_s < found[0].end_s

    def test_flight_time(self, belt_jump: Analysis, shared_data: Path) -> None:
        _, truth = jumping.cmj_pelvis_imu(shared_data)
        flight = valid_attempts(belt_jump)[0].metrics["flight_s"]
        assert flight.value is not None, flight.reason
        # Two instants by eye, 30 ms each: √2·30 ms = 42 ms.
        assert flight.value == pytest.approx(truth.flight_s, abs=0.040)

    def test_instants(self, belt_jump: Analysis, shared_data: Path) -> None:
        _, truth = jumping.cmj_pelvis_imu(shared_data)
        attempt = valid_attempts(belt_jump)[0]
        # Two sigma of an instant by eye.
        assert attempt.toe_off_s == pytest.approx(truth.take_off_s, abs=0.060)
        assert attempt.landing_s == pytest.approx(truth.landing_s, abs=0.060)

    def test_says_what_a_pelvis_cannot_tell(self, belt_jump: Analysis) -> None:
        attempt = valid_attempts(belt_jump)[0]
        for name in ("plant_shank_angle_rad", "free_leg_peak_radps", "landing_peak_left_mps2"):
            estimate = attempt.metrics[name]
            assert estimate.value is None
            assert estimate.reason


@pytest.mark.requires_shared("cmj_phone_forceplate")
def test_jump_with_a_phone_at_the_chest(
    shared_data: Path, analyse: Analyse, record_property: Callable[[str, object], None]
) -> None:
    # The phone swings in the hands after take-off and lands 60 ms after the feet: what is
    # found is reported, not judged. The analysis must end, and may not split the jump.
    source, truth = jumping.cmj_phone_forceplate(shared_data)
    analysis = analyse(source)
    found = valid_attempts(analysis)
    record_property("valid_attempts", len(found))
    record_property("true_flight_s", truth.flight_s)
    for attempt in found:
        flight = attempt.metrics["flight_s"]
        record_property("flight_s", flight.value)
        record_property("flight_sigma_s", flight.sigma)
    assert analysis.duration_s == pytest.approx(599 / 128.0, abs=0.1)
    assert len(found) <= 1
