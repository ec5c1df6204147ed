"""Every word a person reads about an attempt: labels, definitions, places, sides.

Terms are those of the trade: a step runs from one foot's touchdown to the next foot's
touchdown, the plant is the first contact of the take-off foot or feet, the free leg is the
one that does not push off in a one-foot jump.
"""

from __future__ import annotations

from dataclasses import dataclass

from imujump.display_units import (
    CENTIMETRES,
    DEGREES,
    DEGREES_PER_SECOND,
    METRES_PER_SECOND,
    METRES_PER_SECOND_SQUARED,
    MILLISECONDS,
    NO_UNIT,
    Unit,
)
from imujump.model import Attempt, Placement, Side, Step, TakeOffStyle


@dataclass(frozen=True, slots=True)
class Wording:
    """How one metric is named, explained and shown.

    ``label`` is its full name, ``head`` the short column head of the attempts table (one
    or two words), ``meaning`` one sentence for the reader, ``decimals`` the digits after
    the point in the display unit.
    """

    phase: str
    label: str
    head: str
    meaning: str
    unit: Unit
    decimals: int


APPROACH = "Approach"
LAST_STEPS = "Last two steps"
HIPS = "Hips"
PLANT = "Plant and take-off"
FLIGHT = "Flight and height"
LANDING = "Landing"

PHASES = (APPROACH, LAST_STEPS, HIPS, PLANT, FLIGHT, LANDING)
"""The headings under which metrics are listed, in the order of the jump."""

METRICS: dict[str, Wording] = {
    "approach_speed_mps": Wording(
        APPROACH,
        "approach speed",
        "approach speed",
        "How fast the hips travelled, on average, over the last step before the plant.",
        METRES_PER_SECOND,
        2,
    ),
    "peak_speed_mps": Wording(
        APPROACH,
        "peak speed",
        "peak speed",
        "The fastest step of the approach: the highest step-average speed of the hips.",
        METRES_PER_SECOND,
        2,
    ),
    "plant_speed_mps": Wording(
        APPROACH,
        "plant speed",
        "plant speed",
        "Horizontal speed of the hips at the instant the plant touches down.",
        METRES_PER_SECOND,
        2,
    ),
    "take_off_speed_mps": Wording(
        PLANT,
        "take-off speed",
        "take-off speed",
        "Horizontal speed of the hips when the last foot leaves the ground.",
        METRES_PER_SECOND,
        2,
    ),
    "speed_loss_mps": Wording(
        PLANT,
        "speed loss",
        "speed loss",
        "Plant speed minus take-off speed: the horizontal speed given up in the plant.",
        METRES_PER_SECOND,
        2,
    ),
    "last_step_m": Wording(
        LAST_STEPS,
        "last step length",
        "last step",
        "Distance between the ankles along the direction of travel, touchdown to touchdown; "
        "the last step ends at the plant's first foot.",
        CENTIMETRES,
        0,
    ),
    "penultimate_step_m": Wording(
        LAST_STEPS,
        "penultimate step length",
        "penult. step",
        "The same distance for the step before the last.",
        CENTIMETRES,
        0,
    ),
    "last_step_ratio": Wording(
        LAST_STEPS,
        "last / penultimate length",
        "step ratio",
        "Last step length divided by penultimate step length; below 1 the last is shorter.",
        NO_UNIT,
        2,
    ),
    "last_step_s": Wording(
        LAST_STEPS,
        "last step time",
        "last step",
        "Time from the touchdown that begins the last step to the plant's first touchdown.",
        MILLISECONDS,
        0,
    ),
    "penultimate_step_s": Wording(
        LAST_STEPS,
        "penultimate step time",
        "penult. step",
        "Time from touchdown to touchdown of the step before the last.",
        MILLISECONDS,
        0,
    ),
    "penultimate_contact_s": Wording(
        LAST_STEPS,
        "penultimate contact time",
        "penult. contact",
        "How long the foot stays on the ground from which the last step is pushed off.",
        MILLISECONDS,
        0,
    ),
    "lowering_m": Wording(
        HIPS,
        "lowering",
        "lowering",
        "How far the hips come down: standing height of the pelvis sensor minus its lowest "
        "height between penultimate touchdown and last toe-off.",
        CENTIMETRES,
        1,
    ),
    "plant_lowering_m": Wording(
        HIPS,
        "lowering at plant",
        "plant lowering",
        "How low the hips already are when the plant touches down, against standing.",
        CENTIMETRES,
        1,
    ),
    "plant_sink_m": Wording(
        HIPS,
        "sink in the plant",
        "plant sink",
        "Lowering minus lowering at plant: how far the hips still sink during the plant.",
        CENTIMETRES,
        1,
    ),
    "plant_interval_s": Wording(
        PLANT,
        "plant interval",
        "plant interval",
        "Two-foot take-off: time between the two feet's touchdowns.",
        MILLISECONDS,
        0,
    ),
    "take_off_contact_s": Wording(
        PLANT,
        "take-off contact time",
        "take-off contact",
        "Time on the ground for the take-off: first touchdown to last toe-off of the plant.",
        MILLISECONDS,
        0,
    ),
    "plant_shank_angle_rad": Wording(
        PLANT,
        "plant shank angle",
        "plant shank",
        "Lean of the plant shank from vertical at touchdown, positive when the foot is ahead "
        "(two-foot: the first foot).",
        DEGREES,
        1,
    ),
    "pelvis_tilt_rad": Wording(
        HIPS,
        "pelvis tilt at plant",
        "pelvis tilt",
        "Forward tilt of the pelvis at plant touchdown, against quiet standing.",
        DEGREES,
        1,
    ),
    "free_leg_peak_radps": Wording(
        PLANT,
        "free-leg peak rate",
        "free-leg peak",
        "One-foot take-off: fastest forward swing of the free shank after plant touchdown.",
        DEGREES_PER_SECOND,
        0,
    ),
    "free_leg_lead_s": Wording(
        PLANT,
        "free-leg lead",
        "free-leg lead",
        "One-foot take-off: how long before toe-off the free shank swung fastest.",
        MILLISECONDS,
        0,
    ),
    "turn_rad": Wording(
        FLIGHT,
        "turn",
        "turn",
        "How far the pelvis turns about the vertical from plant touchdown to landing; "
        "positive to the left.",
        DEGREES,
        0,
    ),
    "flight_s": Wording(
        FLIGHT,
        "flight time",
        "flight time",
        "Time in the air: last toe-off to first landing contact.",
        MILLISECONDS,
        0,
    ),
    "height_flight_m": Wording(
        FLIGHT,
        "flight-time height",
        "flight height",
        "Jump height worked out from flight time, g·t²/8; reads high when the athlete lands "
        "lower than they took off.",
        CENTIMETRES,
        1,
    ),
    "take_off_vertical_mps": Wording(
        FLIGHT,
        "vertical take-off speed",
        "vertical speed",
        "Upward speed of the pelvis when the last foot leaves the ground.",
        METRES_PER_SECOND,
        2,
    ),
    "height_velocity_m": Wording(
        FLIGHT,
        "take-off-velocity height",
        "velocity height",
        "Jump height worked out from vertical take-off speed, v²/2g.",
        CENTIMETRES,
        1,
    ),
    "pelvis_rise_m": Wording(
        FLIGHT,
        "pelvis rise",
        "pelvis rise",
        "Highest point of the pelvis sensor minus its standing height.",
        CENTIMETRES,
        1,
    ),
    "reactive_ratio": Wording(
        FLIGHT,
        "reactive ratio",
        "reactive ratio",
        "Flight time divided by take-off contact time.",
        NO_UNIT,
        2,
    ),
    "landing_interval_s": Wording(
        LANDING,
        "landing interval",
        "landing interval",
        "Time between the two feet's landing contacts.",
        MILLISECONDS,
        0,
    ),
    "landing_peak_left_mps2": Wording(
        LANDING,
        "left landing peak",
        "left landing",
        "Peak acceleration of the left shank at landing; not a force, and comparable only "
        "within one athlete with the same mounting.",
        METRES_PER_SECOND_SQUARED,
        0,
    ),
    "landing_peak_right_mps2": Wording(
        LANDING,
        "right landing peak",
        "right landing",
        "The same for the right shank.",
        METRES_PER_SECOND_SQUARED,
        0,
    ),
}
"""The wording of every metric, by its name in the JSON contract."""

FIRST_READ = (
    "approach_speed_mps",
    "penultimate_step_m",
    "last_step_m",
    "last_step_ratio",
    "lowering_m",
    "take_off_contact_s",
    "flight_s",
    "height_flight_m",
)
"""The few metrics of the one-line-an-attempt table, in the order of the jump."""

PLACEMENTS = {
    Placement.LEFT_SHANK: "left shank",
    Placement.RIGHT_SHANK: "right shank",
    Placement.PELVIS: "pelvis",
}


def take_off(attempt: Attempt) -> str:
    """Say in one word from which foot or feet the attempt took off.

    A two-foot take-off reads ``both``; ``-`` when no shank sensor tells.
    """
    if attempt.take_off_style is TakeOffStyle.TWO_FOOT:
        return "both"
    return "-" if attempt.take_off_side is None else str(attempt.take_off_side)


def take_off_sentence(attempt: Attempt) -> str:
    """Describe the take-off in words, for the heading of an attempt."""
    side = attempt.take_off_side
    if attempt.take_off_style is TakeOffStyle.ONE_FOOT:
        return "one-foot take-off" + (f" from the {side}" if side else "")
    if attempt.take_off_style is TakeOffStyle.TWO_FOOT:
        return "two-foot take-off" + (f", {side} foot plants first" if side else "")
    return "take-off foot unknown"


def step_name(step: Step) -> str:
    """Name a step by its place before the plant.

    The trade has words for the last three; earlier ones are counted back from the plant.
    """
    names = {-1: "last", -2: "penultimate", -3: "antepenultimate"}
    return names.get(step.number, f"{-step.number} before plant")


def foot(side: Side) -> str:
    """Say which foot."""
    return f"{side} foot"


def capital(text: str) -> str:
    """Begin a text with a capital.

    >>> capital("flight time")
    'Flight time'
    """
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Turn a reason into a sentence: capital first letter and a full stop.

    >>> sentence("one-foot take-off")
    'One-foot take-off.'
    """
    text = text.strip()
    if not text:
        return text
    closed = text if text.endswith((".", "!", "?")) else text + "."
    return capital(closed)
