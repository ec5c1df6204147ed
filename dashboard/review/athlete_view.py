"""An athlete: facts, body, tests, load and answers, as the page shows them. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from dashboard.review import words
from dashboard.review.query import link
from dashboard.wording import TASKS
from imujump.answers_in_words import count
from imujump.athlete_answers import NEWEST, Answer, Recent, plain, recent
from imujump.athlete_load import LoadAnswer, load_answer
from imujump.athlete_questions import NO_CUES, companions_answer, cue_answer, speed_answer
from imujump.athlete_strength import StandingTest, comparisons, mass_picture, standing_test
from imujump.sessions.records import Athlete, BodyMeasure, Task
from imujump.sessions.store import SessionStore

NO_SESSIONS = (
    "No session of this athlete is kept yet. Put recordings into the store with the command "
    "imujump add RECORDING --athlete NAME; tests, load and answers then appear here."
)


@dataclass(frozen=True, slots=True)
class AthleteView:
    """What the page shows.

    Attributes
    ----------
    measures : tuple of BodyMeasure
        Newest first.
    about : str
        Which sessions the answers look at; "" when there is none.
    tasks, task : dict of str to str, str
        Addresses of the approach jumps with their names, and the one that is shown.
    cues, cue : dict of str to str, str
        The same for cues.
    """

    athlete: Athlete
    measures: tuple[BodyMeasure, ...]
    mass_picture: str
    about: str = ""
    tasks: Mapping[str, str] | None = None
    task: str = ""
    cues: Mapping[str, str] | None = None
    cue: str = ""
    test: StandingTest | None = None
    compared: Answer | None = None
    load: LoadAnswer | None = None
    cue_told: Answer | None = None
    speed_told: Answer | None = None
    companions_told: Answer | None = None


def athlete_view(store: SessionStore, athlete_id: int, told: Mapping[str, str]) -> AthleteView:
    """Gather the page.

    Parameters
    ----------
    store : SessionStore
        Read from.
    athlete_id : int
        Who.
    told : mapping of str to str
        The address's query: ``task`` and ``cue``.

    Raises
    ------
    NotKeptError
        If there is no such athlete.
    """
    athlete = store.athlete(athlete_id)
    measures = store.body_measures(athlete_id)
    found = recent(store, athlete_id)
    picture = mass_picture(measures)
    newest_first = tuple(reversed(measures))
    if not found.attempts:
        return AthleteView(athlete, newest_first, picture)
    task = _task(found, told.get("task"))
    cues = found.cues
    asked = plain(told.get("cue", ""))
    cue = asked if asked in cues else next(iter(cues), "")

    def address(of: Task, about: str) -> str:
        return link(f"/athlete/{athlete_id}", {"task": of.value, "cue": about})

    own = found.of(task)
    first, last = found.sessions[0], found.sessions[-1]
    about = (
        f"Looked at: the newest {count(len(found.sessions), 'session')} "
        f"({words.day(first.started_utc)} to {words.day(last.started_utc)})"
    )
    if len(found.sessions) == NEWEST:
        about += "; what was before need not hold now"
    return AthleteView(
        athlete,
        newest_first,
        picture,
        f"{about}.",
        {address(each, cue): TASKS[each.value] for each in Task if found.of(each)},
        address(task, cue),
        {address(task, key): text for key, text in cues.items()},
        address(task, cue),
        standing_test(found, measures),
        comparisons(found, task),
        load_answer(found),
        cue_answer(found, task, cue) if cue else Answer((NO_CUES,)),
        speed_answer(own),
        companions_answer(own),
    )


def _task(found: Recent, asked: str | None) -> Task:
    held = Counter(attempt.task for attempt in found.attempts)
    for task in held:
        if task.value == asked:
            return task
    # Approach jumps first: they are what the page is about.
    return max(held, key=lambda task: (task is not Task.STANDING, held[task], task.value))
