"""What the review pages say: numbers in display units, days, sentences. Pure."""

from __future__ import annotations

from datetime import datetime

from dashboard.wording import TASKS
from imujump.display_units import display_sigma, display_value
from imujump.model import Estimate, TakeOffStyle
from imujump.sessions.interval import Interval
from imujump.sessions.records import NoteKind, Standing, StoredAttempt, Task
from imujump.sessions.through_session import (
    LANDED_TOGETHER_S,
    LEAST_FOR_COURSE,
    Course,
    Landings,
    Level,
)
from imujump.wording import METRICS, capital

HEIGHT = "height_flight_m"

SHORT_TASKS = {Task.ONE_FOOT: "one foot", Task.TWO_FOOT: "two feet", Task.STANDING: "standing"}
"""Tasks in a list's cells."""

STYLE_OF = {Task.ONE_FOOT: TakeOffStyle.ONE_FOOT, Task.TWO_FOOT: TakeOffStyle.TWO_FOOT}
"""Take-offs that go without saying for a task."""

SHOWN = (
    HEIGHT,
    "approach_speed_mps",
    "take_off_contact_s",
    "last_step_ratio",
    "lowering_m",
)
"""The few metrics that a session shows unless the coach chooses others."""

SURE = "95\u00a0%"

NOTES = {
    NoteKind.CUE: "Cue",
    NoteKind.SEEN: "Seen",
    NoteKind.PAIN: "Pain noted",
    NoteKind.NEW_SET: "New set",
}

PEAKS_CAUTION = (
    "Peaks depend on where and how tightly each sensor sits. Compare them only within one "
    "mounting; they are no force and say nothing about an injury."
)

BY_HAND = "Events set by hand"

NO_SESSIONS = (
    "No session is kept yet. Put recordings into the store with the command "
    "imujump add RECORDING --athlete NAME, then reload this page."
)
NO_ATTEMPTS = (
    "No attempt is kept in this session. Add a recording of it with the command "
    "imujump add RECORDING --athlete NAME."
)


def label(name: str) -> str:
    """Give a metric's name with a capital."""
    return capital(METRICS[name].label)


def unit(name: str) -> str:
    """Give a metric's display unit."""
    return METRICS[name].unit.symbol


def value(name: str, number: float | None) -> str:
    """Give a number of a metric in its display unit; a dash for none."""
    words = METRICS[name]
    if number is None:
        return "–"
    return display_value(number, words.unit, words.decimals).replace("-", "−")


def sigma(name: str, estimate: Estimate | None) -> str:
    """Give the standard deviation in the display unit; empty for none."""
    if estimate is None or estimate.value is None:
        return ""
    if estimate.sigma is None:
        return "?"
    return display_sigma(estimate.sigma, METRICS[name].unit, METRICS[name].decimals)


def with_unit(name: str, number: float) -> str:
    """Give a number with its unit."""
    return f"{value(name, number)} {unit(name)}".strip()


def day(instant: datetime) -> str:
    """Give a day as this computer's clock has it.

    >>> from datetime import timezone
    >>> len(day(datetime(2026, 3, 3, 12, 0, tzinfo=timezone.utc)))
    10
    """
    local = instant.astimezone()
    return f"{local.day} {local:%b %Y}"


def clock(instant: datetime) -> str:
    """Give the time of day as this computer's clock has it."""
    return f"{instant.astimezone():%H:%M}"


def counted(number: int, one: str, many: str) -> str:
    """Count things.

    >>> counted(1, "attempt", "attempts"), counted(2, "attempt", "attempts")
    ('1 attempt', '2 attempts')
    """
    return f"{number} {one if number == 1 else many}"


def mean_told(name: str, found: Level) -> str:
    """Word a mean with its interval."""
    told = f"{value(name, found.mean)}"
    if found.interval is not None:
        words = METRICS[name]
        told += f" ± {display_sigma(found.interval.half, words.unit, words.decimals)}"
    return f"{told} {unit(name)}".strip()


def course_told(name: str, found: Course | None) -> str:
    """Word what changed from the first attempt to the last."""
    if found is None:
        return (
            f"Fewer than {LEAST_FOR_COURSE} attempts count; that is too few to tell a drop-off "
            "within the session."
        )
    low, high = found.interval.low, found.interval.high
    if found.is_sure:
        verb = "fell" if found.change < 0.0 else "rose"
        near, far = sorted((abs(low), abs(high)))
        return (
            f"{label(name)} {verb} by {with_unit(name, abs(found.change))} from the first to the "
            f"last attempt ({SURE}: {value(name, near)} to {with_unit(name, far)}, a line through "
            f"{found.n} attempts)."
        )
    return (
        f"No drop-off can be told apart from chance: from the first to the last attempt between "
        f"{with_unit(name, -low)} lower and {with_unit(name, high)} higher ({SURE}, {found.n} "
        "attempts)."
    )


def landings_told(found: Landings) -> list[str]:
    """Word how landings came down."""
    if not found.seen:
        return ["No landing of both feet was measured."]
    parts = [
        f"{number} {words}"
        for number, words in (
            (found.left_first, "left foot first"),
            (found.right_first, "right foot first"),
            (found.together, "both together, as far as can be told"),
        )
        if number
    ]
    told = [f"Of {counted(found.seen, 'landing', 'landings')}: {', '.join(parts)}."]
    near = f"within {1000.0 * LANDED_TOGETHER_S:.0f}\u00a0ms of each other"
    if found.difference is not None and found.interval is not None:
        told.append(_peaks(found.difference, found.interval, found.pairs))
        if found.pairs < found.seen:
            told.append(f"Only landings with both feet down {near} are compared.")
    else:
        times = {0: "none", 1: "1 only"}.get(found.pairs)
        told.append(
            f"Shank peaks left and right are compared in landings with both feet down {near} and "
            f"both peaks measured: here {times}. Else the first foot takes the first impact."
        )
    return told


def _peaks(difference: float, interval: Interval, pairs: int) -> str:
    low, high = 100.0 * interval.low, 100.0 * interval.high
    if interval.holds(0.0):
        return (
            "Shank peaks left and right cannot be told apart: the left one between "
            f"{-low:.0f}\u00a0% lower and {high:.0f}\u00a0% higher ({SURE}, {pairs} landings)."
        )
    side = "left" if difference > 0.0 else "right"
    near, far = sorted((abs(low), abs(high)))
    return (
        f"The {side} shank's peak is {abs(100.0 * difference):.0f}\u00a0% higher "
        f"({SURE}: {near:.0f} to {far:.0f}\u00a0%, {pairs} landings)."
    )


def take_off(attempt: StoredAttempt) -> str:
    """Say from which foot an attempt took off."""
    if attempt.style is TakeOffStyle.ONE_FOOT:
        return f"one foot, {attempt.side}" if attempt.side else "one foot"
    if attempt.style is TakeOffStyle.TWO_FOOT:
        return f"two feet, {attempt.side} first" if attempt.side else "two feet"
    return "take-off foot unknown"


def task(attempt: StoredAttempt) -> str:
    """Say what was asked."""
    return TASKS[attempt.task.value]


def task_beyond(attempt: StoredAttempt) -> str:
    """Say what was asked where the take-off does not say it; else nothing."""
    goes_without = attempt.first_task is None and STYLE_OF.get(attempt.task) is attempt.style
    return "" if goes_without else task(attempt)


def why_not(attempt: StoredAttempt) -> str | None:
    """Say why an attempt does not count; ``None`` if it does."""
    if attempt.invalid_mark is not None:
        return f"Does not count: {attempt.invalid_mark or 'no reason given'}."
    if attempt.standing is Standing.REFUSED:
        return "Recording refused."
    if attempt.standing is Standing.WAITING:
        return "Waits for your word."
    if not attempt.valid:
        return f"Not valid: {'; '.join(attempt.reasons) or 'no reason given'}."
    return None
