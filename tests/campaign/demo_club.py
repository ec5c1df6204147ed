"""What trends and questions find of the changes that are built into the demo club.

``python -m tests.campaign.demo_club [FOLDER]`` looks at the club that ``imujump demo`` made there,
or in its usual folder, and makes it first if it is not there. Printed is one line for each built-in
change and each metric without one: what is true, what is told, and whether that is right.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from scipy import stats

from imujump.athlete_answers import Recent, recent, runs_of
from imujump.demo import truth
from imujump.demo.club import CLUB_PLAN, SEED
from imujump.demo.filling import fill
from imujump.demo.place import STORE_NAME, default_folder, prepared, told_truth
from imujump.demo.plan import AthletePlan, Expected, Level
from imujump.demo.season import Training
from imujump.model import Side, TakeOffStyle
from imujump.sessions.best_speed import SpeedVerdict, best_approach_speed
from imujump.sessions.cues import cue_effect, cue_episodes
from imujump.sessions.growth import with_growth
from imujump.sessions.interval import Interval
from imujump.sessions.paired import Difference, paired_difference
from imujump.sessions.ratios import same_day
from imujump.sessions.readings import Filter, SessionReadings, metric_by_session
from imujump.sessions.records import Athlete, Task
from imujump.sessions.store import SessionStore, open_store
from imujump.sessions.trends import blocks, trend

HEIGHT = "height_flight_m"
TASKS = {TakeOffStyle.ONE_FOOT: Task.ONE_FOOT, TakeOffStyle.TWO_FOOT: Task.TWO_FOOT}


@dataclass(frozen=True, slots=True)
class Line:
    """One question about one athlete: what is true, and what is told with its interval.

    ``expected`` is whether it should be told; ``true`` None where nothing is to be told.
    """

    athlete: str
    question: str
    metric: str
    true: float | None
    value: float | None
    interval: Interval | None
    told: bool
    expected: bool
    words: str

    @property
    def right(self) -> bool:
        """Whether what should be told is, and nothing else."""
        return self.told is self.expected

    @property
    def covered(self) -> bool | None:
        """Whether the interval holds the truth; None where either is missing."""
        if self.true is None or self.interval is None:
            return None
        return self.interval.holds(self.true)


@dataclass(frozen=True, slots=True)
class Seen:
    """One athlete's plan beside what the store holds."""

    plan: AthletePlan
    trainings: Sequence[Training]
    athlete: Athlete
    found: Recent
    store: SessionStore

    def readings(
        self, metric: str, task: Task | None = None, side: Side | None = None
    ) -> tuple[SessionReadings, ...]:
        """One metric by session, of the athlete's usual kind of attempt unless another is named."""
        kind = task or TASKS[self.plan.style]
        if side is None and kind is Task.ONE_FOOT:
            side = self.plan.side if self.plan.style is TakeOffStyle.ONE_FOOT else None
        overviews = self.store.sessions(self.athlete.athlete_id)
        sessions = [overview.session for overview in overviews]
        return metric_by_session(self.found.attempts, sessions, metric, Filter(kind, side))


def lines(store: SessionStore, club: truth.Seasons) -> Iterator[Line]:
    """Ask everything about everybody."""
    for plan, trainings in club:
        athlete = store.find_athlete(plan.name)
        if athlete is None:
            raise SystemExit(f"{plan.name} is not in the store; make the club anew.")
        seen = Seen(plan, trainings, athlete, recent(store, athlete.athlete_id), store)
        expected = {(e.question, e.metric): e for e in plan.expected}
        for question, metric, level in (
            ("trend", HEIGHT, plan.height),
            ("trend", "approach_speed_mps", plan.speed),
            ("trend", "last_step_ratio", plan.last_step_ratio),
            ("standing", HEIGHT, plan.standing),
        ):
            yield _trend(seen, question, metric, level, expected)
        for one in plan.expected:
            if one.question in _ASKED:
                yield _ASKED[one.question](seen, one)


def _trend(
    seen: Seen,
    question: str,
    metric: str,
    level: Level,
    expected: dict[tuple[str, str], Expected],
) -> Line:
    task = Task.STANDING if question == "standing" else None
    sessions = seen.readings(metric, task)
    change = trend(sessions).change
    by_day = {training.started_utc.date(): training for training in seen.trainings}
    levels = np.array(
        [
            level.at(by_day[session.started_utc.date()].share)
            + _cued(seen.plan, by_day[session.started_utc.date()], metric, task)
            for session in sessions
        ]
    )
    block = blocks(len(sessions), change.first.sessions if change.first else 1)
    true = float(levels[block == block[-1]].mean() - levels[block == 0].mean())
    known = expected.get((question, metric))
    if known is None and question == "trend":
        known = expected.get(("growth", metric))
    return Line(
        seen.plan.name,
        question,
        metric,
        true,
        change.value,
        change.interval,
        change.verdict == "changed",
        known is not None and known.to_be_found,
        str(change.verdict) + (f", {known.words}" if known and known.size else ""),
    )


def _cued(plan: AthletePlan, training: Training, metric: str, task: Task | None) -> float:
    """What a cue and a ladder of speeds do to a session's mean."""
    moved = 0.0
    if task is not None:
        return moved
    if plan.cue is not None and training.number in plan.cued:
        share = 1.0 - plan.cue.after / plan.attempts
        moved += share * {HEIGHT: plan.cue.height_m}.get(metric, 0.0)
        moved += share * {"last_step_ratio": plan.cue.last_step_ratio}.get(metric, 0.0)
    if plan.ladder is not None and training.number in plan.ladder.sessions and metric == HEIGHT:
        moved -= float(np.mean([plan.ladder.loss_m(v) for v in plan.ladder.speeds_mps]))
    return moved


def _growth(seen: Seen, expected: Expected) -> Line:
    sessions = seen.readings(expected.metric)
    change = trend(sessions).change
    view = with_growth(
        sessions,
        change,
        expected.metric,
        seen.athlete.birth_year,
        seen.store.body_measures(seen.athlete.athlete_id),
    )
    again = view.per_stature
    told = again is not None and again.verdict == "changed"
    grown = "?" if view.grown_ratio is None else f"{100 * view.grown_ratio:.1f} %"
    words = f"{view.note}, stature grew by {grown}"
    value, interval = (None, None) if again is None else (again.value, again.interval)
    return _line(seen, expected, value, interval, told, words, true=0.0)


def _cue(seen: Seen, expected: Expected) -> Line:
    assert seen.plan.cue is not None
    episodes = cue_episodes(
        seen.found.attempts,
        seen.found.notes,
        expected.metric,
        seen.plan.cue.text,
        TASKS[seen.plan.style],
    )
    answer = cue_effect(episodes)
    one = answer.difference
    words = f"{answer.sessions} sessions, {one.first} before, {one.second} after"
    return _line(seen, expected, one.value, one.interval, answer.told, words)


def _speed(seen: Seen, expected: Expected) -> Line:
    answer = best_approach_speed(runs_of(seen.found.of(TASKS[seen.plan.style])))
    words = f"{answer.verdict}, {answer.n} attempts"
    told = answer.verdict is SpeedVerdict.OPTIMUM
    if told:
        return _line(seen, expected, answer.best_mps, answer.interval, told, words)
    told = answer.verdict in (SpeedVerdict.FASTER_IS_HIGHER, SpeedVerdict.SLOWER_IS_HIGHER)
    return _line(seen, expected, answer.slope_s, answer.slope_interval, told, words)


def _drop_off(seen: Seen, expected: Expected) -> Line:
    """Slope over the attempts of a session, one level for each session."""
    order, height = [], []
    for session in seen.readings(expected.metric):
        own = session.values
        order += (np.arange(len(own)) - (len(own) - 1) / 2.0).tolist()
        height += (own - own.mean()).tolist()
    fit = stats.linregress(order, height)
    df = len(order) - len(seen.trainings) - 1
    half = stats.t.ppf(0.975, df) * fit.stderr * np.sqrt((len(order) - 2) / df)
    interval = Interval(float(fit.slope - half), float(fit.slope + half))
    told = not interval.holds(0.0)
    return _line(seen, expected, float(fit.slope), interval, told, f"{len(order)} attempts")


def _sides(seen: Seen, expected: Expected) -> Line:
    right, left = (seen.readings(expected.metric, side=side) for side in (Side.RIGHT, Side.LEFT))
    return _compared(seen, expected, paired_difference(same_day(right, left)))


def _styles(seen: Seen, expected: Expected) -> Line:
    two, one = (seen.readings(expected.metric, task) for task in (Task.TWO_FOOT, Task.ONE_FOOT))
    return _compared(seen, expected, paired_difference(same_day(two, one)))


def _compared(seen: Seen, expected: Expected, found: Difference) -> Line:
    words = f"{found.pairs} sessions, {found.first} and {found.second} attempts"
    return _line(seen, expected, found.value, found.interval, found.told, words)


_ASKED = {
    "growth": _growth,
    "cue": _cue,
    "speed": _speed,
    "drop_off": _drop_off,
    "sides": _sides,
    "styles": _styles,
}


def _line(
    seen: Seen,
    expected: Expected,
    value: float | None,
    interval: Interval | None,
    told: bool,
    words: str,
    true: float | None = None,
) -> Line:
    truth_of = expected.size if true is None else true
    return Line(
        seen.plan.name,
        expected.question,
        expected.metric,
        truth_of,
        value,
        interval,
        told,
        expected.to_be_found,
        words,
    )


def table(told: Sequence[Line]) -> str:
    """Write the lines as a Markdown table, with a sum beneath."""
    rows = [
        "| Athlete | Question | Metric | True | Told: value (interval) | Told | Right | |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for one in told:
        value = "–" if one.value is None else f"{one.value:+.3f}"
        if one.interval is not None:
            value += f" ({one.interval.low:+.3f} to {one.interval.high:+.3f})"
        true = "–" if one.true is None else f"{one.true:+.3f}"
        rows.append(
            f"| {one.athlete} | {one.question} | {one.metric} | {true} | {value} | "
            f"{'yes' if one.told else 'no'} | {'yes' if one.right else 'NO'} | {one.words} |"
        )
    there = [one for one in told if one.expected]
    absent = [one for one in told if not one.expected]
    covered = [one.covered for one in told if one.covered is not None]
    rows.append(
        f"\n{sum(one.told for one in there)} of {len(there)} built-in changes that should be found "
        f"are found; {sum(one.told for one in absent)} of {len(absent)} others are told; "
        f"{sum(covered)} of {len(covered)} intervals hold the truth."
    )
    return "\n".join(rows)


def main(arguments: Sequence[str]) -> int:
    """Print what is found; 1 if anything is told wrongly."""
    folder = prepared(Path(arguments[0]) if arguments else default_folder())
    known = told_truth(folder)
    ends_on = date.fromisoformat(known["ends_on"]) if known else date(2026, 3, 1)
    club = truth.seasons(CLUB_PLAN, ends_on, SEED)
    if known is None or not known["complete"]:
        from imujump.pipeline_version import pipeline_version

        for complete in (False, True):
            document = truth.as_document(club, ends_on, SEED, pipeline_version(), complete)
            truth.write_truth(folder, document)
            if not complete:
                fill(folder, club, SEED)
    with open_store(folder / STORE_NAME) as store:
        told = list(lines(store, club))
    sys.stdout.write(table(told) + "\n")
    return 0 if all(one.right for one in told) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
