"""Simulated seasons of jump heights, looked at after every session: false alarms and finds.

``python -m tests.campaign.seasons 200`` prints how often a change is told in seasons without one,
and how often and how soon known changes are found. Numbers are invented; their sizes are usual
ones (attempt to attempt 2 cm, day to day 1 cm, measurement 1 cm).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from imujump.sessions.changes import Verdict
from imujump.sessions.readings import Reading, SessionReadings
from imujump.sessions.trends import LEAST_SESSIONS, change_so_far

BEGIN = datetime(2025, 9, 1, 17, tzinfo=UTC)

Course = Callable[[float], float]
"""Level against its start, metres, by the share of the season that has passed."""


@dataclass(frozen=True, slots=True)
class Season:
    """How a season is drawn.

    ``memory`` is the correlation of one session's form with the next one's; ``heavy`` draws form
    and attempts from Student's t with 4 degrees of freedom instead of the normal distribution.
    """

    sessions: int = 50
    least_attempts: int = 3
    most_attempts: int = 8
    attempt_sd_m: float = 0.020
    form_sd_m: float = 0.010
    sigma_m: float | None = 0.010
    memory: float = 0.0
    heavy: bool = False
    course: Course = lambda share: 0.0


@dataclass(frozen=True, slots=True)
class Seen:
    """What was told in a season: at which session first, whether at the end, and how large."""

    first: int | None
    at_end: bool
    value_m: float | None
    covered: bool


def draw_season(plan: Season, generator: np.random.Generator) -> tuple[SessionReadings, ...]:
    """Draw one season; half of the measurement's variance is common to a session's attempts."""

    def noise(size: int) -> np.ndarray:
        if plan.heavy:
            return generator.standard_t(4, size) / np.sqrt(2.0)
        return generator.normal(size=size)

    fresh = noise(plan.sessions)
    form = np.empty(plan.sessions)
    form[0] = fresh[0]
    for k in range(1, plan.sessions):
        form[k] = plan.memory * form[k - 1] + np.sqrt(1.0 - plan.memory**2) * fresh[k]
    sigma = plan.sigma_m or 0.0
    found = []
    for k in range(plan.sessions):
        n = int(generator.integers(plan.least_attempts, plan.most_attempts + 1))
        level = 0.45 + plan.course(k / (plan.sessions - 1)) + plan.form_sd_m * form[k]
        level += sigma * np.sqrt(0.5) * generator.normal()
        drawn = level + plan.attempt_sd_m * noise(n)
        drawn += sigma * np.sqrt(0.5) * generator.normal(size=n)
        found.append(
            SessionReadings(
                k,
                BEGIN + timedelta(days=3.5 * k),
                tuple(Reading(float(value), plan.sigma_m) for value in drawn),
            )
        )
    return tuple(found)


def watch(season: tuple[SessionReadings, ...], truth_m: float = 0.0) -> Seen:
    """Look after every session, as a coach does."""
    first, change = None, None
    for k in range(LEAST_SESSIONS, len(season) + 1):
        change = change_so_far(season[:k])
        if change.verdict is Verdict.CHANGED and first is None:
            first = k
    assert change is not None
    covered = change.interval is not None and change.interval.holds(truth_m)
    return Seen(first, change.verdict is Verdict.CHANGED, change.value, covered)


def step(size_m: float, at: float = 0.5) -> Course:
    """Give a level that jumps once."""
    return lambda share: size_m if share >= at else 0.0


def ramp(size_m: float) -> Course:
    """Give a level that rises steadily."""
    return lambda share: size_m * share


PLAIN = Season()
WITHOUT_CHANGE = {
    "plain": PLAIN,
    "100 sessions": replace(PLAIN, sessions=100),
    "12 sessions": replace(PLAIN, sessions=12),
    "1 or 2 attempts": replace(PLAIN, least_attempts=1, most_attempts=2),
    "no sigma": replace(PLAIN, sigma_m=None),
    "no form of the day": replace(PLAIN, form_sd_m=0.0, sigma_m=None),
    "outliers (t, 4 df)": replace(PLAIN, heavy=True),
    "form lasts, r = 0.3": replace(PLAIN, memory=0.3),
    "form lasts, r = 0.6": replace(PLAIN, memory=0.6),
}
WITH_CHANGE = {
    f"{name} {size_m * 100:.0f} cm": replace(PLAIN, course=shape(size_m))
    for name, shape in (("step at half", step), ("ramp", ramp))
    for size_m in (0.01, 0.02, 0.03, 0.04, 0.06)
}


def false_alarms(plan: Season, seasons: int, seed: int) -> int:
    """Count the seasons in which any look told a change."""
    generator = np.random.default_rng(seed)
    return sum(watch(draw_season(plan, generator)).first is not None for _ in range(seasons))


def tell(line: str) -> None:
    """Print one line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main(seasons: int, seed: int) -> None:
    """Print both tables."""
    tell(f"{seasons} seasons a row, seed {seed}; looked at after every session from the 6th")
    tell("without change          | seasons with a false alarm")
    for name, plan in WITHOUT_CHANGE.items():
        alarms = false_alarms(plan, seasons, seed)
        tell(f"{name:23s} | {alarms:4d} ({100.0 * alarms / seasons:.1f} %)")
    tell("with change             | ever told | told at end | median session | mean told, cm")
    for name, plan in WITH_CHANGE.items():
        generator = np.random.default_rng(seed)
        seen = [watch(draw_season(plan, generator)) for _ in range(seasons)]
        firsts = [each.first for each in seen if each.first is not None]
        when = f"{np.median(firsts):.0f}" if firsts else "-"
        ends = [each.value_m for each in seen if each.at_end and each.value_m is not None]
        size = f"{100.0 * np.mean(ends):.1f}" if ends else "-"
        tell(
            f"{name:23s} | {100.0 * len(firsts) / seasons:8.0f}% | "
            f"{100.0 * len(ends) / seasons:10.0f}% | {when:>14s} | {size:>8s}",
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200, int(sys.argv[2]) if sys.argv[2:] else 1)
