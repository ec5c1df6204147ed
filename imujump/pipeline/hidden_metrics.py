"""Which numbers lost samples make worthless, decided before anything is measured."""

from __future__ import annotations

from imujump.model import METRIC_NAMES, Placement
from imujump.pipeline.attempts import LONGEST_PLANT_S
from imujump.pipeline.dark_spells import blind_s
from imujump.pipeline.estimates import Sheet, why_lost

FROM_STRIKE = (
    "plant_speed_mps",
    "speed_loss_mps",
    "last_step_m",
    "last_step_ratio",
    "plant_lowering_m",
    "plant_sink_m",
    "plant_interval_s",
    "take_off_contact_s",
    "plant_shank_angle_rad",
    "pelvis_tilt_rad",
    "free_leg_peak_radps",
    "free_leg_lead_s",
    "turn_rad",
    "reactive_ratio",
)
"""What is measured from the plant's first touchdown on."""

FROM_TOE_OFF = (
    "take_off_speed_mps",
    "speed_loss_mps",
    "take_off_contact_s",
    "free_leg_lead_s",
    "flight_s",
    "height_flight_m",
    "take_off_vertical_mps",
    "height_velocity_m",
    "reactive_ratio",
)
"""What is read at toe-off or measured from or to it."""

FROM_LANDING = ("flight_s", "height_flight_m", "reactive_ratio", "turn_rad")
"""What is measured to the landing."""

WITHOUT_MOTION = (
    "last_step_s",
    "penultimate_step_s",
    "penultimate_contact_s",
    "plant_interval_s",
    "take_off_contact_s",
    "flight_s",
    "height_flight_m",
    "reactive_ratio",
    "landing_peak_left_mps2",
    "landing_peak_right_mps2",
)
"""What events and single samples tell, though the motion as a whole is lost. How feet landed one
after the other is not among it: in one simulated jump the second was found 0.34 s late."""

LOADLESS_S = 0.2
"""Without the pelvis for so long in the plant, nothing tells how hard the floor pushed (own choice:
legs alone bridge 150 ms)."""

LOADLESS = (*FROM_TOE_OFF, "lowering_m", "plant_sink_m", "pelvis_rise_m")
"""What the pelvis's push in the plant decides."""


def withhold_hidden(sheet: Sheet) -> None:
    """Withhold what is measured at hidden instants, and all motion when it was lost."""
    jump = sheet.jump
    if jump.motion_lost is not None:
        sheet.withhold((n for n in METRIC_NAMES if n not in WITHOUT_MOTION), jump.motion_lost)
    if jump.toe_off_hidden:
        sheet.withhold(FROM_TOE_OFF, "samples are missing at toe-off")
    if jump.landing_hidden:
        sheet.withhold(FROM_LANDING, "samples are missing at the landing")
    if jump.plant_strike is not None:
        gone = why_lost(sheet, jump.plant[0].side, jump.plant_strike)
        if gone is not None:
            sheet.withhold(FROM_STRIKE, gone)
    begin = jump.toe_off - LONGEST_PLANT_S / sheet.body.step_s
    if Placement.PELVIS in sheet.body.paths:
        gone_s = blind_s(sheet.window, (Placement.PELVIS,), begin, jump.toe_off)
        if gone_s >= LOADLESS_S:
            sheet.withhold(LOADLESS, f"{gone_s:.2f} s of the pelvis are missing in the plant")
    for contact in jump.landings:
        assert contact.strike is not None
        gone = why_lost(sheet, contact.side, contact.strike)
        if gone is not None:
            sheet.withhold(("landing_interval_s", f"landing_peak_{contact.side}_mps2"), gone)
