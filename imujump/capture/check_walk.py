"""Sensor check by a few steps: which sensor sits on a leg, and on which one.

A shank swings once a stride, several times faster than the pelvis ever turns, about an axis
across the leg. Which leg is told by the pelvis, whose own signals know left from right: gravity
tells its up, the first steps its forward. It turns forward on the side of the swinging leg,
drops there and is pushed there by the standing foot, each at its own point of the stride.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, hilbert, sosfiltfilt, welch
from scipy.spatial.transform import Rotation

from imujump.capture.check_words import CheckItem, CheckSamples, Finding, Verdict
from imujump.model import FloatArray, Placement

PELVIS, LEFT, RIGHT = Placement.PELVIS, Placement.LEFT_SHANK, Placement.RIGHT_SHANK

GRID_HZ = 100.0
"""Sensors are compared on this common rate (own choice: a stride holds nothing above 20 Hz)."""

WALKING_RADPS = 1.0
"""Both shanks' turning rates together, smoothed over a step, while walking (own choice: standing
stays below 0.2, walking at 1 m/s lies above 2)."""

LEAST_WALK_S = 3.0
"""Six steps take this long (own choice)."""

LEG_RATIO = 1.8
"""A walking shank turns at least this much more than the pelvis (own choice: it is 3 to 6 in
simulated and recorded walks)."""

STRIDE_HZ = (0.5, 1.25)
"""Strides a second: slow to brisk walking; above it people run (own choice)."""

YAW_PHASE_RAD, ROLL_PHASE_RAD, PUSH_PHASE_RAD = map(math.radians, (-55.0, 75.0, 165.0))
"""Phase of the pelvis against the legs' difference (right swings minus left swings), at the
stride's rate: turn to the left, roll to the right, push to the left. Means over 74 walks of 13
adults (C. Voisard et al., Image Processing On Line 2023, article 497; our reckoning)."""

SURE, CLEAR = 0.27, 0.4
"""Agreement, -1 to 1, from which a side is told, and from which it is told without doubt (own
choice: of those 74 walks 70 lay beyond the first, two whose beginning is cut off lay about zero,
and two of one person beyond it on the other side)."""

ACROSS_SHARE = 0.5
"""Least share of a shank's turning that is about one axis (own choice: 0.8 and more in walking)."""


@dataclass(frozen=True, slots=True)
class SideEvidence:
    """How well the legs' order fits the pelvis: 1 as labelled, -1 exchanged, 0 no idea."""

    agreement: float
    strides: float


@dataclass(frozen=True, slots=True)
class _Walk:
    """All sensors on one grid: signals (n, 6) and the rows (n,) at which somebody walks."""

    signals: Mapping[Placement, FloatArray]
    walking: FloatArray

    @property
    def length_s(self) -> float:
        return float(np.count_nonzero(self.walking)) / GRID_HZ


def judge_walk(sensors: Mapping[Placement, CheckSamples]) -> dict[Placement, tuple[Finding, ...]]:
    """Judge placement and side of every sensor."""
    walk = _walk(sensors)
    if walk is None or walk.length_s < LEAST_WALK_S:
        unseen = (
            _walk_again(CheckItem.PLACEMENT, "no steps were seen"),
            _walk_again(CheckItem.SIDE, "no steps were seen"),
        )
        return {p: unseen[: 1 if p is PELVIS else 2] for p in sensors}
    size = {p: _turning(walk, p) for p in sensors}
    found = {p: [_placement(walk, size, p)] for p in sensors}
    misplaced = any(own[0].verdict is Verdict.UNUSABLE for own in found.values())
    for place in (LEFT, RIGHT):
        if place in found:
            found[place].append(_side(walk, sensors, misplaced))
    return {p: tuple(own) for p, own in found.items()}


def _walk(sensors: Mapping[Placement, CheckSamples]) -> _Walk | None:
    first_s = max(float(s.time_s[0]) if len(s.time_s) else math.inf for s in sensors.values())
    last_s = min(float(s.time_s[-1]) if len(s.time_s) else -math.inf for s in sensors.values())
    if not last_s - first_s > LEAST_WALK_S:
        return None
    grid_s = np.arange(first_s, last_s, 1.0 / GRID_HZ)
    signals = {}
    for place, sensor in sensors.items():
        both = np.nan_to_num(np.hstack((sensor.accel_mps2, sensor.gyro_radps)))
        if sensor.info.rate_hz > 2.0 * GRID_HZ:
            both = _low(both, sensor.info.rate_hz, 0.4 * GRID_HZ)
        signals[place] = np.stack([np.interp(grid_s, sensor.time_s, c) for c in both.T], axis=1)
    # Whoever wears which: the two that turn most are legs.
    rates = [
        np.linalg.norm(s[:, 3:] - np.median(s[:, 3:], axis=0), axis=1) for s in signals.values()
    ]
    legs = sum(sorted(rates, key=lambda rate: -float(np.mean(rate)))[:2])
    return _Walk(signals, np.asarray(_low(np.asarray(legs), GRID_HZ, 1.0) > WALKING_RADPS))


def _turning(walk: _Walk, place: Placement) -> float:
    """Turning rate that a fifth of the walk exceeds: the swing's, and no single jerk's."""
    gyro = walk.signals[place][walk.walking, 3:]
    rate = np.linalg.norm(gyro - np.median(gyro, axis=0), axis=1)
    return float(np.quantile(rate, 0.8))


def _placement(walk: _Walk, size: Mapping[Placement, float], place: Placement) -> Finding:
    if len(size) < 2:
        return Finding(CheckItem.PLACEMENT, Verdict.GOOD, "no other sensor to compare with")
    figure = math.degrees(size[place])
    if PELVIS in size:
        legs = [size[p] for p in size if p is not PELVIS]
        calmest = min(size, key=lambda p: size[p])
        if place is PELVIS and size[place] * LEG_RATIO > min(legs):
            if size[place] > min(legs):
                leg = calmest.words
                return Finding(
                    CheckItem.PLACEMENT,
                    Verdict.UNUSABLE,
                    f"it swings like a leg, and the {leg} sensor does not",
                    f"exchange it with the {leg} sensor, or exchange their names",
                    figure,
                    "deg/s",
                )
            return _walk_again(CheckItem.PLACEMENT, "it turns nearly as fast as a leg")
        if place is not PELVIS and calmest is place:
            return Finding(
                CheckItem.PLACEMENT,
                Verdict.UNUSABLE,
                "it turns less than the pelvis sensor: it is not on a leg",
                "exchange it with the pelvis sensor, or exchange their names",
                figure,
                "deg/s",
            )
    if place is not PELVIS:
        gyro = walk.signals[place][walk.walking, 3:]
        strength = np.linalg.eigvalsh(np.cov(gyro.T))
        if strength[-1] < ACROSS_SHARE * strength.sum():
            return Finding(
                CheckItem.PLACEMENT,
                Verdict.LOOK,
                "its swing is not about one axis across the leg",
                "strap it flat and firmly above the ankle, and walk straight ahead",
                figure,
                "deg/s",
            )
    where = "calm like a pelvis" if place is PELVIS else "swings like a leg"
    return Finding(CheckItem.PLACEMENT, Verdict.GOOD, f"it {where}", "", figure, "deg/s")


def _side(walk: _Walk, sensors: Mapping[Placement, CheckSamples], misplaced: bool) -> Finding:
    if set(sensors) != set(Placement):
        return Finding(
            CheckItem.SIDE,
            Verdict.LOOK,
            "left and right can only be told with a sensor on both shanks and on the pelvis",
            "look which name is on which leg",
        )
    if misplaced:
        return _walk_again(CheckItem.SIDE, "left and right cannot be told before that is set right")
    on = walk.signals
    evidence = side_evidence(on[PELVIS], on[LEFT], on[RIGHT], walk.walking)
    if evidence is None or abs(evidence.agreement) < SURE:
        return _walk_again(CheckItem.SIDE, "left and right could not be told")
    surely = "surely" if abs(evidence.agreement) >= CLEAR else "most likely"
    figure = evidence.agreement
    if figure > 0.0:
        return Finding(CheckItem.SIDE, Verdict.GOOD, f"{surely} on the leg of its name", "", figure)
    return Finding(
        CheckItem.SIDE,
        Verdict.UNUSABLE if surely == "surely" else Verdict.LOOK,
        f"left and right shank are {surely} exchanged",
        "exchange the two shank sensors, or exchange their names",
        figure,
    )


def side_evidence(
    pelvis: FloatArray, left: FloatArray, right: FloatArray, walking: FloatArray
) -> SideEvidence | None:
    """How well the legs' order fits the pelvis.

    Parameters
    ----------
    pelvis, left, right : (n, 6) float64
        Accelerometer and gyroscope at :data:`GRID_HZ`, each in axes of its own.
    walking : (n,) bool
        Rows in which somebody walks.

    Returns
    -------
    SideEvidence or None
        None when no stride is found.
    """
    legs = np.linalg.norm(right[:, 3:], axis=1) - np.linalg.norm(left[:, 3:], axis=1)
    count = int(np.count_nonzero(walking))
    frequency, power = welch(legs[walking], GRID_HZ, nperseg=min(count, round(6.0 * GRID_HZ)))
    band = (frequency >= STRIDE_HZ[0]) & (frequency <= STRIDE_HZ[1])
    if not band.any():
        return None
    stride_hz = float(frequency[band][np.argmax(power[band])])
    up = pelvis[walking, :3].mean(axis=0)
    up /= np.linalg.norm(up)
    ahead = _ahead(pelvis, up, int(np.argmax(walking)))
    leftwards = np.cross(up, ahead)
    sections = butter(2, (0.7 * stride_hz, 1.4 * stride_hz), "band", fs=GRID_HZ, output="sos")

    def stride(values: FloatArray) -> FloatArray:
        return np.asarray(hilbert(sosfiltfilt(sections, values))[walking])

    reference = stride(legs)
    cues = (
        (pelvis[:, 3:] @ up, YAW_PHASE_RAD),
        (pelvis[:, 3:] @ ahead, ROLL_PHASE_RAD),
        (pelvis[:, :3] @ leftwards, PUSH_PHASE_RAD),
    )
    agreement = 0.0
    for values, phase_rad in cues:
        own = stride(values)
        size = math.sqrt(float(np.vdot(own, own).real * np.vdot(reference, reference).real))
        if size > 0.0:
            together = complex(np.vdot(reference, own)) / size
            agreement += (together * np.exp(-1j * phase_rad)).real / len(cues)
    return SideEvidence(float(agreement), stride_hz * count / GRID_HZ)


def _ahead(pelvis: FloatArray, up: FloatArray, first: int) -> FloatArray:
    """Direction (3,) in which the pelvis sets out, in its own axes: what its first steps gain."""
    begin = max(first - round(0.5 * GRID_HZ), 0)
    rest = slice(max(begin - round(GRID_HZ), 0), begin + 1)
    length = min(round(2.0 * GRID_HZ), len(pelvis) - begin)
    bias = pelvis[rest, 3:].mean(axis=0) if begin else np.zeros(3)
    force = pelvis[rest, :3].mean(axis=0)
    turned, gained, speeds = Rotation.identity(), np.zeros(3), []
    for row in pelvis[begin : begin + length]:
        gained = gained + (turned.apply(row[:3]) - force) / GRID_HZ
        turned = turned * Rotation.from_rotvec((row[3:] - bias) / GRID_HZ)
        speeds.append(gained)
    ahead = np.mean(speeds[round(0.6 * length) :], axis=0)
    ahead = ahead - (ahead @ up) * up
    return np.asarray(ahead / max(float(np.linalg.norm(ahead)), 1e-9))


def _low(values: FloatArray, rate_hz: float, corner_hz: float) -> FloatArray:
    return np.asarray(sosfiltfilt(butter(2, corner_hz, fs=rate_hz, output="sos"), values, axis=0))


def _walk_again(item: CheckItem, reason: str) -> Finding:
    return Finding(
        item,
        Verdict.LOOK,
        reason,
        "stand still, then walk six steps or more straight ahead at an even pace",
    )
