"""The three questions of one athlete, each with its sentences and a small picture."""

from __future__ import annotations

from collections.abc import Sequence

from imujump.answers_in_words import amount, limits
from imujump.athlete_answers import Answer, Recent, answer_to_cue, runs_of
from imujump.display_units import CENTIMETRES, METRES_PER_SECOND, display_value
from imujump.metric_course import HEIGHT, local_day
from imujump.pictures.scatter import scatter_picture
from imujump.pictures.spans import Span, spans_picture
from imujump.questions_in_words import cue_sentences, height_sentences, speed_sentences
from imujump.sessions.best_speed import best_approach_speed
from imujump.sessions.interval import Interval
from imujump.sessions.records import StoredAttempt, Task
from imujump.sessions.with_height import what_goes_with_height
from imujump.wording import METRICS, Wording

MOST_COMPANIONS = 6
"""Metrics that the picture shows (own choice: the closest; the rest are nearer to nothing)."""

NO_CUES = (
    "No cue is noted in these sessions. Note cues on the courtside page or between the attempts of "
    "a session; then this compares the attempts before and after."
)


def cue_answer(found: Recent, task: Task, cue: str) -> Answer:
    """Answer whether a cue helped, by flight-time height."""
    answer, words = answer_to_cue(found, task, cue), METRICS[HEIGHT]
    told = (
        ("Without the attempt before", answer.difference.value, answer.difference.interval),
        ("With it", answer.with_leading.value, answer.with_leading.interval),
        ("Without drift", answer.drift_removed, answer.drift_interval),
    )
    spans = [
        _span(label, value, interval, words)
        for label, value, interval in told
        if value is not None and interval is not None
    ]
    sentences = cue_sentences(answer, words)
    return Answer(
        sentences[:1],
        sentences[1:],
        spans_picture(spans, words.unit, f"Height after the cue minus before. {sentences[0]}"),
        "Height after the cue minus before. The first line is the one to rely on.",
    )


def _span(label: str, value: float, interval: Interval, words: Wording) -> Span:
    told = f"{label}: {amount(value, words)} (likely {limits(interval, words)})"
    return Span(label, value, interval.low, interval.high, told)


def speed_answer(attempts: Sequence[StoredAttempt]) -> Answer:
    """Answer at which approach speed the athlete jumps highest.

    Parameters
    ----------
    attempts : sequence of StoredAttempt
        Of one athlete and task.
    """
    runs = runs_of(attempts)
    answer = best_approach_speed(runs)
    days = {attempt.session_id: local_day(attempt.taken_utc) for attempt in attempts}
    dots = [
        (
            run.speed_mps,
            run.height_m,
            f"{days[run.session_id]}: {display_value(run.height_m, CENTIMETRES, 1)} cm at "
            f"{display_value(run.speed_mps, METRES_PER_SECOND, 2)} m/s",
        )
        for run in runs
    ]
    best = None
    if answer.best_mps is not None and answer.interval is not None:
        best = answer.interval.low, answer.best_mps, answer.interval.high
    sentences = speed_sentences(answer)
    return Answer(
        sentences[:1],
        sentences[1:],
        scatter_picture(
            dots,
            (METRES_PER_SECOND, CENTIMETRES),
            f"Height against approach speed, {len(dots)} attempts. {sentences[0]}",
            best=best,
        ),
        "Each dot is an attempt: approach speed across, flight-time height up. The answer "
        "compares attempts within sessions.",
    )


def companions_answer(attempts: Sequence[StoredAttempt]) -> Answer:
    """Answer what goes with height; arguments as in :func:`speed_answer`."""
    answer = what_goes_with_height(attempts)
    spans = []
    for each in answer.companions[:MOST_COMPANIONS]:
        words, interval = METRICS[each.metric], each.height_interval
        step = f"{display_value(each.step, words.unit, words.decimals)} {words.unit.symbol}".strip()
        label = f"{words.label}, {step} more"
        spans.append(_span(label, each.height_m, interval, METRICS[HEIGHT]))
    sentences = height_sentences(answer)
    soft = (sentences[-1],) if answer.companions else ()
    return Answer(
        tuple(each for each in sentences if each not in soft),
        soft,
        spans_picture(
            spans, CENTIMETRES, f"Difference in height that goes with each metric. {sentences[0]}"
        ),
        "Difference in height that goes with a usual difference of each metric; where a line "
        "reaches across 0 nothing is told.",
    )
