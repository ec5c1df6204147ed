"""Shipped formulas against worked values of free fall, the literature and WGS 84.

Source of each row is named beside it. "Free fall" rows are arithmetic on g = 9.80665 m/s²
and can be redone by hand; their tolerance is half of the last printed digit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2, normal_gravity_mps2
from imujump.pipeline.formulas import (
    flight_height_m,
    flight_height_sigma_m,
    last_step_ratio,
    last_step_ratio_sigma,
    reactive_ratio,
    reactive_ratio_sigma,
    shared_toe_off_correlation,
    velocity_height_m,
    velocity_height_sigma_m,
)

G = STANDARD_GRAVITY_MPS2


@pytest.mark.parametrize(
    ("flight_s", "height_m", "speed_mps"),
    [(0.500, 0.3065, 2.452), (0.600, 0.4413, 2.942), (0.700, 0.6007, 3.432)],
)
def test_height_of_a_flight(flight_s: float, height_m: float, speed_mps: float) -> None:
    # Free fall: h = g·t²/8, v = g·t/2. The two formulas must agree on one flight.
    assert flight_height_m(flight_s, G) == pytest.approx(height_m, abs=5e-5)
    assert velocity_height_m(speed_mps, G) == pytest.approx(height_m, abs=5e-4 * speed_mps / G)


@pytest.mark.parametrize(
    ("height_m", "flight_s"), [(0.300, 0.4947), (0.500, 0.6387), (0.700, 0.7557)]
)
def test_flight_of_a_height(height_m: float, flight_s: float) -> None:
    # Free fall, inverted: t = √(8h/g). Half a digit of t (0.05 ms) is worth g·t/4·0.05 ms.
    tolerance_m = G * flight_s / 4 * 5e-5
    assert flight_height_m(flight_s, G) == pytest.approx(height_m, abs=tolerance_m)


@pytest.mark.parametrize(("error_s", "error_m"), [(0.010, 0.0148), (0.005, 0.0074)])
def test_timing_error_costs_height(error_s: float, error_m: float) -> None:
    # Free fall: 10 ms too long at 0.600 s of flight reads 14.8 mm too high, 5 ms 7.4 mm.
    gained_m = flight_height_m(0.600 + error_s, G) - flight_height_m(0.600, G)
    assert gained_m == pytest.approx(error_m, abs=5e-5)
    # The first-order propagation leaves out g·dt²/8 = 0.12 mm at 10 ms.
    sigma_m = flight_height_sigma_m(0.600, error_s, G)
    assert sigma_m == pytest.approx(gained_m - G * error_s**2 / 8, abs=1e-12)


def test_bent_legs_at_landing_read_too_high() -> None:
    # Free fall with a landing 53 mm lower than the take-off, true rise 0.500 m.
    speed_mps = math.sqrt(2 * G * 0.500)
    flight_s = (speed_mps + math.sqrt(speed_mps**2 + 2 * G * 0.053)) / G
    assert flight_s == pytest.approx(0.65516, abs=5e-6)
    read_m = flight_height_m(flight_s, G)
    assert read_m == pytest.approx(0.5262, abs=5e-5)
    # Yamashita 2020 (doi 10.3390/app10030776) measured a mean bias of 25 mm at this drop.
    assert read_m - 0.500 == pytest.approx(0.025, abs=0.002)


def test_height_from_net_impulse() -> None:
    # Newton and free fall: 75 kg, 225 N·s from rest gives 3.000 m/s and 0.4589 m.
    speed_mps = 225.0 / 75.0
    assert velocity_height_m(speed_mps, G) == pytest.approx(0.4589, abs=5e-5)


def test_reactive_ratio() -> None:
    # Ratio form, as named by Healy 2017 (doi 10.1123/ijspp.2017-0511): 0.55 s over 0.20 s.
    assert reactive_ratio(0.55, 0.20) == pytest.approx(2.750, abs=5e-4)
    # The height form h/t_c of the same jump, for contrast: 1.854 m/s.
    assert flight_height_m(0.55, G) / 0.20 == pytest.approx(1.854, abs=5e-4)


def test_last_step_shorter_than_penultimate() -> None:
    # Panoutsakopoulos 2021 (JHSE 16 Proc3): penultimate 12.2 % larger, 11 long jumps.
    assert last_step_ratio(1.0, 1.122) == pytest.approx(0.891, abs=5e-4)
    # Arithmetic: 2.10 m after 2.35 m is 0.894, a shortening of 10.6 %.
    ratio = last_step_ratio(2.10, 2.35)
    assert ratio == pytest.approx(0.894, abs=5e-4)
    assert 100 * (1 - ratio) == pytest.approx(10.6, abs=0.05)


@pytest.mark.parametrize(
    ("latitude_deg", "gravity_mps2"),
    [(0.0, 9.78033), (45.0, 9.80620), (60.0, 9.81918), (90.0, 9.83218)],
)
def test_normal_gravity_at_sea_level(latitude_deg: float, gravity_mps2: float) -> None:
    # WGS 84 ellipsoid, Somigliana's formula (NGA.STND.0036). The pole is 9.8321849379 m/s²
    # in its table of derived constants (from memory).
    assert normal_gravity_mps2(latitude_deg) == pytest.approx(gravity_mps2, abs=6e-6)
    assert normal_gravity_mps2(-latitude_deg) == normal_gravity_mps2(latitude_deg)


def test_normal_gravity_of_a_high_city() -> None:
    # Somigliana's formula less the free-air gradient 3.086e-6 per s² (textbook value):
    # 19.43 degrees north, 2240 m.
    assert normal_gravity_mps2(19.43, 2240.0) == pytest.approx(9.7791, abs=5e-5)


def test_local_gravity_matters_little() -> None:
    # 0.600 s at the equator: 0.4401 m, 1.2 mm less than with standard gravity.
    equator_m = flight_height_m(0.600, normal_gravity_mps2(0.0))
    assert equator_m == pytest.approx(0.4401, abs=5e-5)
    assert equator_m - flight_height_m(0.600, G) == pytest.approx(-0.0012, abs=5e-5)


def test_sigmas_agree_with_a_random_draw() -> None:
    # Independent check of the propagation: 400 000 draws, whose standard deviation is
    # itself known to 1/√(2n) = 0.11 %; first order leaves out less than 0.5 % here.
    rng = np.random.default_rng(20)
    strike_s = rng.normal(0.0, 0.005, 400_000)
    toe_off_s = rng.normal(0.250, 0.004, 400_000)
    landing_s = rng.normal(0.800, 0.006, 400_000)
    flight_s, contact_s = landing_s - toe_off_s, toe_off_s - strike_s
    correlation = shared_toe_off_correlation(0.005, 0.004, 0.006)
    assert np.corrcoef(flight_s, contact_s)[0, 1] == pytest.approx(correlation, abs=0.01)

    drawn = float(np.std(flight_s / contact_s))
    flight_sigma_s, contact_sigma_s = math.hypot(0.004, 0.006), math.hypot(0.005, 0.004)
    told = reactive_ratio_sigma(0.55, 0.25, flight_sigma_s, contact_sigma_s, correlation)
    assert told == pytest.approx(drawn, rel=0.01)
    uncorrelated = reactive_ratio_sigma(0.55, 0.25, flight_sigma_s, contact_sigma_s)
    assert abs(uncorrelated - drawn) > 0.03 * drawn

    gravity = rng.normal(G, 0.05, 400_000)
    told = flight_height_sigma_m(0.55, flight_sigma_s, G, 0.05)
    assert told == pytest.approx(float(np.std(gravity * flight_s**2 / 8)), rel=0.01)
    vertical = rng.normal(3.0, 0.08, 400_000)
    told = velocity_height_sigma_m(3.0, 0.08, G, 0.05)
    assert told == pytest.approx(float(np.std(vertical**2 / (2 * gravity))), rel=0.01)

    # A footfall found too far ahead lengthens one step and shortens the next.
    middle = rng.normal(0.0, 0.03, 400_000)
    last, penultimate = 1.4 - middle, 1.6 + middle
    told = last_step_ratio_sigma(1.4, 1.6, 0.03, 0.03, correlation=-1.0)
    assert told == pytest.approx(float(np.std(last / penultimate)), rel=0.01)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: flight_height_m(-0.1, G), "flight_s"),
        (lambda: flight_height_m(math.nan, G), "flight_s"),
        (lambda: flight_height_m(0.5, 0.0), "gravity_mps2"),
        (lambda: flight_height_sigma_m(0.5, -0.01, G), "flight_sigma_s"),
        (lambda: velocity_height_m(-0.2, G), "vertical_mps"),
        (lambda: velocity_height_m(math.inf, G), "vertical_mps"),
        (lambda: velocity_height_sigma_m(3.0, 0.1, -9.8), "gravity_mps2"),
        (lambda: reactive_ratio(0.5, 0.0), "contact_s"),
        (lambda: reactive_ratio(-0.5, 0.2), "flight_s"),
        (lambda: reactive_ratio_sigma(0.5, 0.2, 0.01, 0.01, correlation=1.5), "correlation"),
        (lambda: shared_toe_off_correlation(0.0, 0.0, 0.01), "toe_off_sigma_s"),
        (lambda: last_step_ratio(1.5, 0.0), "penultimate_m"),
        (lambda: last_step_ratio(math.nan, 1.5), "last_m"),
        (lambda: last_step_ratio_sigma(1.5, 1.5, 0.05, -0.05), "penultimate_sigma_m"),
    ],
)
def test_misuse_names_the_argument(call, argument: str) -> None:
    with pytest.raises(ValueError, match=f"^{argument} is "):
        call()
