"""Whether sensors that fly are worn by a person, or thrown, dropped and carried."""

from __future__ import annotations

import numpy as np

from imujump.model import Placement
from imujump.pipeline.body import Body, Window
from imujump.pipeline.flights import Flight
from imujump.pipeline.gap_filling import has_long_gaps

AS_ONE_SHARE = 0.5
"""Sensors whose rates differ by less than this part of their size lie in one bag: a jumper's shank
turns several times as fast as the pelvis (own choice; 0.58 and more around recorded jumps)."""

AROUND_S = 0.3
"""So much before and after the flight is looked at: the push and the landing turn the limbs."""

LIMP_MPS2 = 2.0
"""A thing that falls weighs nothing; of a person in flight at least one sensor feels a limb swing
by more than this on average (own choice; 4.5 and more in recorded jumps)."""

UNTURNED_RADPS = 0.5
"""A shank that turns by less than this on average around a flight lies somewhere (own choice; 1.5
and more root mean square in recorded jumps)."""

NO_LEGS_M = 0.12
"""Thighs whose length changes by more than this belong to nobody: sensors carried or thrown (own
choice; recorded people stay below 5 cm, with shanks that clip at every strike below 10 cm)."""


def not_worn(window: Window, body: Body, flight: Flight) -> str | None:
    """Reason why a flight is none of a person who wears the sensors; None when it may be.

    Parameters
    ----------
    window : Window
        Calibrated samples.
    body : Body
        The motion found in them.
    flight : Flight
        A flight in it.
    """
    if (body.leg_misfit_m or 0.0) > NO_LEGS_M and not has_long_gaps(window):
        beyond = sum(np.count_nonzero(sensor.clipped) for sensor in window.sensors.values())
        range_told = f"; {beyond} samples lie beyond a sensor's range: widen it" if beyond else ""
        return (
            "the sensors did not move like the legs and pelvis of one person, or nobody stood "
            "still before; check who wears which, and stand still for 3 s before each run-up"
            f"{range_told}"
        )
    if len(window.sensors) < 2:
        return None
    around = round(AROUND_S / window.step_s)
    wide = slice(max(int(flight.start) - around, 0), int(flight.end) + around)
    turning = {p: np.linalg.norm(s.gyro_radps[wide], axis=1) for p, s in window.sensors.items()}
    if any(p.side is not None and rate.mean() < UNTURNED_RADPS for p, rate in turning.items()):
        return "a shank sensor lay still while another fell: not worn; not measured"
    rates = list(turning.values())
    size = float(np.sqrt(np.mean(np.square(rates))))
    apart = max(float(np.sqrt(np.mean((rates[0] - other) ** 2))) for other in rates[1:])
    # Two shanks may well turn alike, a shank and the pelvis do not.
    as_one = Placement.PELVIS in turning and apart < AS_ONE_SHARE * size
    fifth = (flight.end - flight.start) / 5.0
    middle = slice(int(flight.start + fifth), int(flight.end - fifth) + 1)
    force_mps2 = max(
        float(np.linalg.norm(s.accel_mps2[middle], axis=1).mean()) for s in window.sensors.values()
    )
    if as_one or force_mps2 < LIMP_MPS2:
        return "all sensors fell or turned as one: carried or thrown, not worn; not measured"
    return None
