"""One page for an athlete: what changed and whether beyond error, the cue to keep, the next aim.

The page is one HTML file without any script, for the screen and for one sheet of A4.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import jinja2
from markupsafe import Markup

from imujump.answers_in_words import amount, count, day, limits
from imujump.athlete_answers import cue_that_helped, recent, within
from imujump.display_units import display_value
from imujump.errors import ReportError
from imujump.metric_course import (
    HEIGHT,
    MetricCourse,
    course_of_metric,
    filter_of,
    local_day,
    metric_course,
    usual_task,
)
from imujump.pictures.paper import STYLE
from imujump.questions_in_words import cue_sentences
from imujump.sessions.changes import Change, Verdict
from imujump.sessions.records import Athlete, Task
from imujump.sessions.store import SessionStore
from imujump.wording import METRICS, Wording, capital

REPORTED = (
    HEIGHT,
    "approach_speed_mps",
    "take_off_contact_s",
    "last_step_ratio",
    "lowering_m",
)
"""What a report looks at (own choice: the few that the coach works on; a short list also keeps the
risk of a false alarm for each from getting too small to find anything)."""

TASKS = {
    Task.ONE_FOOT: "one-foot approach jump",
    Task.TWO_FOOT: "two-foot approach jump",
    Task.STANDING: "standing jump",
}

VERDICTS = {
    Verdict.CHANGED: "changed",
    Verdict.OPEN: "not yet distinguishable",
    Verdict.ALIKE: "alike",
    Verdict.TOO_FEW: "too few sessions",
    Verdict.NO_SPREAD: "all values alike",
}

CAUTIONS = (
    "Measured with small sensors on shanks and pelvis; heights come from flight time and read high "
    "when you land lower than you took off.",
    "This page measures. It is no diagnosis and clears nobody: pain or a recent injury is for a "
    "clinician to judge.",
)

MOST_CAUTIONS, LONGEST_CAUTION = 4, 180
LONGEST_WORDS = 200
"""So much fits on the sheet (own choice)."""

LONGEST_FILE_NAME = 80
_SIGN = "imujump report"
_SIGN_LINE = f'<meta name="generator" content="{_SIGN}">'
_RESERVED = {"con", "prn", "aux", "nul", *(f"{k}{n}" for k in ("com", "lpt") for n in range(10))}


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the table of changes."""

    label: str
    first: str
    latest: str
    difference: str
    verdict: str
    changed: bool


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with its caption."""

    svg: str
    caption: str


@dataclass(frozen=True, slots=True)
class Report:
    """What stands on the page; empty texts of the coach become lines to write on."""

    name: str
    about: str
    made: str
    lead: str
    rows: tuple[Row, ...]
    pictures: tuple[Picture, ...]
    cue: str
    cue_note: str
    aim: str
    cautions: tuple[str, ...]


def report_of(
    store: SessionStore,
    athlete: Athlete,
    since: date | None = None,
    until: date | None = None,
    *,
    task: Task | None = None,
    aim: str = "",
    cue: str = "",
    today: date | None = None,
) -> Report:
    """Gather a report.

    Parameters
    ----------
    store : SessionStore
        Read from.
    athlete : Athlete
        Whom it is about.
    since, until : date or None
        The first and the last day.
    task : Task or None
        The kind of jump; the most usual one when ``None``.
    aim, cue : str
        The coach's words; without a cue, one that surely went with higher jumps is named.
    today : date or None
        The day that it is made.

    Raises
    ------
    ReportError
        If no attempt counts in that time.
    ValueError
        If the days are in the wrong order or the words too long.
    """
    if since is not None and until is not None and until < since:
        raise ValueError("The last day lies before the first; change --from or --to.")
    aim, cue = (_coach_words(text, what) for text, what in ((aim, "aim"), (cue, "cue")))
    table = store.series(athlete.athlete_id, REPORTED, task)
    if task is None:
        task = usual_task(table)
    wanted = filter_of(task or Task.ONE_FOOT, since, until)
    measures = store.body_measures(athlete.athlete_id)
    courses = [
        metric_course(athlete, measures, table, name, wanted, len(REPORTED)) for name in REPORTED
    ]
    courses = [course for course in courses if course.sessions]
    if task is None or not courses:
        raise ReportError(athlete.name)
    lead, *others = courses
    cue_note = ""
    if not cue:
        cue, cue_note = _found_cue(store, athlete, task, wanted.since, wanted.until)
    days = [local_day(session.started_utc) for session in lead.sessions]
    attempts = sum(session.n for session in lead.sessions)
    about = (
        f"{TASKS[task].capitalize()}, {day(days[0])} to {day(days[-1])}: "
        f"{count(len(days), 'session')}, {count(attempts, 'attempt')} that count"
    )
    second = _second(others)
    return Report(
        athlete.name,
        about,
        day(today or datetime.now().astimezone().date()),
        lead.sentence,
        tuple(_row(course) for course in courses),
        tuple(_picture(course) for course in (lead, second) if course is not None),
        cue,
        cue_note,
        aim,
        _cautions(courses),
    )


def _coach_words(text: str, what: str) -> str:
    told = " ".join(text.split())
    if len(told) > LONGEST_WORDS:
        raise ValueError(
            f"Keep the {what} under {LONGEST_WORDS} characters; the page is one sheet."
        )
    return told


def _found_cue(
    store: SessionStore,
    athlete: Athlete,
    task: Task,
    since: datetime | None,
    until: datetime | None,
) -> tuple[str, str]:
    found = cue_that_helped(within(recent(store, athlete.athlete_id), since, until), task)
    if found is None:
        return "", ""
    words, answer = found
    return _cut(words, LONGEST_WORDS), cue_sentences(answer, METRICS[HEIGHT])[0]


def _second(courses: Sequence[MetricCourse]) -> MetricCourse | None:
    """Choose what the second picture shows: the clearest change, else the first metric."""

    def clearness(course: MetricCourse) -> float:
        change = course.trend.change
        if not course.changed or change.value is None or not change.detectable:
            return 0.0
        return abs(change.value) / change.detectable

    return max(courses, key=clearness, default=None)


def _row(course: MetricCourse) -> Row:
    change, words = course.trend.change, course.wording
    label = capital(words.label)
    if change.value is None or change.first is None or change.latest is None:
        values = [session.mean for session in course.sessions]
        mean = _shown(sum(values) / len(values), words)
        return Row(label, mean, "", "", VERDICTS[change.verdict], False)
    return Row(
        label,
        _shown(change.first.mean, words),
        _shown(change.latest.mean, words),
        _difference(change, words),
        VERDICTS[change.verdict],
        course.changed,
    )


def _difference(change: Change, words: Wording) -> str:
    if change.value is None or change.interval is None:
        return ""
    return f"{amount(change.value, words)} (likely {limits(change.interval, words)})"


def _shown(value: float, words: Wording) -> str:
    return f"{display_value(value, words.unit, words.decimals)} {words.unit.symbol}".strip()


def _picture(course: MetricCourse) -> Picture:
    label = course.wording.label
    caption = f"{capital(label)}: each dot is a session's mean with its interval."
    return Picture(course_of_metric(course, (460, 220)), caption)


def _cautions(courses: Sequence[MetricCourse]) -> tuple[str, ...]:
    told = list(dict.fromkeys(text for course in courses for text in course.cautions))
    return (*(_cut(text, LONGEST_CAUTION) for text in told[:MOST_CAUTIONS]), *CAUTIONS)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def report_html(report: Report) -> str:
    """Write the page; every text is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("imujump", ""),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    text: str = environment.get_template("report.html.jinja").render(
        report=report,
        # Pictures are made here, their texts escaped; nothing else goes in unescaped.
        pictures=[(Markup(p.svg), p.caption) for p in report.pictures],
        picture_style=Markup(STYLE),
        sign=Markup(_SIGN_LINE),
    )
    return text


def report_file_name(name: str, on: date) -> str:
    """Give a file name that every system takes; letters of any script stay.

    >>> report_file_name("Ada Bell", date(2026, 3, 31))
    'Ada_Bell_2026-03-31.html'
    >>> report_file_name("../../con", date(2026, 3, 31))
    'con_2026-03-31.html'
    """
    kept = re.sub(r"[^\w-]+", "_", unicodedata.normalize("NFC", name)).strip("_-")
    kept = kept.encode()[:LONGEST_FILE_NAME].decode(errors="ignore") or "athlete"
    return f"{kept}_{on.isoformat()}.html"


def write_report(text: str, path: Path) -> None:
    """Write the page, whole or not at all; an older report is replaced, nothing else.

    Raises
    ------
    ReportError
        If the file is there and no report.
    OSError
        If it cannot be written.
    """
    if path.exists() and not _is_report(path):
        raise ReportError(str(path), "is there already and no report", "choose another with -o")
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".report-", suffix=".html")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
            out.write(text)
        os.replace(draft, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(draft)
        raise


def _is_report(path: Path) -> bool:
    with path.open("rb") as held:
        return _SIGN_LINE.encode() in held.read(2000)
