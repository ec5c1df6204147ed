"""Are the jump recordings what they claim, by rest, by force and by published height?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2, WGS84_EQUATOR_GRAVITY_MPS2
from imujump.model import Placement, Side
from imujump.pipeline.formulas import flight_height_m, velocity_height_m
from imujump.pipeline.leaving import toe_off
from imujump.pipeline.support import Spell
from tests.pipeline.drawn import STEP_S, body

from . import jumping


@pytest.mark.requires_shared("jump_force_plate")
@pytest.mark.parametrize("name", ["jump1_450hz", "jump3_600hz"])
def test_force_plate_jump_from_its_own_force(shared_data: Path, name: str) -> None:
    plate = jumping.jump_force_plate(shared_data, name)
    time_s, force_n = (plate.table[c].to_numpy() for c in ("time_s", "force_n"))
    # Flight: the stretch below 20 N about the middle of the stated flight.
    middle = np.searchsorted(time_s, (plate.jump.take_off_s + plate.jump.landing_s) / 2)
    loaded = np.flatnonzero(force_n > 20.0)
    take_off_s = time_s[loaded[loaded < middle][-1]]
    landing_s = time_s[loaded[loaded > middle][0]]
    assert landing_s - take_off_s == pytest.approx(plate.jump.flight_s, abs=0.005)
    height_m = flight_height_m(plate.jump.flight_s, STANDARD_GRAVITY_MPS2)
    assert height_m == pytest.approx(plate.jump.height_flight_m, abs=0.001)
    risen_m = velocity_height_m(plate.take_off_mps, STANDARD_GRAVITY_MPS2)
    assert risen_m == pytest.approx(plate.jump.height_impulse_m, abs=0.001)

    # Net impulse from the set's own quiet standing. 20 mm where trusted: 1 s of 1 N on
    # 70 kg is worth 4 mm.
    mass_kg = plate.body_weight_n / STANDARD_GRAVITY_MPS2
    before = (time_s >= take_off_s - 1.0) & (time_s <= take_off_s)
    net = np.trapezoid(force_n[before] - plate.body_weight_n, time_s[before])
    if plate.impulse_trusted:
        assert net / mass_kg == pytest.approx(plate.take_off_mps, abs=0.06)
        assert risen_m == pytest.approx(height_m, abs=0.02)
    else:
        assert abs(risen_m - height_m) > 0.02


@pytest.mark.requires_shared("jump_force_plate")
@pytest.mark.parametrize("name", ["jump1_450hz", "jump3_600hz"])
def test_the_end_of_a_push_on_a_force_plate(shared_data: Path, name: str) -> None:
    """The plate's own force, 200 times a second, in place of the load that worn sensors tell."""
    plate = jumping.jump_force_plate(shared_data, name)
    plate_s, force_n = (plate.table[c].to_numpy() for c in ("time_s", "force_n"))
    off_s = plate.jump.take_off_s
    flying = (plate_s > off_s + 0.05) & (plate_s < off_s + 0.15)
    time_s = np.arange(off_s - 0.5, off_s + 0.4, STEP_S)
    mass_kg = plate.body_weight_n / STANDARD_GRAVITY_MPS2
    load = np.interp(time_s, plate_s, force_n - force_n[flying].mean()) / mass_kg
    # The heel rises over the last 80 ms of the push, the foot leaves with the body.
    rise_mps = np.interp(time_s - off_s, [-0.08, 0.0], [0.0, plate.take_off_mps])
    ankle_m = np.column_stack((0.0 * time_s, 0.0 * time_s, np.cumsum(rise_mps) * STEP_S))
    jumper = body(pelvis=ankle_m, left_shank=ankle_m)
    spell = Spell(0, round(0.5 / STEP_S), 0)
    place, sigma_s = toe_off(jumper, Side.LEFT, rise_mps, load, spell, [], None)
    assert place is not None
    # Worn sensors tell the end of a load 1 to 3 ms late; that is taken off here for nothing.
    late_s = time_s[0] + place * STEP_S - off_s
    assert late_s == pytest.approx(-0.0015, abs=0.003)
    assert abs(late_s) < 1.96 * sigma_s < 0.03


def test_published_height_of_the_600_hz_jump() -> None:
    # Author's course notebook: take-off 0.907 s, landing 1.323 s, g 9.8, height 0.213 m.
    # Instants rounded to 1 ms each: g·t/4·1 ms = 1.0 mm, and half a digit of the height.
    assert flight_height_m(1.323 - 0.907, 9.8) == pytest.approx(0.213, abs=0.0015)


@pytest.mark.requires_shared("cmj_phone_forceplate")
def test_plate_truth_of_the_phone_jump(shared_data: Path) -> None:
    source, truth = jumping.cmj_phone_forceplate(shared_data)
    plate = pd.read_csv(shared_data / "cmj_phone_forceplate" / "plate_acc.csv").iloc[:, 0]
    time_s = source.time_s(Placement.PELVIS)
    air = (time_s > truth.take_off_s + 0.01) & (time_s < truth.landing_s - 0.01)
    # Nothing but gravity acts in flight: plate force over mass minus g is -g.
    assert plate[air].max() < -0.95 * WGS84_EQUATOR_GRAVITY_MPS2
    assert flight_height_m(truth.flight_s, STANDARD_GRAVITY_MPS2) == pytest.approx(
        truth.height_flight_m, abs=0.001
    )
