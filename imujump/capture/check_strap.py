"""Sensor check by a stamp: how the sensor rings on its strap after a blow.

A tight sensor follows the bone: what rings is soft tissue, damped within a few hundredths of a
second. A loose one swings on its strap, slowly and for longer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from imujump.capture.check_words import (
    CheckItem,
    CheckSamples,
    Finding,
    Verdict,
    graded,
    resting,
    worst,
)
from imujump.model import FloatArray, Placement

LEAST_BLOW_MPS2 = {Placement.PELVIS: 6.0, Placement.LEFT_SHANK: 12.0, Placement.RIGHT_SHANK: 12.0}
"""Peak of a stamp against rest (own choice: a loose strap softens it)."""

QUIET_FROM_S, QUIET_TO_S, QUIET_S = 0.45, 2.5, 0.45
"""After a stamp the athlete stands still in this span, for so long (own choice)."""

STOOD_S = 1.5
"""Somebody who stamps stood within this time before; one who walks did not (own choice)."""

RING_FROM_S, RING_TO_S = 0.03, 0.40
"""Span after the peak in which ringing is looked at: the blow itself is over (own choice)."""

BAND_HZ = (6.0, 45.0)
"""The body's own movement lies below, what a strap can swing at inside (own choice)."""

LEAST_SHARE = 0.06
"""Ringing of less than this part of the blow is none (own choice)."""

GOOD_DECAY_S, USABLE_DECAY_S = 0.045, 0.15
"""Time in which ringing falls to 37 %: soft tissue at 14 to 50 Hz and a third of critical damping
takes 10 to 32 ms (the model of our own simulator); a strap that swings at 8 to 25 Hz with a
tenth of critical damping takes 60 to 200 ms (own choice)."""

MOST_STAMPS = 6
"""The last stamps count: earlier ones were with the strap as it was before (own choice)."""

HARD = 0.5
"""Blows of less than this part of the hardest are steps, no stamps (own choice)."""

_ORDER = 4
"""Two swings at once: strap and body (own choice)."""


@dataclass(frozen=True, slots=True)
class Ringing:
    """A damped swing after a blow.

    ``share`` is its size at the span's start against the blow's peak; ``decay_s`` the time in
    which it falls to 37 %.
    """

    frequency_hz: float
    damping_ratio: float
    decay_s: float
    share: float


def judge_strap(sensor: CheckSamples) -> Finding:
    """Judge how tight a sensor sits."""
    swings = [ringing(sensor, peak) for peak in stamps(sensor)]
    if not swings:
        return Finding(
            CheckItem.STRAP,
            Verdict.LOOK,
            "no stamp was seen",
            "stamp once with each foot and stand still after it",
        )
    heard = sorted((swing for swing in swings if swing is not None), key=lambda s: s.decay_s)
    if len(heard) <= len(swings) // 2:
        return Finding(CheckItem.STRAP, Verdict.GOOD, "no ringing after a stamp", "", 0.0, "ms")
    swing = heard[len(heard) // 2]
    verdict = worst((Verdict.GOOD, graded(swing.decay_s, GOOD_DECAY_S, USABLE_DECAY_S)))
    reason = (
        f"rings at {swing.frequency_hz:.0f} Hz and takes {1e3 * swing.decay_s:.0f} ms to die down"
    )
    remedy = "" if verdict is Verdict.GOOD else "tighten the strap and stamp again"
    return Finding(CheckItem.STRAP, verdict, reason, remedy, 1e3 * swing.decay_s, "ms")


def stamps(sensor: CheckSamples) -> list[int]:
    """Row numbers of blows between two rests."""
    rate_hz = sensor.info.rate_hz
    rest = np.zeros(len(sensor.time_s), dtype=bool)
    rest[resting(sensor)] = True
    accel = np.nan_to_num(sensor.accel_mps2)
    size = np.abs(np.linalg.norm(accel, axis=1) - np.median(np.linalg.norm(accel, axis=1)))
    least = LEAST_BLOW_MPS2[sensor.info.placement]
    reach = round(QUIET_FROM_S * rate_hz)
    found: list[int] = []
    for row in np.flatnonzero(size > least).tolist():
        around = size[max(row - reach, 0) : row + reach + 1]
        if size[row] < around.max() or (found and row - found[-1] < reach):
            continue
        # Rest is known in whole stretches: some of the span must be seen to be quiet.
        quiet = rest[row + reach : row + round(QUIET_TO_S * rate_hz)]
        before = rest[max(row - round(STOOD_S * rate_hz), 0) : row]
        if before.any() and np.count_nonzero(quiet) >= QUIET_S * rate_hz:
            found.append(row)
    hardest = max((float(size[row]) for row in found), default=0.0)
    return [row for row in found if size[row] > HARD * hardest][-MOST_STAMPS:]


def ringing(sensor: CheckSamples, peak: int) -> Ringing | None:
    """Strongest damped swing after a blow, None when there is none.

    Notes
    -----
    The span is a sum of damped swings; their frequencies and dampings are the eigenvalues that
    carry one stretch of it into the next (matrix pencil: Hua and Sarkar 1990, IEEE Transactions
    on Acoustics, Speech and Signal Processing 38:814, from memory).
    """
    rate_hz = sensor.info.rate_hz
    first, last = peak + round(RING_FROM_S * rate_hz), peak + round(RING_TO_S * rate_hz)
    if last > len(sensor.time_s) or last - first < 4 * _ORDER:
        return None
    accel = np.nan_to_num(sensor.accel_mps2)
    around = slice(max(peak - round(rate_hz), 0), last + round(0.5 * rate_hz))
    high_hz = min(BAND_HZ[1], 0.45 * rate_hz)
    sections = butter(2, BAND_HZ[0], "high", fs=rate_hz, output="sos")
    rapid = sosfiltfilt(sections, accel[around], axis=0)[first - around.start :][: last - first]
    axes = np.linalg.svd(rapid, full_matrices=False)[2]
    swing = rapid @ axes[0]
    settled = accel[last : last + round(0.3 * rate_hz)]
    blow = float(np.linalg.norm(accel[peak] - settled.mean(axis=0))) if len(settled) else 0.0
    modes = _modes(swing, rate_hz)
    best: Ringing | None = None
    most = 0.0
    for frequency_hz, decay_s, amplitude in modes:
        if not BAND_HZ[0] <= frequency_hz <= high_hz:
            continue
        energy = amplitude**2 * decay_s
        share = amplitude / blow if blow else 0.0
        if energy > most and share >= LEAST_SHARE:
            turning = 2.0 * math.pi * frequency_hz * decay_s
            most = energy
            best = Ringing(frequency_hz, 1.0 / math.hypot(1.0, turning), decay_s, share)
    return best


def _modes(signal: FloatArray, rate_hz: float) -> list[tuple[float, float, float]]:
    """Frequency, decay time and amplitude of the damped swings that make up a signal (n,)."""
    count = len(signal)
    width = count // 3
    rows = np.lib.stride_tricks.sliding_window_view(signal, width + 1)
    basis = np.linalg.svd(rows, full_matrices=False)[2][:_ORDER].T
    carried = np.linalg.pinv(basis[:-1]) @ basis[1:]
    poles = np.linalg.eigvals(carried)
    poles = poles[(np.abs(poles) < 1.0) & (np.abs(poles) > 0.2)]
    if not len(poles):
        return []
    powers = poles[np.newaxis, :] ** np.arange(count)[:, np.newaxis]
    amplitudes = np.linalg.lstsq(powers, signal.astype(complex), rcond=None)[0]
    return [
        (
            abs(float(np.angle(pole))) * rate_hz / (2.0 * math.pi),
            -1.0 / (math.log(abs(pole)) * rate_hz),
            2.0 * abs(amplitude),
        )
        for pole, amplitude in zip(poles.tolist(), amplitudes.tolist(), strict=True)
        if np.imag(pole) > 0.0
    ]
