"""What the courtside page takes from the store, who can jump, and gives to it: what was recorded.

A store in trouble must not stop a session: names that were read before stay, and the trouble is
told in a sentence.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from dashboard.review.door import StoreDoor
from imujump.errors import ConsentError, ImuJumpError, StoreError
from imujump.sessions.records import Athlete, Task
from imujump.sessions.store import SessionStore

LONGEST_NAME = 60
MARGIN_METRIC = "height_flight_m"

FEWEST_REPEATS = 6
"""An athlete's own typical error counts from so many degrees of freedom on (own choice: it is then
known to within about 30 %)."""


class Athletes:
    """The athletes to choose from, and what is known of each.

    Parameters
    ----------
    door : StoreDoor
        The store.
    """

    def __init__(self, door: StoreDoor) -> None:
        self._door = door
        self._names: list[str] = []
        self._errors: dict[tuple[str, str], float | None] = {}
        self.trouble: str | None = None
        self.refresh()

    def names(self) -> list[str]:
        """List all by name, as they were when last read."""
        return self._names

    def refresh(self) -> None:
        """Read names anew, and forget errors that may have changed."""
        try:
            with self._door.opened() as store:
                self._names = [athlete.name for athlete in store.athletes()]
            self._errors.clear()
            self.trouble = None
        except ImuJumpError as error:
            self.trouble = str(error)

    def add(self, name: str) -> str:
        """Add an athlete, unless there is one of that name; return the name.

        Raises
        ------
        ValueError
            If the name is empty or too long.
        ImuJumpError
            If the store cannot be used.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= LONGEST_NAME:
            raise ValueError(f"Give a name of 1 to {LONGEST_NAME} characters.")
        with self._door.opened() as store:
            found = store.find_athlete(name) or store.add_athlete(name)
        self.refresh()
        return found.name

    def check_consent(self, name: str) -> None:
        """Refuse a minor without a guardian's consent.

        Raises
        ------
        ConsentError
            If results may not be kept.
        """
        try:
            with self._door.opened() as store:
                store.check_consent(_known(store, name).athlete_id, datetime.now(UTC).year)
        except ConsentError:
            raise
        except StoreError as error:
            self.trouble = str(error)

    def typical_error_m(self, name: str, task: str) -> float | None:
        """Return the athlete's own typical error of jump height, from repeated attempts.

        None as long as there are too few.
        """
        if not name:
            return None
        if (name, task) not in self._errors:
            try:
                with self._door.opened() as store:
                    self._errors[name, task] = _typical_error_m(store, name, Task(task))
            except ImuJumpError as error:
                self.trouble = str(error)
                return None
        return self._errors[name, task]

    def keep(self, recording: Path, name: str) -> tuple[bool, str]:
        """Put a finished session's recording into the store, with the log beside it.

        Takes as long as the analysis does. Never raises for trouble with store or recording:
        the sentence that it returns, beside whether it is kept, says what to do then.
        """
        # Loaded when needed: the page is up two seconds sooner.
        from imujump.bookkeeping import add_recording

        try:
            with self._door.opened() as store:
                kept = add_recording(store, recording, _known(store, name).athlete_id)
        except (ImuJumpError, OSError) as error:
            return (
                False,
                f'Not kept yet: {error} Later: imujump add "{recording}" --athlete "{name}".',
            )
        count = len(kept.attempt_ids)
        return True, f"Kept for {name}: {count} attempt{'' if count == 1 else 's'}."


def _known(store: SessionStore, name: str) -> Athlete:
    found = store.find_athlete(name)
    return store.add_athlete(name) if found is None else found


def _typical_error_m(store: SessionStore, name: str, task: Task) -> float | None:
    from imujump.sessions.readings import Filter, metric_from_table
    from imujump.sessions.reliability import typical_error

    athlete = store.find_athlete(name)
    if athlete is None:
        return None
    table = store.series(athlete.athlete_id, [MARGIN_METRIC], task)
    sessions = metric_from_table(table, MARGIN_METRIC, Filter(task))
    found = typical_error([session.values.tolist() for session in sessions])
    return found.value if found is not None and found.df >= FEWEST_REPEATS else None
