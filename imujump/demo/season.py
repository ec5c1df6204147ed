"""From an athlete's plan to the truth of every attempt of the season. Pure; chance by seed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from imujump.demo.plan import AthletePlan
from imujump.model import Side, TakeOffStyle

WEEKS = 26
"""Length of the season."""

STANDING_EVERY, STANDING_JUMPS = 2, 3
"""Every so manyth session begins with so many standing jumps."""

MARKED_SHARE = 0.03
MARKED_LOSS_M = 0.06
"""Share of attempts that fail and that the coach marks, and the height that they lose."""

FAILURES = ("Missed plant", "Off balance")
SEEN_SHARE = 0.25
LIMIT = 2.0
"""Scatter is cut off at so many standard deviations: no attempt is beyond anatomy."""


@dataclass(frozen=True, slots=True)
class Try:
    """The truth of one attempt from a run-up.

    ``mark`` is the coach's reason why it does not count; ``cue`` and ``seen`` are noted after it.
    """

    style: TakeOffStyle
    side: Side
    height_m: float
    approach_speed_mps: float
    last_step_ratio: float
    seed: int
    mark: str = ""
    cue: str = ""
    seen: str = ""


@dataclass(frozen=True, slots=True)
class Training:
    """The truth of one session. ``stature_m`` and ``mass_kg`` are of the day."""

    number: int
    started_utc: datetime
    share: float
    stature_m: float
    mass_kg: float
    tries: tuple[Try, ...]
    standing_m: tuple[float, ...]
    shoe: str
    note: str = ""
    loose: bool = False
    waiting: bool = False


def season(plan: AthletePlan, row: int, ends_on: date, seed: int) -> list[Training]:
    """Draw an athlete's sessions.

    Parameters
    ----------
    plan : AthletePlan
        What is built in.
    row : int
        The athlete's place in the club: chance differs between athletes.
    ends_on : date
        The season's last session is at most a week before this day, and never after it.
    seed : int
        Source of all chance; the days do not depend on it.
    """
    return [
        _training(plan, number, day, np.random.default_rng((seed, row, number)))
        for number, day in enumerate(days(plan, ends_on))
    ]


def days(plan: AthletePlan, ends_on: date) -> list[date]:
    """List the days of an athlete's sessions: always the same weekday, spread over the season."""
    last = ends_on - timedelta(days=(ends_on.weekday() - plan.weekday) % 7)
    weeks = [round((WEEKS - 1) * k / (plan.sessions - 1)) for k in range(plan.sessions)]
    return [last - timedelta(weeks=WEEKS - 1 - week) for week in weeks]


def _training(plan: AthletePlan, number: int, day: date, chance: np.random.Generator) -> Training:
    share = number / (plan.sessions - 1)
    begin = datetime.combine(day, time(16, 0), UTC) + timedelta(minutes=10 * plan.weekday)
    form = {name: _cut(chance) for name in ("height", "speed", "ratio", "standing")}
    standing: tuple[float, ...] = ()
    if number % STANDING_EVERY == 0:
        level = plan.standing.at(share) + plan.standing.day * form["standing"]
        standing = tuple(
            level + plan.standing.attempt * _cut(chance) for _ in range(STANDING_JUMPS)
        )
    laddered = plan.ladder is not None and number in plan.ladder.sessions
    late_shoe = plan.new_shoe if 2 * number >= plan.sessions else ""
    return Training(
        number,
        begin,
        share,
        plan.stature.at(share),
        plan.mass_kg.at(share),
        tuple(_tries(plan, number, share, form, chance)),
        standing,
        late_shoe or plan.shoe,
        note="Speed ladder: slow, preferred, fast in mixed order" if laddered else "",
        loose=number == plan.loose,
        waiting=number == plan.waiting,
    )


def _tries(
    plan: AthletePlan,
    number: int,
    share: float,
    form: dict[str, float],
    chance: np.random.Generator,
) -> Iterator[Try]:
    height_m = plan.height.at(share) + plan.height.day * form["height"]
    speed_mps = plan.speed.at(share) + plan.speed.day * form["speed"]
    ratio = plan.last_step_ratio.at(share) + plan.last_step_ratio.day * form["ratio"]
    cued = plan.cue if number in plan.cued else None
    speeds = [speed_mps] * plan.attempts
    if plan.ladder is not None and number in plan.ladder.sessions:
        rungs = np.array(plan.ladder.speeds_mps * 3)
        speeds = [float(speed) for speed in chance.permutation(rungs)]
    for k, meant_mps in enumerate(speeds):
        after_cue = cued is not None and k >= cued.after
        one = _scattered(plan, height_m - k * plan.drop_off_m, meant_mps, ratio, chance)
        if cued is not None and after_cue:
            one = replace(
                one,
                height_m=one.height_m + cued.height_m,
                last_step_ratio=one.last_step_ratio + cued.last_step_ratio,
            )
        if plan.ladder is not None:
            loss_m = plan.ladder.loss_m(one.approach_speed_mps)
            one = replace(one, height_m=one.height_m - loss_m)
        if cued is not None and k == cued.after - 1:
            one = replace(one, cue=cued.text)
        yield one
    other = plan.other
    if other is not None and number % other.every == 0:
        for _ in range(other.attempts):
            moved_m = plan.height.at(share) - plan.height.start + plan.height.day * form["height"]
            usual = ratio if other.style is plan.style else 0.92
            speed = other.approach_speed_mps + plan.speed.day * form["speed"]
            one = _scattered(plan, other.height_m + moved_m, speed, usual, chance)
            yield replace(one, style=other.style, side=other.side)


def _scattered(
    plan: AthletePlan,
    height_m: float,
    speed_mps: float,
    ratio: float,
    chance: np.random.Generator,
) -> Try:
    """Draw one attempt around what was meant."""
    height_m += plan.height.attempt * _cut(chance)
    speed_mps += plan.speed.attempt * _cut(chance)
    ratio += plan.last_step_ratio.attempt * _cut(chance)
    fails, what, sees = chance.random(), int(chance.integers(2)), chance.random()
    seed = int(chance.integers(2**31))
    mark = FAILURES[what] if fails < MARKED_SHARE else ""
    return Try(
        plan.style,
        plan.side,
        height_m - (MARKED_LOSS_M if mark else 0.0),
        speed_mps,
        ratio,
        seed,
        mark,
        seen=plan.seen[int(chance.integers(len(plan.seen)))] if sees < SEEN_SHARE else "",
    )


def _cut(chance: np.random.Generator) -> float:
    return float(np.clip(chance.standard_normal(), -LIMIT, LIMIT))
