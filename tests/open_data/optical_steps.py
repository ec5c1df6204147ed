"""Foot strikes, toe-offs and strides of one foot from optical ankle and toe paths."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfiltfilt

from imujump.model import BoolArray, EventKind, FloatArray, GaitEvent, Side

from .truth import GaitTruth, Stride

ANKLE_LANDED_MPS = 0.5
"""Ankle speed at heel contact. The ankle then turns about the heel, some 0.08 m away, at
4 to 6 rad/s while the foot slaps down: 0.3 to 0.5 m/s (own estimate)."""

TOE_LEFT_MPS = 0.5
"""Speed at which the toe marker has surely begun to leave (own choice)."""

STRIKE_SIGMA_S = 0.020
"""Foot strike, one standard deviation (own estimate): the first peak of the shank
accelerometer, an independent witness, follows by 0 to 20 ms in straight walking."""

TOE_OFF_SIGMA_S = 0.030
"""Toe-off, one standard deviation (own estimate): the three rules lie 40 to 70 ms apart."""

PIVOT_STRIDE_M = 0.5
"""A stride shorter than this is a pivot or a half step whose foot may drag; its instants
get :data:`PIVOT_SIGMA_S` (own choice)."""

PIVOT_SIGMA_S = 0.100
"""Instants of a pivoting foot: rules disagree by 100 ms and more."""

STRIDE_SIGMA_M = 0.02
"""Mid-stance to mid-stance: the ankle rolls on by up to 4 cm during a stance, and the
borders of stance are good to about half of that (own estimate)."""


def foot_truth(
    side: Side,
    ankle_m: FloatArray,
    toe_m: FloatArray,
    pelvis_m: FloatArray,
    on_ground: BoolArray,
    rate_hz: float,
) -> GaitTruth:
    """Derive one foot's events and strides; positions (n, 3), third component up.

    ``on_ground`` (n,) marks still stance; it is shorter than true stance, so each toe-off
    and strike lies between two stretches of it. Within such a swing, with paths low-passed
    at 12 Hz:

    *foot strike* is the frame after the last one before stance in which the ankle moves
    faster than 0.5 m/s;

    *toe-off* is the median of three instants before the toe is fastest: the toe farthest
    behind the pelvis along the stride (Zeni 2008, Gait & Posture 27:710, from memory), the
    peak of its acceleration along the stride (Hreljac & Marshall 2000, J Biomech 33:783,
    from memory) and its speed passing 0.5 m/s.

    A stride is the ankle's horizontal displacement from mid-stance to mid-stance.
    """
    smooth = butter(2, 12.0, fs=rate_hz, output="sos")
    ankle_m, toe_m, pelvis_m = (
        sosfiltfilt(smooth, path, axis=0) for path in (ankle_m, toe_m, pelvis_m)
    )
    ankle_speed = np.linalg.norm(np.gradient(ankle_m, 1.0 / rate_hz, axis=0), axis=1)
    toe_mps = np.gradient(toe_m, 1.0 / rate_hz, axis=0)
    toe_speed = np.linalg.norm(toe_mps, axis=1)
    toe_mps2 = np.gradient(toe_mps, 1.0 / rate_hz, axis=0)

    edges = np.diff(np.r_[0, on_ground.astype(int), 0])
    first, past = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    middle = (first + past - 1) // 2
    events, strides = [], []
    for i in range(len(first) - 1):
        left, landed = past[i], first[i + 1]
        shift_m = (ankle_m[middle[i + 1]] - ankle_m[middle[i]])[:2]
        length_m = float(np.linalg.norm(shift_m))
        along = shift_m / length_m

        fastest = left + int(np.argmax(toe_speed[left:landed]))
        behind = left + int(np.argmin((toe_m - pelvis_m)[left:fastest, :2] @ along))
        pushed = left + int(np.argmax(toe_mps2[left:fastest, :2] @ along))
        gone = left + int(np.argmax(toe_speed[left:fastest] > TOE_LEFT_MPS))
        toe_off = int(np.median([behind, pushed, gone]))
        strike = left + int(np.flatnonzero(ankle_speed[left:landed] >= ANKLE_LANDED_MPS)[-1]) + 1

        pivot = length_m < PIVOT_STRIDE_M
        events.append(
            GaitEvent(
                EventKind.TOE_OFF,
                side,
                toe_off / rate_hz,
                PIVOT_SIGMA_S if pivot else TOE_OFF_SIGMA_S,
            )
        )
        events.append(
            GaitEvent(
                EventKind.FOOT_STRIKE,
                side,
                strike / rate_hz,
                PIVOT_SIGMA_S if pivot else STRIKE_SIGMA_S,
            )
        )
        start_s, end_s = (middle[[i, i + 1]] / rate_hz).tolist()
        strides.append(Stride(side, start_s, end_s, length_m, STRIDE_SIGMA_M))
    return GaitTruth(tuple(events), tuple(strides))
