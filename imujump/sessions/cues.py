"""Whether a cue helped: attempts before and after it, within sessions.

A cue is given after a bad attempt, and the next would have been better without it (regression to
the mean): with the attempt that led to the cue, a cue seems to help that does not. Without it the
comparison may err the other way, since attempts before the first bad one were good. So both are
worked out, and a difference is told only if both show it. Attempts also drift as a session goes
on; the difference with a steady drift taken out stands beside the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from imujump.sessions.interval import LEVEL, Interval, around
from imujump.sessions.paired import Difference, paired_difference
from imujump.sessions.readings import finite_value
from imujump.sessions.records import Note, NoteKind, StoredAttempt, Task

MOST_EACH = 5
"""Attempts before and after a cue that are compared (own choice: as many as fit in a set; a cue
given half an hour ago is no longer the difference)."""

LEAST_ATHLETES = 4
"""From so many athletes on each is one case (own choice: as for pairs of sessions)."""

LEAST_FOR_DRIFT = 4
"""Degrees of freedom that must be left for a drift to be taken out (own choice)."""


@dataclass(frozen=True, slots=True)
class CueEpisode:
    """The attempts around the first time that a cue is given in a session.

    ``before`` ends with the attempt that led to it; numbers are counted within the session.
    """

    athlete_id: int
    session_id: int
    before: tuple[float, ...]
    before_order: tuple[int, ...]
    after: tuple[float, ...]
    after_order: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CueAnswer:
    """Attempts after a cue minus those before it.

    Attributes
    ----------
    difference : Difference
        Without the attempts that led to the cue.
    with_leading : Difference
        With them.
    drift_removed, drift_interval :
        The difference with a steady drift over the session's attempts taken out; None where too
        few attempts tell drift and cue apart.
    athletes, sessions : int
        How many of each.
    by_athlete : bool
        Whether athletes, not sessions, are what the interval speaks of.
    """

    difference: Difference
    with_leading: Difference
    drift_removed: float | None
    drift_interval: Interval | None
    athletes: int
    sessions: int
    by_athlete: bool

    @property
    def told(self) -> bool:
        """Whether both comparisons leave out 0 on the same side."""
        both = (self.difference, self.with_leading)
        signs = {each.value is not None and each.value > 0.0 for each in both}
        return all(each.told for each in both) and len(signs) == 1


def cue_episodes(
    attempts: Iterable[StoredAttempt],
    notes: Iterable[Note],
    metric: str,
    cue: str,
    task: Task | None = None,
) -> tuple[CueEpisode, ...]:
    """Find the sessions in which a cue was given, with the attempts before and after it.

    Parameters
    ----------
    attempts, notes : iterables
        Of any number of athletes and sessions.
    metric : str
        What is looked at.
    cue : str
        The cue's words; case and outer blanks do not matter.
    task : Task or None
        Attempts of this task only.

    Returns
    -------
    tuple of CueEpisode
        Attempts that do not count are left out. Another cue ends what comes after, and begins what
        comes before.
    """
    by_session: dict[int, list[StoredAttempt]] = {}
    for attempt in attempts:
        by_session.setdefault(attempt.session_id, []).append(attempt)
    cues: dict[int, list[Note]] = {}
    for note in notes:
        if note.kind is NoteKind.CUE:
            cues.setdefault(note.session_id, []).append(note)
    found = []
    for session_id, own in sorted(by_session.items()):
        own.sort(key=lambda a: (a.taken_utc, a.attempt_id))
        placed = [(_place(note, own), _plain(note.text)) for note in cues.get(session_id, [])]
        here = sorted(at for at, text in placed if text == _plain(cue))
        if here:
            others = [at for at, text in placed if text != _plain(cue)]
            found.append(_episode(own, here[0], others, metric, task))
    return tuple(found)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _place(note: Note, attempts: Sequence[StoredAttempt]) -> int:
    """How many attempts came before the note."""
    for k, attempt in enumerate(attempts):
        if attempt.attempt_id == note.attempt_id:
            return k + 1
    return sum(1 for attempt in attempts if attempt.taken_utc <= note.noted_utc)


def _episode(
    attempts: Sequence[StoredAttempt],
    at: int,
    others: Sequence[int],
    metric: str,
    task: Task | None,
) -> CueEpisode:
    begin = max([k for k in others if k <= at], default=0)
    end = min([k for k in others if k > at], default=len(attempts))
    told = [
        (k, value)
        for k in range(begin, end)
        if attempts[k].counts
        and task in (None, attempts[k].task)
        and (value := finite_value(attempts[k], metric)) is not None
    ]
    # One attempt more than is compared: the one that led to the cue.
    before = [each for each in told if each[0] < at][-MOST_EACH - 1 :]
    after = [each for each in told if each[0] >= at][:MOST_EACH]
    return CueEpisode(
        attempts[0].athlete_id,
        attempts[0].session_id,
        tuple(value for _, value in before),
        tuple(k for k, _ in before),
        tuple(value for _, value in after),
        tuple(k for k, _ in after),
    )


def cue_effect(episodes: Sequence[CueEpisode], level: float = LEVEL) -> CueAnswer:
    """Compare attempts after a cue with those before it.

    With four athletes or more each is one case, whatever the number of their sessions; with fewer
    each session is one. See :func:`imujump.sessions.paired.paired_difference`.
    """
    usable = [e for e in episodes if len(e.before) > 1 and e.after]
    athletes = {e.athlete_id for e in usable}
    by_athlete = len(athletes) >= LEAST_ATHLETES
    kept = [(e.before[:-1], e.after) for e in usable]
    led = [(e.before, e.after) for e in usable]
    if by_athlete:
        whose = [e.athlete_id for e in usable]
        kept, led = _by_athlete(kept, whose), _by_athlete(led, whose)
    drift = _without_drift(usable, level)
    return CueAnswer(
        paired_difference(kept, level),
        paired_difference(led, level),
        None if drift is None else drift[0],
        None if drift is None else drift[1],
        len(athletes),
        len(usable),
        by_athlete,
    )


def _by_athlete(
    pairs: Sequence[tuple[tuple[float, ...], tuple[float, ...]]], whose: Sequence[int]
) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Put an athlete's sessions together, each about its own level before the cue."""
    gathered: dict[int, tuple[list[float], list[float]]] = {}
    for (before, after), athlete in zip(pairs, whose, strict=True):
        level = float(np.mean(before))
        own = gathered.setdefault(athlete, ([], []))
        own[0].extend(value - level for value in before)
        own[1].extend(value - level for value in after)
    return [(tuple(before), tuple(after)) for before, after in gathered.values()]


def _without_drift(episodes: Sequence[CueEpisode], level: float) -> tuple[float, Interval] | None:
    """Fit a level for each session, one drift for all, and the step at the cue."""
    values, order, step, session = [], [], [], []
    for k, episode in enumerate(episodes):
        for shift, told, places in (
            (0.0, episode.before[:-1], episode.before_order[:-1]),
            (1.0, episode.after, episode.after_order),
        ):
            values += list(told)
            order += list(places)
            step += [shift] * len(told)
            session += [k] * len(told)
    df = len(values) - len(episodes) - 2
    if df < LEAST_FOR_DRIFT:
        return None
    # Imported here: it takes a second, and most of what uses sessions has no need of it.
    from statsmodels.regression.linear_model import OLS

    levels = np.equal.outer(session, range(len(episodes))).astype(float)
    design = np.column_stack([levels, order, step])
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    fit = OLS(values, design).fit()
    value, error = float(fit.params[-1]), float(fit.bse[-1])
    return (value, around(value, error, df, level)) if error > 0.0 else None
