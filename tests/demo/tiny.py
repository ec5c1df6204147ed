"""A club so small that it is made in a moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from imujump.demo.club import CLUB_PLAN
from imujump.demo.plan import AthletePlan, Cue
from imujump.demo.truth import Seasons, seasons

ENDS_ON = date(2026, 3, 1)
SEED = 7


def tiny_plan(attempts: int = 2) -> AthletePlan:
    """Two sessions of few attempts, a cue in the last; the athlete is 14 years old."""
    grown = next(plan for plan in CLUB_PLAN if plan.name == "Owen Kestrel")
    return replace(
        grown,
        sessions=2,
        attempts=attempts,
        cue=Cue("Reach high", 2),
        cued=(1,),
        loose=0,
        waiting=1,
    )


def tiny_club(attempts: int = 2) -> Seasons:
    return seasons([tiny_plan(attempts)], ENDS_ON, SEED)
