"""Which feet are on the floor, on bodies whose motion is drawn to be known."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imujump.model import Placement, Side
from imujump.pipeline.support import (
    CHANGE_RATE_HZ,
    LEG_SHARE,
    STATES,
    _most_likely,
    body_speed,
    mid_hip_load,
    stance_spells,
    vertical_load,
)

from .drawn import GRAVITY, STEP_S, body, path, thrown


class TestLoad:
    def test_standing_is_gravity_and_flight_nothing(self) -> None:
        flying = thrown([2.0], 2.7, 5.0)
        load = vertical_load(body(pelvis=flying, left_shank=flying, right_shank=flying))
        assert load is not None
        np.testing.assert_allclose(load[:300], GRAVITY, atol=1e-6)
        np.testing.assert_allclose(load[420:500], 0.0, atol=1e-6)

    def test_each_shank_has_its_share(self) -> None:
        still, flying = thrown([], 0.0, 5.0), thrown([2.0], 2.7, 5.0)
        load = vertical_load(body(pelvis=still, left_shank=flying, right_shank=still))
        assert load is not None
        np.testing.assert_allclose(load[420:500], GRAVITY * (1.0 - LEG_SHARE), atol=1e-6)

    def test_a_nod_in_flight_carries_nothing(self) -> None:
        """A rigid body that falls and turns about mid hip: the sensor behind it feels a force,
        by the kinematics of rigid bodies; the floor pushes nothing."""
        n, reach_m = 400, 0.12
        time = np.arange(n) * STEP_S
        nod = 0.4 * np.sin(2.0 * np.pi * 1.5 * time)
        hip = np.zeros((n, 3))
        hip[:, 2] = 1.0 - 0.5 * GRAVITY * time**2
        rot = Rotation.from_rotvec(nod[:, None] * np.array((0.0, 1.0, 0.0))).as_matrix()
        sensor = hip + rot @ np.array((-reach_m, 0.0, 0.0))
        seen = path(sensor)
        gyro = np.zeros((n, 3))
        gyro[:, 1] = np.gradient(nod, STEP_S)
        pelvis = replace(seen, rot=rot, gyro_radps=gyro)
        lever = {Placement.PELVIS: np.array((reach_m, 0.0, 0.0))}
        whole = replace(body(pelvis=sensor), paths={Placement.PELVIS: pelvis}, levers=lever)
        at_sensor, at_hip = vertical_load(whole), mid_hip_load(whole)
        assert at_sensor is not None
        assert at_hip is not None
        inner = slice(5, -5)
        assert np.abs(at_sensor[inner]).max() > 3.0
        np.testing.assert_allclose(at_hip[inner], 0.0, atol=0.02)

    def test_no_pelvis_no_load(self) -> None:
        assert vertical_load(body(left_shank=thrown([], 0.0, 1.0))) is None


class TestCourse:
    @pytest.mark.parametrize("seed", range(20))
    def test_it_is_the_best_of_all_courses(self, seed: int) -> None:
        """Every one of the 4^6 courses is tried."""
        says = np.random.default_rng(seed).normal(0.0, 3.0, (6, len(STATES)))
        change = np.log(CHANGE_RATE_HZ * 0.01)

        def likelihood(course: tuple[int, ...]) -> float:
            told = sum(float(says[k, state]) for k, state in enumerate(course))
            for a, b in pairwise(course):
                pairs = zip(STATES[a], STATES[b], strict=True)
                told += change * sum(x != y for x, y in pairs)
            return told

        best = max(product(range(len(STATES)), repeat=6), key=likelihood)
        assert tuple(_most_likely(says, 0.01)) == best


class TestSpells:
    def test_a_walking_ankle_rests_in_each_stance(self) -> None:
        """Two legs in turn: 0.5 s on the floor, 0.4 s forward by 1.0 m over 0.12 m of height."""
        stance, swing = round(0.5 / STEP_S), round(0.4 / STEP_S)
        place, parts = 0.0, []
        for _ in range(5):
            parts.append(np.column_stack((np.full(stance, place), np.zeros(stance))))
            u = np.arange(swing) / swing
            smooth = u**3 * (10.0 - 15.0 * u + 6.0 * u**2)
            lift = 0.12 * (16.0 * (u * (1.0 - u)) ** 2)
            parts.append(np.column_stack((place + smooth, lift)))
            place += 1.0
        parts.append(np.column_stack((np.full(stance, place), np.zeros(stance))))
        flat = np.concatenate(parts)
        ankle = np.column_stack((flat[:, 0], np.zeros(len(flat)), flat[:, 1]))
        pelvis = np.zeros_like(ankle)
        pelvis[:, 0] = np.arange(len(flat)) * STEP_S * 1.0 / 0.9
        whole = body(pelvis=pelvis, left_shank=ankle)
        assert np.median(body_speed(whole)) == pytest.approx(1.0 / 0.9, rel=1e-6)
        spells = stance_spells(whole, near_floor=True)[Side.LEFT]
        assert len(spells) == 6
        for k, spell in enumerate(spells):
            begin = k * (stance + swing)
            assert max(begin - swing / 4, -1) < spell.first <= begin
            assert begin + stance - 2 <= spell.last < begin + stance + swing / 4
            assert begin <= spell.rest < begin + stance
        assert all(a.last < b.first for a, b in pairwise(spells))
