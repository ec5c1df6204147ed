"""A movement that all sensors made as one: a knock on what they lie on, a turn of the hand.

Held together, sensors turn at one rate and feel one blow, each in axes of its own. Worn, they
never do. Whatever lies between their times then is the error between their clocks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np

from imujump.model import FloatArray, Placement

BAND_HZ = 12.0
"""Standard deviation of the Gaussian low-pass: resonances of mounts and straps (28 Hz and up)
shift nothing below it, and little is left of what the sampling folded down (own choice, best of
8 to 50 Hz on simulated knocks)."""

GRID_HZ = 500.0
"""Instants on which sensors are laid against each other (own choice)."""

LARGEST_S = 0.06
"""Clocks are further apart than this only if something is broken (own choice: twice the longest
usual connection interval)."""

ALIKE, ALIKE_TURN = 0.97, 0.99
"""Least share of a blow and of a turn that two sensors have in common (own choice: 0.999 of a
turn is common to sensors in one hand)."""

SAME_SIZE = 0.8
"""Least ratio of two sensors' sizes of it (own choice)."""

CLOSURE_S = 0.003
"""Three sensors' differences add up to nothing, to within this (own choice)."""

TURN_RADPS, KNOCK_MPS2, QUIET_RADPS = 1.0, 1.5, 0.5
"""Least turning rate of a turn, least low-passed acceleration of a knock, and the rate that a
knock on a table stays below (own choice)."""

TURN_SIGMA_S, KNOCK_SIGMA_S, KNOCK_RATE_HZ = 2e-4, 6e-4, 200.0
"""Standard deviation left by a turn, and by a knock at this rate. A blow of a few milliseconds
holds more than a sampled sensor can tell: its error goes with the square of the period (own
choice, from simulated knocks)."""

LEAST_SHARE = 0.95
"""Share of the samples that must be there (own choice)."""


class SharedKind(StrEnum):
    """How sensors moved as one."""

    KNOCK = "knock"
    TURN = "turn"


@dataclass(frozen=True, slots=True)
class SharedMovement:
    """What a shared movement shows.

    ``late_s`` is how much later each sensor's time shows it than the mean of all; ``sigma_s``
    one standard deviation of each.
    """

    kind: SharedKind
    late_s: Mapping[Placement, float]
    sigma_s: float


@dataclass(frozen=True, slots=True)
class HeldSensor:
    """One sensor over a rest, a movement and a rest: instants (n,) in seconds, signals (n, 3)."""

    time_s: FloatArray
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    rate_hz: float


def shared_movement(
    sensors: Mapping[Placement, HeldSensor], start_s: float, end_s: float
) -> SharedMovement | None:
    """Find what lies between sensors' times in a movement that they made as one.

    Parameters
    ----------
    sensors : mapping of Placement to HeldSensor
        Samples from ``start_s`` to ``end_s``; at rest at both ends.
    start_s, end_s : float
        The span, by the sensors' own times.

    Returns
    -------
    SharedMovement or None
        None with fewer than two sensors, with samples missing, or when they did not move as
        one.

    Notes
    -----
    Sensors' axes are turned against each other by an unknown, constant rotation. The sum of
    singular values of two signals' 3 x 3 cross-covariance is what the best rotation makes of
    their correlation, so its highest point over all lags needs no axes.
    """
    if len(sensors) < 2:
        return None
    for sensor in sensors.values():
        inside = (sensor.time_s >= start_s) & (sensor.time_s < end_s)
        if np.count_nonzero(inside) < LEAST_SHARE * (end_s - start_s) * sensor.rate_hz:
            return None
    grid_s = np.arange(start_s, end_s, 1.0 / GRID_HZ)
    turns = {p: _smooth(grid_s, s, s.gyro_radps) for p, s in sensors.items()}
    fastest = [float(np.linalg.norm(turn, axis=1).max()) for turn in turns.values()]
    if min(fastest) > TURN_RADPS:
        late_s = _late(turns, ALIKE_TURN)
        return None if late_s is None else SharedMovement(SharedKind.TURN, late_s, TURN_SIGMA_S)
    if max(fastest) > QUIET_RADPS:
        return None
    blows = {p: _smooth(grid_s, s, s.accel_mps2) for p, s in sensors.items()}
    if min(float(np.linalg.norm(blow, axis=1).max()) for blow in blows.values()) < KNOCK_MPS2:
        return None
    late_s = _late(blows, ALIKE)
    slowest_hz = min(s.rate_hz for s in sensors.values())
    sigma_s = math.hypot(TURN_SIGMA_S, KNOCK_SIGMA_S * (KNOCK_RATE_HZ / slowest_hz) ** 2)
    return None if late_s is None else SharedMovement(SharedKind.KNOCK, late_s, sigma_s)


def _smooth(grid_s: FloatArray, sensor: HeldSensor, signal: FloatArray) -> FloatArray:
    """Low-passed deviation (m, 3) of a signal from its rest, on other instants."""
    rest = signal[sensor.time_s < grid_s[0] + 0.15]
    moved = signal - (rest.mean(axis=0) if len(rest) else 0.0)
    width_s = 1.0 / (2.0 * math.pi * BAND_HZ)
    weight = np.exp(-0.5 * ((grid_s[:, np.newaxis] - sensor.time_s) / width_s) ** 2)
    return np.asarray(weight @ moved / (width_s * math.sqrt(2.0 * math.pi) * sensor.rate_hz))


def _late(signals: Mapping[Placement, FloatArray], alike: float) -> dict[Placement, float] | None:
    """How much later each sensor shows the movement than the mean; None if not as one."""
    places = list(signals)
    apart: dict[tuple[Placement, Placement], float] = {}
    for one, other in combinations(places, 2):
        lag_s = _lag(signals[one], signals[other], alike)
        if lag_s is None:
            return None
        apart[one, other], apart[other, one] = lag_s, -lag_s
    for a, b, c in combinations(places, 3):
        if abs(apart[a, b] + apart[b, c] + apart[c, a]) > CLOSURE_S:
            return None
    return {
        p: sum(apart[other, p] for other in places if other is not p) / len(places) for p in places
    }


def _lag(one: FloatArray, other: FloatArray, alike: float) -> float | None:
    """How much later the second of two signals (m, 3) is; None if they differ."""
    sizes = sorted(float(np.linalg.norm(signal)) for signal in (one, other))
    if sizes[0] < SAME_SIZE * sizes[1]:
        return None
    reach = round(LARGEST_S * GRID_HZ)
    room = len(one) + reach
    spectra = [np.fft.rfft(signal, room, axis=0) for signal in (one, other)]
    across = np.fft.irfft(
        spectra[0].conj()[:, :, np.newaxis] * spectra[1][:, np.newaxis, :], room, axis=0
    )
    lags = np.arange(-reach, reach + 1)
    score = np.linalg.svd(across[lags], compute_uv=False).sum(axis=1)
    best = int(np.argmax(score))
    if best in (0, len(score) - 1) or score[best] < alike * sizes[0] * sizes[1]:
        return None
    before, here, after = score[best - 1 : best + 2].tolist()
    return float((lags[best] + 0.5 * (before - after) / (before - 2.0 * here + after)) / GRID_HZ)
