"""The simulated runner-jumper, held against Newton and plain geometry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement, TakeOffStyle
from tests.open_data.jumping import jump_force_plate

from .motion import all_ideal_signals
from .runner import (
    COM_COLUMNS,
    COM_RATE_COLUMNS,
    Run,
    body_motion,
    contacts_of,
    find_run,
    jump_of,
    recording_of,
)
from .runner_body import STEP_S

SEED = 1


@pytest.fixture(scope="module")
def run() -> Run:
    return find_run(SEED, TakeOffStyle.ONE_FOOT)[0]


def test_contact_impulse_is_the_change_of_momentum(run: Run) -> None:
    """Newton: the integral of (force - weight) over a contact is mass times the change of the
    centre of mass' vertical velocity."""
    for contact in contacts_of(run)[: run.style.steps + 1]:
        assert contact.strike_s is not None
        assert contact.off_s is not None
        a, b = round(contact.strike_s / STEP_S) - 20, round(contact.off_s / STEP_S) + 20
        force_n = run.force_n[a:b].sum(axis=1) - run.body.mass_kg * STANDARD_GRAVITY_MPS2
        up_mps = run.sensors[[a, b], COM_RATE_COLUMNS][:, 2]
        mass_kg = run.body.mass_kg + 0.02  # with the two foot points of 10 g
        # One step of 0.25 ms at 3000 N / 69 kg is 0.011 m/s.
        assert force_n.sum() * STEP_S / mass_kg == pytest.approx(np.diff(up_mps)[0], abs=0.012)


def test_the_centre_of_mass_flies_a_parabola(run: Run) -> None:
    plant = jump_of(run, contacts_of(run)).plant
    toe_off = round((plant[-1].off_s or 0.0) / STEP_S) + 8
    landing = next(
        round(c.strike_s / STEP_S)
        for c in contacts_of(run)
        if c.strike_s and c.strike_s > toe_off * STEP_S
    )
    height_m = run.sensors[toe_off : landing - 8, COM_COLUMNS][:, 2]
    time_s = np.arange(len(height_m)) * STEP_S
    curve = np.polynomial.Polynomial.fit(time_s, height_m, 2).convert().coef
    assert 2 * curve[2] == pytest.approx(-STANDARD_GRAVITY_MPS2, rel=2e-3)


def test_site_sensors_agree_with_differentiated_geometry(run: Run) -> None:
    """Two routes to the same signals: MuJoCo's sensors, and splines over our own kinematics."""
    splines = all_ideal_signals(body_motion(run))
    inner = slice(100, -100)
    for index, placement in enumerate(Placement):
        accel = run.sensors[inner, 6 * index : 6 * index + 3]
        gyro = run.sensors[inner, 6 * index + 3 : 6 * index + 6]
        difference = splines[placement].accel_mps2[inner] - accel
        # Splines ring at the first sample of an impact (up to 500 m/s²); elsewhere they agree.
        assert np.median(np.abs(difference)) < 0.02
        assert np.sqrt(np.mean(difference**2)) < 0.02 * np.abs(accel).max()
        assert np.abs(splines[placement].gyro_radps[inner] - gyro).max() < 0.3


def test_truth_follows_from_forces_and_states(run: Run) -> None:
    recording = recording_of(run, SEED)
    truth = recording.truth
    take_off = truth["take_off"]
    contacts = contacts_of(run)
    plant = jump_of(run, contacts).plant[0]
    assert take_off["style"] == "one_foot"
    assert take_off["side"] == str(plant.side)
    shift_s = truth["still_start_s"]
    assert take_off["plant_touchdown_s"] == pytest.approx(
        (plant.strike_s or 0.0) + shift_s, abs=1e-4
    )
    speed = run.rate[round((plant.strike_s or 0.0) / STEP_S), 0]
    assert truth["speed_at_plant_touchdown_mps"] == pytest.approx(speed, abs=0.02)
    motion = body_motion(run)
    before = contacts[contacts.index(plant) - 1]
    places = [
        motion.shanks[c.side].position_m[motion.at(c.strike_s or 0.0), 0] for c in (before, plant)
    ]
    assert truth["last_step_m"] == pytest.approx(places[1] - places[0], abs=2e-3)
    assert truth["com_jump_height_m"] == pytest.approx(
        truth["com_vertical_speed_at_toe_off_mps"] ** 2 / (2 * STANDARD_GRAVITY_MPS2), abs=1e-3
    )
    lengths = {len(samples) for samples in recording.samples.values()}
    assert len(lengths) == 1
    assert lengths.pop() == pytest.approx(truth["duration_s"] * recording.rate_hz, abs=2)


def fading_s(time_s: FloatArray, force_n: FloatArray, weight_n: float, off_s: float) -> float:
    """From the last fifth of body weight under a foot that leaves at ``off_s`` to 20 N."""
    last = int(np.searchsorted(time_s, off_s + 0.005))
    loaded = np.flatnonzero(force_n[:last] > 20.0)[-1]
    carried = np.flatnonzero(force_n[: loaded + 1] > 0.2 * weight_n)[-1]
    return float(time_s[loaded] - time_s[carried])


@pytest.mark.requires_shared("jump_force_plate")
@pytest.mark.parametrize("name", ["jump1_450hz", "jump3_600hz"])
def test_people_leave_a_force_plate_within_some_milliseconds(shared_data: Path, name: str) -> None:
    """Two countermovement jumps (Duarte, BMC course data): what the runner's ground is held to."""
    plate = jump_force_plate(shared_data, name)
    force_n = plate.table["force_n"].to_numpy()
    time_s = plate.table["time_s"].to_numpy()
    off_s = plate.jump.take_off_s
    flying = (time_s > off_s + 0.05) & (time_s < off_s + 0.15)
    lost_s = fading_s(time_s, force_n - force_n[flying].mean(), plate.body_weight_n, off_s)
    assert 0.003 <= lost_s <= 0.010


@pytest.mark.parametrize("take_off", list(TakeOffStyle))
def test_its_foot_does_not_drag_along_after_the_push(take_off: TakeOffStyle) -> None:
    run, _ = find_run(SEED, take_off)
    weight_n = run.body.mass_kg * STANDARD_GRAVITY_MPS2
    off_s = max(c.off_s or 0.0 for c in jump_of(run, contacts_of(run)).plant)
    assert fading_s(run.time_s, run.force_n.sum(axis=1), weight_n, off_s) <= 0.012


def test_a_seed_repeats_its_run(run: Run) -> None:
    again, _ = find_run(SEED, TakeOffStyle.ONE_FOOT)
    np.testing.assert_array_equal(run.state, again.state)
