"""Sensor check without movement: link, rate, battery, channels, gravity, gyroscope, range."""

from __future__ import annotations

import math

import numpy as np

from imujump.capture.check_words import (
    CheckItem,
    CheckSamples,
    Finding,
    LinkFigures,
    Verdict,
    graded,
    resting,
    worst,
)
from imujump.constants import STANDARD_GRAVITY_MPS2

GOOD_LOSS, USABLE_LOSS = 0.002, 0.02
"""Share of packets lost for good: one gap of 50 ms in 25 s and in 2.5 s (own choice)."""

GOOD_RSSI_DBM = -80
"""Receivers are specified to work down to -70 dBm and usually do to -90 (from memory: Bluetooth
core specification, radio part); the margin is an own choice."""

GOOD_BATTERY, USABLE_BATTERY = 30, 10
"""Percent (own choice: a session lasts two hours)."""

GOOD_RATE, USABLE_RATE = 0.01, 0.05
"""Share by which the rate may be off its nominal value (own choice: sensors timed by their own
oscillator are within a percent or two)."""

GOOD_GRAVITY, USABLE_GRAVITY = 0.04, 0.09
"""Share by which rest may read off local gravity. Offset of 40 mg and scale error of 1 to 3 % are
usual for unadjusted parts (common practice, no source); open recordings of walking have sensors
up to 8 % off. Rest before each run-up takes the size out, not the direction's error."""

GOOD_BIAS_RADPS, USABLE_BIAS_RADPS = math.radians(5.0), math.radians(25.0)
"""Rest rate of a gyroscope: parts are specified within 1 to 20 degrees per second (common
practice, no source). It is taken out at each stand; a large one wanders with temperature."""

LEAST_ACCEL_RANGE_MPS2 = 16.0 * STANDARD_GRAVITY_MPS2 * 0.97
LEAST_GYRO_RANGE_RADPS = math.radians(1000.0) * 0.97
"""Landings on the shank exceed 16 g and a running shank turns at 1000 degrees per second (common
practice, no source)."""

AT_END = 0.995
"""Share of a range that counts as its end (own choice)."""

MANY_AT_END = 0.01
"""Share of samples at a range's end that leaves nothing to measure (own choice)."""


def judge_link(link: LinkFigures) -> Finding:
    """Judge packet loss and signal strength."""
    total = link.packets + link.lost
    if not link.packets:
        return Finding(
            CheckItem.LINK,
            Verdict.UNUSABLE,
            "no packet has arrived",
            "switch the sensor off and on and connect again",
        )
    loss = link.lost / total
    lossy = graded(loss, GOOD_LOSS, USABLE_LOSS)
    reasons = [f"{100.0 * loss:.1f} % of {total} packets lost"]
    weak = Verdict.GOOD
    if link.rssi_dbm is not None:
        # A link that loses nothing is usable, however weak.
        weak = Verdict.GOOD if link.rssi_dbm >= GOOD_RSSI_DBM else Verdict.LOOK
        reasons.append(f"signal {link.rssi_dbm} dBm")
    verdict = worst((lossy, weak))
    remedy = "" if verdict is Verdict.GOOD else "bring the receiver nearer and into the open"
    return Finding(CheckItem.LINK, verdict, ", ".join(reasons), remedy, 100.0 * loss, "%")


def judge_rate(sensor: CheckSamples, link: LinkFigures) -> Finding:
    """Judge the rate of samples, by the host's clock where it is known."""
    nominal_hz = sensor.info.rate_hz
    rate_hz = link.rate_hz
    if rate_hz is None and len(sensor.time_s) > 1:
        rate_hz = 1.0 / float(np.median(np.diff(sensor.time_s)))
    if rate_hz is None:
        return Finding(
            CheckItem.RATE, Verdict.UNUSABLE, "no samples", "switch the sensor off and on"
        )
    verdict = graded(abs(rate_hz / nominal_hz - 1.0), GOOD_RATE, USABLE_RATE)
    reason = f"{rate_hz:.1f} samples a second, {nominal_hz:g} expected"
    remedy = "" if verdict is Verdict.GOOD else "check the rate in the sensor's profile"
    return Finding(CheckItem.RATE, verdict, reason, remedy, rate_hz, "Hz")


def judge_battery(link: LinkFigures) -> Finding | None:
    """Judge the battery; None when the sensor does not tell."""
    percent = link.battery_percent
    if percent is None:
        return None
    verdict = Verdict.GOOD
    if percent < GOOD_BATTERY:
        verdict = Verdict.LOOK if percent >= USABLE_BATTERY else Verdict.UNUSABLE
    remedy = "" if verdict is Verdict.GOOD else "charge it before the session"
    return Finding(CheckItem.BATTERY, verdict, f"{percent} % left", remedy, float(percent), "%")


def judge_channels(sensor: CheckSamples) -> Finding:
    """Look for axes that are missing or show one value only."""
    values = np.hstack((sensor.accel_mps2, sensor.gyro_radps))
    names = [f"{kind} {axis}" for kind in ("accelerometer", "gyroscope") for axis in "xyz"]
    dead = []
    for name, channel in zip(names, values.T, strict=True):
        known = channel[np.isfinite(channel)]
        if len(known) < 0.9 * len(channel):
            dead.append(f"{name} is missing")
        elif len(known) > 1 and np.ptp(known) == 0.0:
            dead.append(f"{name} shows one value only")
    if not dead:
        return Finding(CheckItem.CHANNELS, Verdict.GOOD, "all six axes live")
    return Finding(
        CheckItem.CHANNELS,
        Verdict.UNUSABLE,
        ", ".join(dead),
        "restart the sensor; if it stays, use another one",
        float(len(dead)),
    )


def judge_gravity(sensor: CheckSamples, gravity_mps2: float) -> Finding:
    """Judge the length of specific force at rest against local gravity."""
    rows = resting(sensor)
    if not len(rows):
        return _not_still(CheckItem.GRAVITY)
    measured = float(np.linalg.norm(sensor.accel_mps2[rows].mean(axis=0))) / gravity_mps2
    verdict = graded(abs(measured - 1.0), GOOD_GRAVITY, USABLE_GRAVITY)
    remedy = ""
    if verdict is not Verdict.GOOD:
        wrong_scale = abs(math.log2(max(measured, 1e-3))) > 0.8
        remedy = (
            "its range or scale is not that of the profile; set it right"
            if wrong_scale
            else "calibrate the accelerometer or use another sensor"
        )
    return Finding(CheckItem.GRAVITY, verdict, f"{measured:.3f} g at rest", remedy, measured, "g")


def judge_gyro(sensor: CheckSamples) -> Finding:
    """Judge the gyroscope's rate at rest."""
    rows = resting(sensor)
    if not len(rows):
        return _not_still(CheckItem.GYRO)
    bias = float(np.linalg.norm(np.median(sensor.gyro_radps[rows], axis=0)))
    verdict = graded(bias, GOOD_BIAS_RADPS, USABLE_BIAS_RADPS)
    remedy = "" if verdict is Verdict.GOOD else "let it warm up at rest and calibrate it"
    reason = f"{math.degrees(bias):.1f} degrees a second at rest"
    return Finding(CheckItem.GYRO, verdict, reason, remedy, math.degrees(bias), "deg/s")


def judge_range(sensor: CheckSamples) -> Finding:
    """Look for samples at a range's end, and for ranges too small for jumping."""
    info = sensor.info
    stated = (
        (sensor.accel_mps2, info.accel_range_mps2, LEAST_ACCEL_RANGE_MPS2, "accelerometer"),
        (sensor.gyro_radps, info.gyro_range_radps, LEAST_GYRO_RANGE_RADPS, "gyroscope"),
    )
    told, verdicts, clipped = [], [Verdict.GOOD], 0
    for values, limit, least, name in stated:
        if limit is None:
            continue
        at_end = int(np.count_nonzero(np.nanmax(np.abs(values), axis=1) >= AT_END * limit))
        clipped += at_end
        if at_end:
            told.append(f"{name} at the end of its range in {at_end} samples")
            verdicts.append(graded(at_end / max(len(values), 1), 0.0, MANY_AT_END))
        elif limit < least:
            size = limit / STANDARD_GRAVITY_MPS2 if name == "accelerometer" else math.degrees(limit)
            unit = "g" if name == "accelerometer" else "degrees a second"
            told.append(f"{name} reads only up to {size:.0f} {unit}")
            verdicts.append(Verdict.LOOK)
    verdict = worst(verdicts)
    if verdict is Verdict.GOOD:
        return Finding(CheckItem.RANGE, verdict, "nothing at the end of a range", "", 0.0)
    remedy = "set a larger range in the sensor and in its profile"
    return Finding(CheckItem.RANGE, verdict, ", ".join(told), remedy, float(clipped), "samples")


def _not_still(item: CheckItem) -> Finding:
    return Finding(item, Verdict.LOOK, "nobody stood still", "stand still for three seconds")
