"""From the store to one attempt, alone or beside another one. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboard.review import words
from dashboard.review.comparing import Comparing, comparing
from imujump.display_units import CENTIMETRES, METRES_PER_SECOND, MILLISECONDS, display_value
from imujump.model import METRIC_NAMES, Estimate, EventKind, GaitEvent, Step
from imujump.sessions.path_words import file_name
from imujump.sessions.records import Athlete, Moved, Session, StoredAttempt, StoredRecording
from imujump.sessions.store import SessionStore
from imujump.sessions.through_session import apart
from imujump.wording import METRICS, PHASES, sentence, step_name

STEP_FIELDS = (
    ("Length", "length_m", CENTIMETRES, 0),
    ("Time", "time_s", MILLISECONDS, 0),
    ("Contact", "contact_s", MILLISECONDS, 0),
    ("Speed", "speed_mps", METRES_PER_SECOND, 2),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One metric: this attempt's, the other's, and how far they lie apart."""

    name: str
    label: str
    meaning: str
    unit: str
    value: str
    sigma: str
    other: str
    other_sigma: str
    difference: str
    is_sure: bool
    told: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of the approach, cells in the order of :data:`STEP_FIELDS`."""

    name: str
    side: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MovedRow:
    """A figure that another version of the pipeline changed."""

    label: str
    old: str
    new: str
    beyond: bool


@dataclass(frozen=True, slots=True)
class AttemptView:
    """All that the page shows of an attempt.

    ``drawn`` and ``other_drawn`` are what the picture needs; ``earlier`` and ``later`` are the
    attempt's neighbours. ``has_hand`` tells whether events set by hand are kept, shown or not;
    ``behind`` is the version of a newer analysis to which those that are shown could not be
    carried over.
    """

    attempt: StoredAttempt
    session: Session
    athlete: Athlete
    place: int
    beside: Comparing
    rows: tuple[tuple[str, tuple[Row, ...]], ...]
    steps: tuple[StepRow, ...]
    moved: tuple[MovedRow, ...]
    moved_versions: str
    earlier: int | None
    later: int | None
    file: str
    has_hand: bool
    behind: str
    drawn: dict[str, Any]
    other_drawn: dict[str, Any] | None


def attempt_view(store: SessionStore, attempt_id: int, told: dict[str, str]) -> AttemptView:
    """Gather an attempt.

    Parameters
    ----------
    store : SessionStore
        Read from.
    attempt_id : int
        Which.
    told : dict of str to str
        The address's query, as :func:`dashboard.review.comparing.comparing` takes it.

    Raises
    ------
    NotKeptError
        If there is no such attempt.
    """
    attempt = store.attempt(attempt_id)
    session = store.session(attempt.session_id)
    in_session = store.attempts(session.session_id)
    ids = [each.attempt_id for each in in_session]
    place = ids.index(attempt_id) + 1
    beside = comparing(store, attempt, session, in_session, told)
    other = beside.other
    recording = store.recording(attempt.recording_id)
    results = store.results(attempt_id)
    moved = store.moved(attempt_id)
    return AttemptView(
        attempt,
        session,
        store.athlete(session.athlete_id),
        place,
        beside,
        _rows(attempt, other),
        tuple(_step(step) for step in attempt.steps),
        tuple(_moved(each) for each in moved),
        f"{moved[0].old_version} → {moved[0].new_version}" if moved else "",
        ids[place - 2] if place > 1 else None,
        ids[place] if place < len(ids) else None,
        file_name(recording.path),
        any(result.hand_events for result in results),
        results[-1].pipeline_version if attempt.hand_events and not results[-1].hand_events else "",
        drawn(store, attempt, recording),
        None if other is None else drawn(store, other, store.recording(other.recording_id)),
    )


def drawn(
    store: SessionStore, attempt: StoredAttempt, recording: StoredRecording
) -> dict[str, Any]:
    """Give what the picture needs: events, whether set by hand, steps, and where it is aligned."""
    measured = _measured_events(store, attempt)
    return {
        "attempt": attempt.attempt_id,
        "stamp": f"{recording.sha256[:12]}-{attempt.toe_off_s:.3f}",
        "start_s": attempt.start_s,
        "end_s": attempt.end_s,
        "take_off_s": attempt.toe_off_s,
        "landing_s": attempt.landing_s,
        "plant_s": _plant_s(attempt),
        "by_hand": attempt.hand_events,
        "events": [
            {
                "kind": str(event.kind),
                "side": str(event.side),
                "time_s": event.time_s,
                "sigma_s": event.sigma_s if event.sigma_s == event.sigma_s else None,
                "hand": attempt.hand_events and _key(event) not in measured,
            }
            for event in attempt.events
        ],
        "steps": [
            {"strike_s": step.strike_s, "speed_mps": step.speed_mps.value} for step in attempt.steps
        ],
    }


def _measured_events(store: SessionStore, attempt: StoredAttempt) -> set[tuple[str, str, float]]:
    """Events as the pipeline found them, if a hand has changed those that are shown."""
    if not attempt.hand_events:
        return set()
    own = [each for each in store.results(attempt.attempt_id) if not each.hand_events]
    return {_key(event) for each in own for event in each.events}


def _key(event: GaitEvent) -> tuple[str, str, float]:
    return str(event.kind), str(event.side), round(event.time_s, 5)


def _plant_s(attempt: StoredAttempt) -> float | None:
    """Touchdown of the take-off's first foot: the end of the last step."""
    contact = attempt.metrics.get("take_off_contact_s")
    if contact is not None and contact.value is not None:
        return attempt.toe_off_s - contact.value
    strikes = [
        event.time_s
        for event in attempt.events
        if event.kind is EventKind.FOOT_STRIKE and event.time_s < attempt.toe_off_s
    ]
    return max(strikes, default=None)


def _rows(
    attempt: StoredAttempt, other: StoredAttempt | None
) -> tuple[tuple[str, tuple[Row, ...]], ...]:
    return tuple(
        (
            phase,
            tuple(_row(n, attempt, other) for n in METRIC_NAMES if METRICS[n].phase == phase),
        )
        for phase in PHASES
    )


_NONE = Estimate(None, None, "not measured by that version", "")


def _row(name: str, attempt: StoredAttempt, other: StoredAttempt | None) -> Row:
    own = attempt.metrics.get(name, _NONE)
    beside = None if other is None else other.metrics.get(name, _NONE)
    found = None if beside is None else apart(own, beside)
    difference = ""
    if found is not None:
        shown = words.value(name, found.difference)
        difference = shown if shown.startswith("−") else f"+{shown}"
    told = sentence(own.reason or "")
    if own.value is not None:
        told = f"{sentence(own.method)} {'In doubt: ' + own.reason + '.' if own.reason else ''}"
    return Row(
        name,
        words.label(name),
        METRICS[name].meaning,
        words.unit(name),
        words.value(name, own.value),
        words.sigma(name, own),
        "" if beside is None else words.value(name, beside.value),
        words.sigma(name, beside),
        difference,
        found is not None and found.is_sure,
        told.strip(),
    )


def _step(step: Step) -> StepRow:
    cells = []
    for _, field, unit, decimals in STEP_FIELDS:
        estimate: Estimate = getattr(step, field)
        if estimate.value is None:
            cells.append("–")
        else:
            cells.append(f"{display_value(estimate.value, unit, decimals)} {unit.symbol}")
    return StepRow(step_name(step).capitalize(), str(step.side), tuple(cells))


def _moved(each: Moved) -> MovedRow:
    old, new = (
        f"{words.value(each.metric, e.value)} ± {words.sigma(each.metric, e) or '–'}"
        for e in (each.old, each.new)
    )
    return MovedRow(words.label(each.metric), old, new, each.beyond)
