"""Sensors that moved as one: their clocks' errors against those put in.

The blow is half a sine, given back over 50 ms, with a plate that rings on; each sensor lies in
an orientation of its own, rings on its own mount, filters at 0.4 of its rate and samples at a
phase of its own. Bar: 1 ms between two sensors at 95 of 100 knocks.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.signal import bilinear, butter, sosfilt, tf2sos
from scipy.spatial.transform import Rotation

from imujump.model import FloatArray, Placement, RecordingInfo
from imujump.pipeline.knock import HeldSensor, SharedKind, SharedMovement, shared_movement

from .radio import RadioSensor, session
from .test_clock import engine_after

PLACES = tuple(Placement)
FINE_HZ = 8000.0
LENGTH_S, BLOW_S = 1.2, 0.5


@dataclass(frozen=True)
class Blow:
    """A knock on a plate."""

    pulse_s: float = 0.008
    peak_mps2: float = 60.0
    plate_hz: float = 120.0

    def accel_mps2(self, time_s: FloatArray) -> FloatArray:
        since = time_s - BLOW_S
        hit = np.sin(np.pi * np.clip(since / self.pulse_s, 0.0, 1.0))
        back = (since > self.pulse_s) & (since < 0.05)
        given = hit - back * hit.sum() / back.sum()
        late = since - self.pulse_s / 2.0
        swing = 2.0 * np.pi * self.plate_hz * late
        ring = np.where(late > 0.0, np.exp(-0.05 * swing) * np.sin(swing), 0.0)
        return np.asarray(self.peak_mps2 * (given + 0.25 * ring))


def felt(
    generator: np.random.Generator, rate_hz: float, late_s: float, blow: Blow, ring_hz: float
) -> HeldSensor:
    """What one sensor on the plate records, its clock late by so much."""
    fine_s = np.arange(round(LENGTH_S * FINE_HZ)) / FINE_HZ
    direction = np.array((0.1, 0.0, 1.0)) + generator.normal(0.0, 0.1, 3)
    signal = np.outer(blow.accel_mps2(fine_s), direction / np.linalg.norm(direction))
    w, damping = 2.0 * math.pi * ring_hz, generator.uniform(0.2, 0.5)
    b, a = bilinear([2.0 * damping * w, w * w], [1.0, 2.0 * damping * w, w * w], fs=FINE_HZ)
    signal = sosfilt(tf2sos(b, a), signal, axis=0)
    signal = sosfilt(butter(2, 0.4 * rate_hz, fs=FINE_HZ, output="sos"), signal, axis=0)
    time_s = np.arange(generator.uniform(0.0, 1.0 / rate_hz), LENGTH_S - 0.01, 1.0 / rate_hz)
    accel = np.stack([np.interp(time_s, fine_s, signal[:, k]) for k in range(3)], axis=1)
    turned = Rotation.random(random_state=int(generator.integers(2**31)))
    accel = turned.apply(accel + np.array((0.0, 0.0, 9.81)))
    accel += generator.normal(0.0, 0.012, accel.shape)
    gyro = generator.normal(0.0, 0.005, accel.shape)
    return HeldSensor(time_s + late_s, accel, gyro, rate_hz)


def turned_hand(
    generator: np.random.Generator, rate_hz: float, late_s: float, *, worn: bool = False
) -> HeldSensor:
    """Sensors turned to and fro in one hand for a second; worn ones each on its own."""
    time_s = np.arange(generator.uniform(0.0, 1.0 / rate_hz), 2.0, 1.0 / rate_hz)
    part = np.clip((time_s - 0.5), 0.0, 1.0)
    shape = np.sin(np.pi * part) ** 2 * (part < 1.0)
    pace = generator.uniform(1.0, 3.0) if worn else 2.0
    rate = np.stack(
        (
            4.0 * np.sin(2.0 * np.pi * pace * part) * shape,
            2.0 * np.sin(2.0 * np.pi * 1.5 * pace * part) * shape,
            np.zeros_like(part),
        ),
        axis=1,
    )
    if worn:
        rate = rate @ generator.normal(0.0, 1.0, (3, 3))
    turned = Rotation.random(random_state=int(generator.integers(2**31)))
    gyro = turned.apply(rate) + generator.normal(0.0, 0.01, rate.shape)
    accel = turned.apply(np.array((0.0, 0.0, 9.81))) + generator.normal(0.0, 0.02, rate.shape)
    return HeldSensor(time_s + late_s, accel, gyro, rate_hz)


def errors_s(
    rate_hz: float, blow: Blow, trials: int
) -> tuple[FloatArray, list[SharedMovement | None]]:
    """Errors between the first two of three sensors, and what was found."""
    errors, found = [], []
    for trial in range(trials):
        generator = np.random.default_rng(trial)
        late = generator.uniform(-0.02, 0.02, 3)
        sensors = {
            p: felt(generator, rate_hz, own, blow, generator.uniform(40.0, 90.0))
            for p, own in zip(PLACES, late.tolist(), strict=True)
        }
        movement = shared_movement(sensors, 0.03, 1.1)
        found.append(movement)
        if movement is not None:
            seen = [movement.late_s[p] for p in PLACES]
            errors.append((seen[0] - seen[1]) - (late[0] - late[1]))
            assert movement.kind is SharedKind.KNOCK
            assert sum(seen) == pytest.approx(0.0, abs=1e-12)
    return np.array(errors), found


class TestKnock:
    @pytest.mark.parametrize("rate_hz", [200.0, 400.0])
    @pytest.mark.parametrize("pulse_s", [0.006, 0.012])
    def test_one_knock_is_worth_a_millisecond(self, rate_hz: float, pulse_s: float) -> None:
        errors, found = errors_s(rate_hz, Blow(pulse_s), 20)
        assert sum(movement is not None for movement in found) >= 18
        assert np.quantile(np.abs(errors), 0.95) < 1e-3

    def test_at_100_hz_it_is_worth_less_and_says_so(self) -> None:
        errors, found = errors_s(100.0, Blow(0.012), 16)
        sigmas = [movement.sigma_s for movement in found if movement is not None]
        assert len(sigmas) >= 12
        assert min(sigmas) > 2e-3
        assert np.quantile(np.abs(errors), 0.95) < 1.96 * math.sqrt(2.0) * min(sigmas)

    def test_sensors_that_feel_different_blows_are_not_together(self) -> None:
        """One lies on another table, or the pelvis feels a stamp of the foot."""
        generator = np.random.default_rng(0)
        sensors = {p: felt(generator, 200.0, 0.0, Blow(), 50.0) for p in PLACES[:2]}
        sensors[PLACES[2]] = felt(generator, 200.0, 0.0, Blow(peak_mps2=35.0), 8.0)
        assert shared_movement(sensors, 0.03, 1.1) is None

    def test_missing_samples_and_one_sensor_tell_nothing(self) -> None:
        generator = np.random.default_rng(0)
        sensors = {p: felt(generator, 200.0, 0.0, Blow(), 50.0) for p in PLACES[:2]}
        assert shared_movement({PLACES[0]: sensors[PLACES[0]]}, 0.03, 1.1) is None
        whole = sensors[PLACES[0]]
        keep = np.abs(whole.time_s - 0.8) > 0.05
        sensors[PLACES[0]] = HeldSensor(
            whole.time_s[keep], whole.accel_mps2[keep], whole.gyro_radps[keep], 200.0
        )
        assert shared_movement(sensors, 0.03, 1.1) is None


class TestTurn:
    @pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0, 400.0])
    def test_a_turn_of_the_hand_does_it_at_any_rate(self, rate_hz: float) -> None:
        errors = []
        for trial in range(8):
            generator = np.random.default_rng(trial)
            late = generator.uniform(-0.03, 0.03, 3)
            sensors = {
                p: turned_hand(generator, rate_hz, own)
                for p, own in zip(PLACES, late.tolist(), strict=True)
            }
            movement = shared_movement(sensors, 0.03, 1.96)
            assert movement is not None
            assert movement.kind is SharedKind.TURN
            seen = [movement.late_s[p] for p in PLACES]
            errors.append((seen[0] - seen[1]) - (late[0] - late[1]))
        assert np.quantile(np.abs(errors), 0.95) < 3e-4

    def test_worn_sensors_turn_each_on_its_own(self) -> None:
        for trial in range(10):
            generator = np.random.default_rng(trial)
            sensors = {p: turned_hand(generator, 200.0, 0.0, worn=True) for p in PLACES}
            assert shared_movement(sensors, 0.03, 1.96) is None


def on_one_plate(
    generator: np.random.Generator, at_s: float
) -> Callable[[Placement, FloatArray], FloatArray]:
    """Signals of sensors that rest on a plate, which is struck half a second after a time."""
    held = {
        p: felt(generator, 400.0, 0.0, Blow(0.012), generator.uniform(40.0, 90.0)) for p in PLACES
    }

    def signals(place: Placement, host_s: FloatArray) -> FloatArray:
        sensor = held[place]
        rows = generator.normal(0.0, 0.004, (len(host_s), 6))
        for k in range(3):
            channel = sensor.accel_mps2[:, k]
            rest = channel[:100].mean()
            rows[:, k] += np.interp(host_s - at_s, sensor.time_s, channel, left=rest, right=rest)
        return rows

    return signals


@pytest.mark.parametrize("asked", [True, False])
def test_a_knock_in_a_session_sets_the_clocks_right(asked: bool) -> None:
    """A knock 14.5 s after the start; three seconds later clocks agree to a millisecond."""
    errors: dict[str, list[float]] = {"before": [], "after": []}
    for trial in range(6):
        generator = np.random.default_rng(trial)
        sensors = {
            p: RadioSensor(generator, 0.030, generator.uniform(-4e-5, 4e-5), 3.0) for p in PLACES
        }
        signals = on_one_plate(generator, 17.0)
        infos, entries = session(sensors, 18.0, asked=asked, signals=signals)
        engine = engine_after(entries, RecordingInfo(infos))
        after = engine._clock.lines(20.0, engine._streams())
        assert engine._clock._shared is not None
        assert max(line.sigma_s for line in after.values()) < 1e-3
        engine._clock._shared = None
        before = engine._clock.lines(20.0, engine._streams())
        for when, lines in (("before", before), ("after", after)):
            shown = [
                lines[p].session_s((17.5 - s.offset_s) / (1.0 + s.skew)) for p, s in sensors.items()
            ]
            errors[when] += [shown[0] - shown[1], shown[1] - shown[2]]
    size = {when: float(np.sqrt(np.mean(np.square(e)))) for when, e in errors.items()}
    assert np.quantile(np.abs(errors["after"]), 0.95) < 1e-3
    assert size["after"] < 0.7 * size["before"]
