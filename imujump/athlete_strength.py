"""Standing-jump tests, power and the comparisons of jumps: gain, foot styles, sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from imujump.answers_in_words import day
from imujump.athlete_answers import Answer, Recent
from imujump.display_units import KILOGRAMS, PERCENT
from imujump.metric_course import HEIGHT, level_point, level_told, local_day
from imujump.model import Side
from imujump.pictures.course import Point, course_picture
from imujump.pictures.spans import Span, spans_picture
from imujump.sessions.day_to_day import session_levels
from imujump.sessions.ratios import Ratio, asymmetry, gain_percent, ratio_of
from imujump.sessions.readings import Filter, SessionReadings, metric_by_session
from imujump.sessions.records import BodyMeasure, Task
from imujump.sessions.reliability import typical_error
from imujump.sessions.standing_jump import Measured, PowerFormula, power
from imujump.strength_in_words import (
    FORMULAS,
    POWER_CAUTION,
    SIDE_CAUTION,
    STYLE_CAUTION,
    gain_sentence,
    side_sentence,
    style_sentence,
)
from imujump.wording import METRICS, sentence

NEAREST_MASS_DAYS = 30
"""A body mass this many days from the test stands for it (own choice: a month's usual change is a
percent or two)."""

MASS_SIGMA_KG = 0.5
"""Standard deviation of a body mass (own choice: clothing, meals and drink move it by about a
kilogram within a day)."""

NO_TEST = (
    "No standing jump counts in these sessions. Record some with the task standing jump; then "
    "height, power and the gain of the approach appear here."
)
NO_MASS = (
    f"No body mass is noted within {NEAREST_MASS_DAYS} days of this test. Add one above; then "
    "power appears here."
)


@dataclass(frozen=True, slots=True)
class PowerLine:
    """Power by one formula; ``reason`` says why there is none."""

    name: str
    watts: str
    per_kg: str
    source: str
    reason: str


@dataclass(frozen=True, slots=True)
class StandingTest:
    """The latest standing-jump test; ``powers`` are empty when ``reason`` says why."""

    on: str
    height: str
    attempts: int
    mass: str
    powers: tuple[PowerLine, ...]
    picture: str
    reason: str = ""
    caution: str = POWER_CAUTION


def standing_test(found: Recent, measures: Sequence[BodyMeasure]) -> StandingTest | None:
    """Look at the newest session with standing jumps; None when there is none."""
    tests = _heights(found, Filter(Task.STANDING))
    if not tests:
        return None
    words, levels = (
        METRICS[HEIGHT],
        session_levels(tests, typical_error(t.values.tolist() for t in tests)),
    )
    latest, on = levels[-1], local_day(levels[-1].started_utc)
    points = [level_point(each, words) for each in levels]
    picture = ""
    if len(points) > 1:
        picture = course_picture(points, words.unit, "Standing-jump height, test by test")
    mass, reason = mass_on(measures, on), NO_MASS
    powers: tuple[PowerLine, ...] = ()
    if mass is not None:
        height = Measured(latest.mean, latest.measurement_sigma)
        weight = Measured(mass.mass_kg, MASS_SIGMA_KG)
        powers = tuple(_power(formula, height, weight) for formula in PowerFormula)
        reason = ""
    return StandingTest(
        day(on),
        level_told(latest, words),
        latest.n,
        "" if mass is None else f"{mass.mass_kg:.1f} kg on {day(mass.on)}",
        powers,
        picture,
        reason,
    )


def mass_on(measures: Sequence[BodyMeasure], on: date) -> BodyMeasure | None:
    """Give the body measure nearest to a day; None if all are too far.

    >>> told = [BodyMeasure(date(2026, 1, 1), 60.0), BodyMeasure(date(2026, 2, 1), 61.0)]
    >>> mass_on(told, date(2026, 1, 28)).mass_kg
    61.0
    >>> mass_on(told, date(2026, 6, 1))
    """
    nearest = min(measures, key=lambda m: abs((m.on - on).days), default=None)
    if nearest is None or abs((nearest.on - on).days) > NEAREST_MASS_DAYS:
        return None
    return nearest


def _power(formula: PowerFormula, height: Measured, mass: Measured) -> PowerLine:
    found = power(formula, height, mass, Task.STANDING)
    name = sentence(FORMULAS[formula]).rstrip(".")
    if found.watts is None or found.per_kg is None:
        return PowerLine(name, "–", "–", found.source, sentence(found.reason or ""))
    error = "" if found.with_regression_error else "The formula's own error comes on top."
    return PowerLine(name, _text(found.watts, 0), _text(found.per_kg, 1), found.source, error)


def _text(told: Measured, decimals: int) -> str:
    text = f"{told.value:.{decimals}f}"
    if told.sigma is None:
        return text
    return f"{text} ± {max(told.sigma, 10.0**-decimals):.{decimals}f}"


def comparisons(found: Recent, task: Task) -> Answer:
    """Compare jumps of the same sessions: approach and standing, foot styles, sides.

    ``task`` is the approach jump that stands against the standing jump.
    """
    words = METRICS[HEIGHT]
    one, two = (_heights(found, Filter(each)) for each in (Task.ONE_FOOT, Task.TWO_FOOT))
    standing = _heights(found, Filter(Task.STANDING))
    left, right = (_heights(found, Filter(Task.ONE_FOOT, side)) for side in Side)
    gain = ratio_of(standing, two if task is Task.TWO_FOOT else one)
    style, sides = ratio_of(one, two), asymmetry(left, right)
    told = (
        ("Approach over standing", gain),
        ("Two-foot over one-foot", style),
        ("Left over right", None if sides is None else sides.ratio),
    )
    spans = [span for label, ratio in told if (span := _span(label, ratio)) is not None]
    sentences = [
        gain_sentence(gain, words),
        style_sentence(style, words),
        side_sentence(sides, words),
    ]
    cautions = [*([STYLE_CAUTION] if style else []), *([SIDE_CAUTION] if sides else [])]
    return Answer(
        tuple(sentences),
        tuple(cautions),
        spans_picture(spans, PERCENT, f"Differences in height in percent. {' '.join(sentences)}"),
        "Difference in flight-time height between jumps of the same sessions, in percent.",
    )


def _span(label: str, ratio: Ratio | None) -> Span | None:
    if ratio is None or ratio.interval is None:
        return None
    value, low, high = (
        gain_percent(each) / 100.0
        for each in (ratio.value, ratio.interval.low, ratio.interval.high)
    )
    told = f"{label}: {100 * value:+.1f} % (likely {100 * low:.1f} to {100 * high:.1f} %)"
    return Span(label, value, low, high, told)


def _heights(found: Recent, wanted: Filter) -> tuple[SessionReadings, ...]:
    return metric_by_session(found.attempts, found.sessions, HEIGHT, wanted)


def mass_picture(measures: Sequence[BodyMeasure]) -> str:
    """Draw body mass over time; empty for fewer than two measures."""
    if len(measures) < 2:
        return ""
    points = [Point(m.on, m.mass_kg, told=f"{day(m.on)}: {m.mass_kg:.1f} kg") for m in measures]
    first, last = measures[0], measures[-1]
    name = (
        f"Body mass from {first.mass_kg:.1f} kg on {first.on} to {last.mass_kg:.1f} kg on {last.on}"
    )
    return course_picture(points, KILOGRAMS, name, joined=True)
