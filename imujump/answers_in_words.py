"""Answers of the statistics in short English sentences, numbers in display units.

Every function takes a result of :mod:`imujump.sessions` and the wording of its metric.
"""

from __future__ import annotations

from datetime import date

from imujump.display_units import Unit, display_sigma, display_value
from imujump.sessions.changes import Change, Verdict
from imujump.sessions.growth import GrowthNote, GrowthView
from imujump.sessions.interval import Interval
from imujump.sessions.slopes import Slope
from imujump.wording import FLIGHT, Wording, capital

MINUS = "\N{MINUS SIGN}"

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

CONDITIONS = {
    "surface": "surface",
    "shoe": "shoe",
    "mounting": "mounting",
    "sides": "take-off foot",
    "pipelines": "version of the analysis",
}

PER_STATURE = Wording(
    FLIGHT,
    "height over stature",
    "over stature",
    "The length divided by the athlete's stature on the day.",
    Unit("% of stature", 100.0),
    1,
)
"""How a length over stature is shown."""


def day(instant: date) -> str:
    """Write a day.

    >>> day(date(2026, 3, 1))
    '1 March 2026'
    """
    return f"{instant.day} {MONTHS[instant.month - 1]} {instant.year}"


def count(number: int, one: str, many: str | None = None) -> str:
    """Write how many there are.

    >>> count(1, "session"), count(3, "session")
    ('1 session', '3 sessions')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def amount(value: float, wording: Wording) -> str:
    """Write a difference with its sign and unit."""
    shown = display_value(value, wording.unit, wording.decimals)
    sign = "+" if value > 0.0 and float(shown) != 0.0 else ""
    return f"{sign}{shown} {wording.unit.symbol}".strip().replace("-", MINUS)


def limits(interval: Interval, wording: Wording) -> str:
    """Write an interval with its unit."""
    low, high = (
        display_value(v, wording.unit, wording.decimals) for v in (interval.low, interval.high)
    )
    return f"{low} to {high} {wording.unit.symbol}".strip().replace("-", MINUS)


def error(value: float, wording: Wording) -> str:
    """Write an error, which is never shown as 0."""
    return f"{display_sigma(value, wording.unit, wording.decimals)} {wording.unit.symbol}".strip()


def change_sentence(change: Change, wording: Wording) -> str:
    """Say whether a metric has changed, and what would settle it if that is open."""
    name = wording.label
    if change.verdict is Verdict.NO_SPREAD:
        return f"All values of {name} are alike, so no error can be told."
    if change.value is None or change.interval is None or change.detectable is None:
        if change.more_sessions is None:
            return f"Too few sessions to know how {name} varies from day to day."
        more = change.more_sessions
        return f"Too few sessions to tell a change of {name}: {count(more, 'more session')} needed."
    spans = f"{amount(change.value, wording)} (likely {limits(change.interval, wording)})"
    if change.verdict is Verdict.CHANGED:
        return f"{capital(name)} has changed: {spans}{_since(change)}."
    if change.verdict is Verdict.ALIKE:
        return f"{capital(name)} is alike: the difference is {spans}, too small to matter."
    told = (
        f"{capital(name)}: not yet distinguishable. The difference is {spans}; "
        f"below {error(change.detectable, wording)} it could be error."
    )
    return f"{told} {_what_settles(change)}".strip()


def _since(change: Change) -> str:
    if change.since_utc is None:
        return ""
    if change.gradual:
        return f", little by little since {day(change.since_utc)}"
    return f", since about {day(change.since_utc)}"


def _what_settles(change: Change) -> str:
    if change.more_sessions is None:
        return "If it stays this small, no reasonable number of sessions will settle it."
    attempts = "" if change.more_attempts is None else f" (about {change.more_attempts} attempts)"
    return (
        "If it stays like this, about "
        f"{count(change.more_sessions, 'more session')}{attempts} would settle it."
    )


def change_cautions(change: Change) -> tuple[str, ...]:
    """Say what else may lie behind a difference."""
    told = []
    for condition in change.conditions:
        before, after = (_listed(side) for side in (condition.before, condition.after))
        name = CONDITIONS[condition.name]
        if condition.before == condition.after:
            told.append(f"More than one {name} is mixed here: {before}.")
        else:
            told.append(
                f"The {name} was not the same: {before} before, {after} after. "
                "The difference may come from that."
            )
    if change.value is not None and change.measurement_limit is None:
        told.append("The measurement's own error is not known for these attempts.")
    return tuple(told)


def _listed(values: tuple[str, ...]) -> str:
    return " and ".join(value or "not noted" for value in values) or "not noted"


def growth_sentence(view: GrowthView) -> str:
    """Say what growth has to do with a change; empty where nothing needs saying."""
    grew = ""
    if view.grown_ratio is not None:
        grew = f" Stature grew by {100.0 * view.grown_ratio:.1f} % between the two periods."
    if view.note is GrowthNote.NOT_A_LENGTH:
        return "The athlete may still be growing, which can change this too."
    if view.note is GrowthNote.NO_STATURE:
        return (
            "The athlete may still be growing, and growth may explain the change. "
            "Measure stature at least every three months to tell."
        )
    if view.note is GrowthNote.MAY_EXPLAIN:
        return f"Over stature the change is not distinguishable: growth may explain it.{grew}"
    if view.note is GrowthNote.BEYOND_GROWTH:
        return f"The change is there over stature as well, so it is more than growth.{grew}"
    return ""


def slope_sentence(slope: Slope | None, wording: Wording) -> str:
    """Say how fast a metric moves."""
    if slope is None:
        return "Too few sessions for a rate of change."
    return (
        f"Over {count(slope.span.days, 'day')} and {count(slope.n, 'session')}: "
        f"{amount(slope.value, wording)} a month (likely {limits(slope.interval, wording)})."
    )
