"""Speeds of steps while the athlete runs: near the truth, the same for any cut, none when lost."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from imujump.model import SampleSource
from imujump.pipeline.early import EarlySpeed, EarlySteps
from imujump.pipeline.early_speed import LONGEST_S, HipPath
from imujump.recording.files import open_recording
from imujump.simulate.truth import jump_truths
from tests.conftest import SHARED

from .jumps import session, session_motion
from .test_early import pieces

G = 9.80665
RATE_HZ = 200.0
STAND_S = 2.0
LEAN_S, LEAN_MPS2 = 0.4, 0.3
"""Somebody who sets off slowly still passes for standing: the spread stays below 0.45 m/s²."""

RUN_MPS2 = 3.0


def early_speeds(source: SampleSource, size: int = 0) -> list[EarlySpeed]:
    early, found = EarlySteps(source.info), []
    for batch in source.batches():
        for piece in pieces(batch, size) if size else [batch]:
            early.push(piece)
            early.advance(math.nextafter(piece.arrival_s, -math.inf))
            found += early.new_speeds()
    early.finish()
    return found + early.new_speeds()


def hips(tilt_rad: float, up_mps2: float = 0.0, left_out: tuple[float, float] | None = None):
    """A pelvis sensor worn tilted, whose wearer stands, leans and speeds up; no turning."""
    path = HipPath(RATE_HZ)
    for k in range(round((STAND_S + 8.0) * RATE_HZ)):
        time_s = k / RATE_HZ
        moving = 0.0 if time_s < STAND_S else LEAN_MPS2
        if time_s >= STAND_S + LEAN_S:
            moving = RUN_MPS2
        vertical = G
        if time_s >= STAND_S + LEAN_S:
            # Bouncing three times a second, which leaves the mean where it was.
            vertical += up_mps2 + 4.0 * math.sin(6.0 * math.pi * (time_s - STAND_S - LEAN_S))
        x = math.cos(tilt_rad) * moving + math.sin(tilt_rad) * vertical
        z = -math.sin(tilt_rad) * moving + math.cos(tilt_rad) * vertical
        bias = (0.01, -0.02, 0.005)
        if left_out is None or not left_out[0] < time_s < left_out[1]:
            path.take(time_s, (x, 0.0, z, *bias))
    return path


def true_mean_mps(from_s: float, until_s: float) -> float:
    def way_m(time_s: float) -> float:
        lean_s = min(max(time_s - STAND_S, 0.0), LEAN_S)
        run_s = max(time_s - STAND_S - LEAN_S, 0.0)
        slow_m = 0.5 * LEAN_MPS2 * lean_s**2 + LEAN_MPS2 * lean_s * run_s
        return slow_m + 0.5 * RUN_MPS2 * run_s**2

    return (way_m(until_s) - way_m(from_s)) / (until_s - from_s)


@pytest.mark.parametrize("tilt_rad", [0.0, 0.25])
def test_who_leans_into_the_run_has_not_yet_set_off_in_the_stand(tilt_rad):
    path = hips(tilt_rad)
    for from_s in (2.8, 3.4, 4.4):
        # 3 m/s² for the filter's delay of half a sample: 0.008 m/s.
        found = path.speed_mps(from_s, from_s + 0.3)
        assert found == pytest.approx(true_mean_mps(from_s, from_s + 0.3), abs=0.02)


def test_no_speed_is_better_than_a_wrong_one():
    whole = hips(0.1)
    begin_s = STAND_S + LEAN_S - 0.5
    assert whole.speed_mps(begin_s - 1.0, begin_s - 0.5) is None, "standing"
    assert whole.speed_mps(begin_s + LONGEST_S - 0.5, begin_s + LONGEST_S - 0.2) is not None
    assert whole.speed_mps(begin_s + LONGEST_S, begin_s + LONGEST_S + 0.3) is None, "too long ago"
    clipped = hips(0.1, up_mps2=-1.0)
    assert clipped.speed_mps(STAND_S + 1.0, STAND_S + 1.3) is None, "falls through the floor"
    assert hips(0.1, left_out=(3.0, 3.02)).speed_mps(3.1, 3.4) is not None
    assert hips(0.1, left_out=(3.0, 3.2)).speed_mps(3.3, 3.6) is None, "a gap"


@pytest.mark.parametrize("size", [1, 7])
def test_any_cut_gives_the_same_speeds(size):
    recording, _ = session()
    assert repr(early_speeds(recording, size)) == repr(early_speeds(recording))


def test_a_simulated_athlete():
    recording, motion = session()[0], session_motion()[0]
    steps = [step for jump in jump_truths(motion) for step in jump.steps]
    truth = [(step.start_s, step.strike_s, step.speed_mps) for step in steps]
    judge([told(each) for each in early_speeds(recording)], truth, share=0.6)


@pytest.mark.requires_shared("virtual_recordings")
@pytest.mark.parametrize(
    ("name", "first", "most", "share"),
    [("kinematic", 0, 5, 0.7), ("mocap", 4, 8, 0.3), ("physics", 0, 4, 0.7)],
)
def test_open_recordings(name, first, most, share):
    """Against the mean pelvis speed of the source's own steps; people's early strikes are rarer."""
    files = sorted((SHARED / "data" / "virtual_recordings" / name).rglob("*approach*_motion.tsv"))
    found, truth = [], []
    for number, path in enumerate(files[first : first + most]):
        beside = path.with_name(path.name.replace("_motion.tsv", "_truth.json"))
        steps = json.loads(beside.read_text(encoding="utf-8"))["steps"]
        at_s = 100.0 * number
        truth += [
            (at_s + s["start_s"], at_s + s["end_s"], s["pelvis_mean_speed_mps"])
            for s in steps
            if s["phase"] == "run_up" and s["scored"]
        ]
        found += [told(each, at_s) for each in early_speeds(open_recording(path))]
    judge(found, truth, share)


def told(each: EarlySpeed, at_s: float = 0.0) -> tuple[float, float, float]:
    return at_s + each.begin.time_s, at_s + each.strike.time_s, each.speed_mps


def judge(found, truth, share):
    """Of steps whose touchdowns were told right, most have a speed, and it is near.

    Two touchdowns that are 30 ms off may move the step by as much, in which who speeds up by
    3 m/s² gains 0.1 m/s; drift adds up to 0.1 (0.06 root mean square, see the module).
    """
    apart = [
        speed - true
        for begin_s, strike_s, true in truth
        for told_s, end_s, speed in found
        if max(abs(told_s - begin_s), abs(end_s - strike_s)) < 0.03
    ]
    assert len(apart) >= share * len(truth), (len(apart), len(truth))
    assert np.sqrt(np.mean(np.square(apart))) < 0.1
    assert np.max(np.abs(apart)) < 0.25
