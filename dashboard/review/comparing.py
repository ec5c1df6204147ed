"""From the store to the attempts beside which one can be laid. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.review import words
from dashboard.review.query import number
from imujump.sessions.records import Session, StoredAttempt
from imujump.sessions.store import SessionStore

ALIGNED = {"take_off": "take-off", "plant": "plant"}
"""Where two attempts can be laid over each other."""

LAID = {"over": "over each other", "side": "side by side"}
"""How two attempts are drawn."""

BEST_SHOWN = 50
"""Of so many newest sessions the best attempt is offered (own choice: half a year; attempts of the
others are there once their session is picked)."""


@dataclass(frozen=True, slots=True)
class Comparing:
    """The other attempt, and what else can be chosen; lists hold (id, words).

    ``picked`` is the session whose ``attempts`` are listed; ``best`` are the best attempts of the
    athlete's other sessions, of the same task; ``sessions`` are all of the athlete, newest first.
    """

    other: StoredAttempt | None
    other_words: str
    align: str
    lay: str
    picked: int
    picked_words: str
    attempts: tuple[tuple[int, str], ...]
    best: tuple[tuple[int, str], ...]
    best_words: str
    sessions: tuple[tuple[int, str], ...]


def comparing(
    store: SessionStore,
    attempt: StoredAttempt,
    session: Session,
    in_session: Sequence[StoredAttempt],
    told: dict[str, str],
) -> Comparing:
    """Gather what an attempt can be compared with.

    Parameters
    ----------
    store : SessionStore
        Read from.
    attempt : StoredAttempt
        Which.
    session : Session
        Its session.
    in_session : sequence of StoredAttempt
        All of that session.
    told : dict of str to str
        The address's query: ``with`` is another attempt, ``align`` where both are laid together,
        ``lay`` how both are drawn, ``from`` the session whose attempts are listed.

    Raises
    ------
    NotKeptError
        If there is no such attempt.
    """
    other_id = number(told.get("with"))
    other = None if other_id in (None, attempt.attempt_id) else store.attempt(other_id or 0)
    sessions = store.sessions_of(session.athlete_id)
    days = {each.session_id: _day(each, session) for each in sessions}
    picked = number(told.get("from"))
    if picked not in days:
        picked = session.session_id
        if other is not None and other.session_id in days:
            picked = other.session_id
    listed = in_session if picked == session.session_id else store.attempts(picked)
    newest = [each for each in days if each != session.session_id][:BEST_SHOWN]
    best = store.best_attempts(newest, words.HEIGHT, attempt.task)
    align = told.get("align") or "take_off"
    return Comparing(
        other,
        "" if other is None else _other_words(store, other, in_session),
        align if align in ALIGNED else "take_off",
        "side" if told.get("lay") == "side" else "over",
        picked,
        days[picked],
        tuple(
            (each.attempt_id, _short(place, each))
            for place, each in enumerate(listed, 1)
            if each.attempt_id != attempt.attempt_id
        ),
        tuple(
            (best[each][0], f"{days[each]} · {words.with_unit(words.HEIGHT, best[each][1])}")
            for each in newest
            if each in best
        ),
        f"Best of other sessions, {words.task(attempt).lower()}",
        tuple(days.items()),
    )


def _day(each: Session, own: Session) -> str:
    if each.session_id == own.session_id:
        return "this session"
    return f"{words.day(each.started_utc)}, {words.clock(each.started_utc)}"


def _short(place: int, attempt: StoredAttempt) -> str:
    height = attempt.metrics.get(words.HEIGHT)
    told = words.value(words.HEIGHT, None if height is None else height.value)
    return f"Attempt {place} · {told} {words.unit(words.HEIGHT)}" + (
        "" if attempt.counts else " · does not count"
    )


def _other_words(
    store: SessionStore, other: StoredAttempt, in_session: Sequence[StoredAttempt]
) -> str:
    ids = [each.attempt_id for each in in_session]
    if other.attempt_id in ids:
        return f"attempt {ids.index(other.attempt_id) + 1}"
    mine = [each.attempt_id for each in store.attempts(other.session_id)]
    place = mine.index(other.attempt_id) + 1
    told = f"{words.day(other.taken_utc)}, attempt {place}"
    if other.athlete_id == in_session[0].athlete_id:
        return told
    return f"{store.athlete(other.athlete_id).name}, {told}"
