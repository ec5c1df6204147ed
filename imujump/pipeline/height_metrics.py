"""How high and how low the pelvis goes, and how fast it leaves the floor."""

from __future__ import annotations

import numpy as np

from imujump.model import Placement
from imujump.pipeline import kinematics as kin
from imujump.pipeline.estimates import Sheet
from imujump.pipeline.leaving_speed import leaving_speed
from imujump.pipeline.vectors import UP

HEIGHT_FLOOR_M = 0.004
"""Own choice: belt and skin under the pelvis sensor, sway of the standing reference."""


def put_heights(sheet: Sheet) -> None:
    """Put them on the sheet; nothing without a pelvis sensor."""
    body, jump = sheet.body, sheet.jump
    if Placement.PELVIS not in body.paths:
        return
    height = kin.pelvis_height(body)

    def sigma(index: float, timing_s: float = 0.0) -> float:
        rise = abs(float(kin.at(body.paths[Placement.PELVIS].velocity_mps, index)[2]))
        drift = kin.height_sigma(body, index)
        return float(np.sqrt(drift**2 + HEIGHT_FLOOR_M**2 + (rise * timing_s) ** 2))

    method = "pelvis dead reckoning, standing to standing"
    first, last = int(jump.toe_off), int(np.ceil(jump.landing))
    apex = first + int(np.argmax(height[first : last + 1]))
    sheet.put("pelvis_rise_m", float(height[apex]), sigma(apex), method)
    rising = body.paths[Placement.PELVIS].velocity_mps[:, 2]
    vertical, tissue = leaving_speed(rising, jump.toe_off, sheet.body.step_s)
    accel = abs(float(kin.at(body.paths[Placement.PELVIS].accel_mps2, jump.toe_off)[2]))
    vertical_sigma = float(
        np.sqrt(
            kin.velocity_sigma(body, jump.toe_off, UP) ** 2
            + tissue**2
            + (accel * jump.toe_off_sigma_s) ** 2
        )
    )
    sheet.put("take_off_vertical_mps", vertical, vertical_sigma, method)
    plant = jump.plant_strike
    begin = _lowering_start(sheet)
    lowest = begin + int(np.argmin(height[begin : first + 2]))
    lowering, lowering_sigma = -float(height[lowest]), sigma(lowest)
    sheet.put("lowering_m", lowering, lowering_sigma, method)
    if plant is None:
        return
    at_plant = -float(kin.at(height, plant))
    plant_sigma = sigma(plant, jump.plant[0].strike_sigma_s)
    sheet.put("plant_lowering_m", at_plant, plant_sigma, method)
    sink_sigma = float(np.hypot(HEIGHT_FLOOR_M, 0.5 * plant_sigma))
    sheet.put("plant_sink_m", lowering - at_plant, sink_sigma, method)


def _lowering_start(sheet: Sheet) -> int:
    """Penultimate touchdown, or a second before take-off where there is none."""
    jump = sheet.jump
    if jump.run_up and jump.run_up[-1].strike is not None:
        return int(jump.run_up[-1].strike)
    start = jump.toe_off - 1.0 / sheet.body.step_s
    if jump.plant_strike is not None:
        start = min(start, jump.plant_strike)
    return int(max(start, 0))
