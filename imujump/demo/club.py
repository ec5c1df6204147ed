"""The demo club: who jumps, and every change that is built in. Invented, all of it."""

from __future__ import annotations

from imujump.demo.plan import AthletePlan, Cue, Expected, Ladder, Level, OtherKind
from imujump.model import Side, TakeOffStyle

CLUB = "Harbour Lane Jumpers (invented)"
SEED = 2025

ONE, TWO = TakeOffStyle.ONE_FOOT, TakeOffStyle.TWO_FOOT

HEIGHT_DAY_M, HEIGHT_ATTEMPT_M = 0.007, 0.013
SPEED_DAY_MPS, SPEED_ATTEMPT_MPS = 0.05, 0.09
RATIO_DAY, RATIO_ATTEMPT = 0.012, 0.02
STANDING_DAY_M, STANDING_ATTEMPT_M = 0.006, 0.010
"""Scatter from session to session and from attempt to attempt (own choice: with some 3 % from
attempt to attempt and 2 % from day to day of a good squad, below the 5.8 % of height from day to
day in 41 men, PMC7039490)."""


def _height(start: float, change: float = 0.0, begins: float = 0.0, ends: float = 1.0) -> Level:
    return Level(start, change, begins, ends, HEIGHT_DAY_M, HEIGHT_ATTEMPT_M)


def _speed(start: float, change: float = 0.0, begins: float = 0.0, ends: float = 1.0) -> Level:
    return Level(start, change, begins, ends, SPEED_DAY_MPS, SPEED_ATTEMPT_MPS)


def _ratio(start: float) -> Level:
    return Level(start, day=RATIO_DAY, attempt=RATIO_ATTEMPT)


def _standing(start: float, change: float = 0.0, begins: float = 0.0, ends: float = 1.0) -> Level:
    return Level(start, change, begins, ends, STANDING_DAY_M, STANDING_ATTEMPT_M)


def _nothing(metric: str) -> Expected:
    return Expected("trend", metric, 0.0, False, "no change")


CLUB_PLAN: tuple[AthletePlan, ...] = (
    AthletePlan(
        name="Mira Tolland",
        sport="high jump",
        age=23,
        stature=Level(1.74),
        mass_kg=Level(61.0, 0.5),
        style=ONE,
        side=Side.LEFT,
        height=_height(0.42, 0.05, begins=0.30, ends=0.65),
        speed=_speed(4.3),
        last_step_ratio=_ratio(0.91),
        standing=_standing(0.31, 0.03, begins=0.30, ends=0.65),
        contact_s=0.19,
        lowering_m=0.14,
        weekday=1,
        surface="Track",
        shoe="Spikes",
        expected=(
            Expected("trend", "height_flight_m", 0.05, True, "jumps 5 cm higher, by more push"),
            Expected("standing", "height_flight_m", 0.03, False, "3 cm from standing: few tests"),
            _nothing("approach_speed_mps"),
            _nothing("last_step_ratio"),
        ),
    ),
    AthletePlan(
        name="Jonas Ebbe",
        sport="volleyball",
        age=27,
        stature=Level(1.88),
        mass_kg=Level(84.0, -1.5),
        style=TWO,
        side=Side.RIGHT,
        height=_height(0.48),
        speed=_speed(3.2, 0.4, begins=0.20, ends=0.80),
        last_step_ratio=_ratio(1.16),
        standing=_standing(0.38),
        contact_s=0.285,
        lowering_m=0.20,
        weekday=0,
        surface="Sports hall floor",
        shoe="Indoor shoes",
        expected=(
            Expected("trend", "approach_speed_mps", 0.4, True, "comes in 0.4 m/s faster"),
            _nothing("height_flight_m"),
            Expected("styles", "height_flight_m", -0.07, True, "7 cm lower off one foot"),
        ),
        other=OtherKind(3, 3, ONE, Side.LEFT, 0.41, 4.0),
    ),
    AthletePlan(
        name="Safi Onwell",
        sport="basketball",
        age=21,
        stature=Level(1.81),
        mass_kg=Level(76.0),
        style=TWO,
        side=Side.LEFT,
        height=_height(0.47),
        speed=_speed(3.4),
        last_step_ratio=_ratio(1.15),
        standing=_standing(0.37),
        contact_s=0.28,
        lowering_m=0.20,
        weekday=3,
        surface="Sprung floor",
        shoe="Indoor shoes",
        expected=(
            _nothing("height_flight_m"),
            _nothing("approach_speed_mps"),
            Expected("drop_off", "height_flight_m", -0.009, True, "0.9 cm lower with each attempt"),
        ),
        new_shoe="Running shoes",
        drop_off_m=0.009,
        loose=9,
        seen=("Arms late", "Trunk forward"),
    ),
    AthletePlan(
        name="Ilka Marrow",
        sport="handball",
        age=25,
        stature=Level(1.68),
        mass_kg=Level(64.0, 0.5),
        style=ONE,
        side=Side.LEFT,
        height=_height(0.37),
        speed=_speed(4.0),
        last_step_ratio=_ratio(0.98),
        standing=_standing(0.29),
        contact_s=0.195,
        lowering_m=0.14,
        weekday=2,
        surface="Sports hall floor",
        shoe="Indoor shoes",
        expected=(
            Expected("cue", "height_flight_m", 0.03, True, "3 cm higher after the cue"),
            Expected("cue", "last_step_ratio", -0.09, True, "shorter last step after the cue"),
            _nothing("approach_speed_mps"),
        ),
        attempts=8,
        cue=Cue("Quick last step", after=4, height_m=0.03, last_step_ratio=-0.09),
        cued=(8, 9, 10, 11, 12, 13, 14),
        waiting=15,
        seen=("Looked down", "Head up"),
    ),
    AthletePlan(
        name="Tomas Venn",
        sport="volleyball",
        age=30,
        stature=Level(1.93),
        mass_kg=Level(91.0, 1.0),
        style=TWO,
        side=Side.RIGHT,
        height=_height(0.45, 0.01),
        speed=_speed(3.3),
        last_step_ratio=_ratio(1.14),
        standing=_standing(0.36),
        contact_s=0.29,
        lowering_m=0.20,
        weekday=0,
        surface="Sports hall floor",
        shoe="Indoor shoes",
        expected=(
            Expected("trend", "height_flight_m", 0.01, False, "1 cm higher: too little to be seen"),
            Expected("cue", "height_flight_m", 0.0, False, "the cue does nothing"),
            Expected("speed", "height_flight_m", 0.0, False, "speed does nothing to height"),
        ),
        cue=Cue("Reach high", after=3),
        cued=(5, 6, 8, 10, 11, 13, 14),
        ladder=Ladder((2, 7, 12), (2.7, 3.3, 3.9)),
    ),
    AthletePlan(
        name="Nadia Sorrel",
        sport="high jump",
        age=20,
        stature=Level(1.72),
        mass_kg=Level(58.0, 0.5),
        style=ONE,
        side=Side.RIGHT,
        height=_height(0.41),
        speed=_speed(4.2),
        last_step_ratio=_ratio(0.92),
        standing=_standing(0.30),
        contact_s=0.19,
        lowering_m=0.14,
        weekday=1,
        surface="Track",
        shoe="Spikes",
        expected=(
            Expected("speed", "height_flight_m", 4.2, True, "highest at 4.2 m/s"),
            _nothing("last_step_ratio"),
        ),
        ladder=Ladder((1, 5, 9, 13), (3.2, 4.2, 5.1), best_mps=4.2, loss_m_per_mps2=0.07),
    ),
    AthletePlan(
        name="Owen Kestrel",
        sport="basketball",
        age=14,
        stature=Level(1.58, 0.045),
        mass_kg=Level(46.0, 4.0),
        style=TWO,
        side=Side.LEFT,
        height=_height(0.36, 0.01),
        speed=_speed(3.1),
        last_step_ratio=_ratio(1.15),
        standing=_standing(0.28, 0.008),
        contact_s=0.27,
        lowering_m=0.17,
        weekday=4,
        surface="Sports hall floor",
        shoe="Indoor shoes",
        expected=(
            Expected("growth", "height_flight_m", 0.01, False, "1 cm higher, as stature grew"),
            _nothing("approach_speed_mps"),
        ),
    ),
    AthletePlan(
        name="Lene Arbour",
        sport="long jump",
        age=16,
        stature=Level(1.69, 0.005),
        mass_kg=Level(57.0, 0.5),
        style=ONE,
        side=Side.LEFT,
        height=_height(0.40),
        speed=_speed(4.4),
        last_step_ratio=_ratio(0.90),
        standing=_standing(0.29),
        contact_s=0.185,
        lowering_m=0.14,
        weekday=3,
        surface="Track",
        shoe="Spikes",
        expected=(
            _nothing("height_flight_m"),
            _nothing("approach_speed_mps"),
            Expected("sides", "height_flight_m", 0.04, True, "4 cm higher off the left foot"),
        ),
        attempts=4,
        other=OtherKind(1, 3, ONE, Side.RIGHT, 0.36, 4.4),
    ),
)
"""The truth of the club."""
