"""Lost samples: bridged as the body moved, and nothing told that they hide."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imujump.model import Analysis, Placement, Side
from imujump.pipeline.body import Body, SensorWindow, Window
from imujump.pipeline.dark_spells import BLIND_S, SHADE_S, SWING_S, blind_s, hidden
from imujump.pipeline.engine import analyse
from imujump.pipeline.gap_filling import LONG_GAP_S, long_gaps, refilled
from imujump.pipeline.strapdown import Strapdown, dead_reckon
from tests.campaign.subjects import figure
from tests.campaign.wearing import Loss, Phase, Role, Wearing, record

from .drawn import GRAVITY, STEP_S, UP, body, thrown

SAMPLES = 800
TIME_S = np.arange(SAMPLES) * STEP_S


def swinging(missing: slice) -> SensorWindow:
    """A sensor that turns and moves smoothly; a line bridges what is missing."""
    gyro = np.stack((np.sin(9.0 * TIME_S), 5.0 * np.sin(7.0 * TIME_S), np.cos(5.0 * TIME_S)), 1)
    accel = np.stack((8.0 * np.sin(11.0 * TIME_S), np.cos(6.0 * TIME_S), 0.0 * TIME_S), 1)
    accel = accel + GRAVITY * UP
    lost = np.zeros(SAMPLES, dtype=bool)
    lost[missing] = True
    for values in (gyro, accel):
        for channel in range(3):
            values[lost, channel] = np.interp(TIME_S[lost], TIME_S[~lost], values[~lost, channel])
    return SensorWindow(accel, gyro, UP, lost, np.zeros(SAMPLES, dtype=bool), 0.001)


def moved(sensor: SensorWindow) -> Body:
    """Body of one pelvis sensor by dead reckoning."""
    path = dead_reckon(sensor.accel_mps2, sensor.gyro_radps, STEP_S, np.eye(3), GRAVITY)
    return replace(body(pelvis=thrown([], 0.0, 4.0)), paths={Placement.PELVIS: path})


class TestRefilling:
    GAP = slice(400, 440)

    def test_the_bridge_leads_where_the_motion_goes_on(self) -> None:
        """After 0.2 s bridged by a line the path is metres off; refilled it meets the truth."""
        true = moved(swinging(slice(0, 0)))
        gappy = swinging(self.GAP)
        filled = refilled(Window(STEP_S, GRAVITY, {Placement.PELVIS: gappy}, ((0, 9),)), true)
        wanted = true.paths[Placement.PELVIS]
        straight, bent = (
            moved(s).paths[Placement.PELVIS] for s in (gappy, filled.sensors[Placement.PELVIS])
        )
        after = self.GAP.stop

        def off(path: Strapdown) -> tuple[float, float]:
            turn = Rotation.from_matrix(path.rot[after].T @ wanted.rot[after]).magnitude()
            return float(turn), float(np.linalg.norm(path.position_m[-1] - wanted.position_m[-1]))

        turned_rad, apart_m = off(straight)
        assert turned_rad > 0.1
        left_rad, left_m = off(bent)
        # One step of Newton's method on a turn of some tenths leaves a part of its square.
        assert left_rad < 0.1 * turned_rad
        assert left_m < 0.25 * apart_m

    def test_what_was_received_is_not_touched(self) -> None:
        gappy = swinging(self.GAP)
        window = Window(STEP_S, GRAVITY, {Placement.PELVIS: gappy}, ((0, 9),))
        filled = refilled(window, moved(swinging(slice(0, 0)))).sensors[Placement.PELVIS]
        seen = ~gappy.missing
        assert np.array_equal(filled.accel_mps2[seen], gappy.accel_mps2[seen])
        assert np.array_equal(filled.gyro_radps[seen], gappy.gyro_radps[seen])
        assert np.array_equal(filled.missing, gappy.missing)

    def test_short_gaps_stay_as_they_are(self) -> None:
        short = swinging(slice(400, 400 + int(0.8 * LONG_GAP_S / STEP_S)))
        assert long_gaps(short.missing, STEP_S) == []


class TestDarkness:
    def window(self, gap_s: float) -> Window:
        first = 400
        sensor = swinging(slice(first, first + round(gap_s / STEP_S)))
        whole = swinging(slice(0, 0))
        return Window(
            STEP_S,
            GRAVITY,
            {Placement.LEFT_SHANK: sensor, Placement.RIGHT_SHANK: whole, Placement.PELVIS: sensor},
            ((0, 9),),
        )

    @pytest.mark.parametrize(
        ("gap_s", "reach_s"), [(0.02, SHADE_S), (0.06, 0.0625), (0.2, SWING_S)]
    )
    def test_the_shade_grows_with_the_gap(self, gap_s: float, reach_s: float) -> None:
        window = self.window(gap_s)
        end = 399 + gap_s / STEP_S
        assert hidden(window, Side.LEFT.shank, end + 0.9 * reach_s / STEP_S)
        assert not hidden(window, Side.LEFT.shank, end + 1.1 * reach_s / STEP_S)
        assert not hidden(window, Side.RIGHT.shank, end)

    def test_only_gaps_of_all_sensors_together_count(self) -> None:
        window = self.window(0.2)
        lost, whole = (Placement.LEFT_SHANK, Placement.PELVIS), (Placement.RIGHT_SHANK,)
        assert blind_s(window, lost, 300, 500) == pytest.approx(0.2)
        assert blind_s(window, lost, 450, 500) == 0.0
        assert blind_s(window, (*lost, *whole), 300, 500) == 0.0
        assert blind_s(self.window(0.5 * BLIND_S), lost, 300, 500) == 0.0


class TestAllSensorsLost:
    """One jump of which a part never arrived from any sensor."""

    def analysed(self, name: str, phase: Phase, length_s: float) -> Analysis:
        loss = Loss(tuple(Role), phase, length_s)
        return analyse(record(figure(name), Wearing(losses=(loss,)), 302))

    def test_a_jump_that_cannot_be_found_is_laid_to_the_loss(self) -> None:
        lost = self.analysed("one 5.6", Phase.STEP, 0.15)
        assert not any(attempt.valid for attempt in lost.attempts)
        assert any("sensor are missing; keep the sensors within" in w for w in lost.warnings)

    def test_how_the_feet_landed_is_not_told(self) -> None:
        (attempt,) = self.analysed("one 3.4", Phase.PLANT, 0.3).attempts
        told = attempt.metrics["landing_interval_s"]
        assert told.value is None
        assert "missing" in (told.reason or "")
