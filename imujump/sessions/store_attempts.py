"""The part of the store that hands out attempts, and keeps what the coach says of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import pandas as pd

from imujump.model import Attempt
from imujump.sessions import keeping, results_kept
from imujump.sessions import series as series_kept
from imujump.sessions.access import StoreAccess
from imujump.sessions.records import Moved, StoredAttempt, Task
from imujump.sessions.schema import attempts, recordings, sessions


class AttemptStore(StoreAccess):
    """Attempts, every analysis of them, and marks."""

    def attempts(self, session_id: int) -> list[StoredAttempt]:
        """List a session's attempts in order, each with the result that is shown."""
        with self._read() as connection:
            return results_kept.stored(connection, recordings.c.session_id == session_id)

    def attempts_of_recording(self, recording_id: int) -> list[StoredAttempt]:
        """List a recording's attempts in order."""
        with self._read() as connection:
            return results_kept.stored(connection, recordings.c.recording_id == recording_id)

    def attempts_of(
        self,
        athlete_id: int,
        task: Task | None = None,
        since: datetime | None = None,
        with_steps: bool = True,
    ) -> list[StoredAttempt]:
        """List an athlete's attempts in order, all or those of sessions that began since.

        Without events and steps it is quicker; for few metrics :meth:`series` is quicker still.
        """
        condition = sessions.c.athlete_id == athlete_id
        if since is not None:
            condition &= sessions.c.started_utc >= since
        if task is not None:
            condition &= attempts.c.task == task.value
        with self._read() as connection:
            return results_kept.stored(connection, condition, with_steps=with_steps)

    def attempt(self, attempt_id: int) -> StoredAttempt:
        """Return one attempt with the result that is shown."""
        with self._read() as connection:
            return self._attempt(connection, attempt_id)

    def results(self, attempt_id: int) -> list[StoredAttempt]:
        """List every analysis of an attempt, oldest first."""
        with self._read() as connection:
            return results_kept.stored(
                connection, attempts.c.attempt_id == attempt_id, every_result=True
            )

    def moved(self, attempt_id: int) -> tuple[Moved, ...]:
        """Say what the newest pipeline changed against the one before; empty if nothing."""
        with self._read() as connection:
            return keeping.moved(connection, attempt_id)

    def keep_by_hand(self, attempt_id: int, attempt: Attempt, version: str) -> StoredAttempt:
        """Keep and show what follows from events that the coach corrected."""
        with self._write() as connection:
            self._attempt(connection, attempt_id)
            results_kept.add_results(connection, {attempt_id: attempt}, version, by_hand=True)
            return self._attempt(connection, attempt_id)

    def show_measured(self, attempt_id: int) -> StoredAttempt:
        """Show the pipeline's own result again; corrections by hand are kept."""
        return self._show_newest(attempt_id, by_hand=False)

    def show_by_hand(self, attempt_id: int) -> StoredAttempt:
        """Show the newest correction by hand again."""
        return self._show_newest(attempt_id, by_hand=True)

    def _show_newest(self, attempt_id: int, by_hand: bool) -> StoredAttempt:
        with self._write() as connection:
            found = results_kept.result_ids(connection, attempt_id, by_hand)
            if not found:
                raise self._missing("attempt")
            results_kept.show(connection, {attempt_id: found[-1][0]})
            return self._attempt(connection, attempt_id)

    def mark_invalid(self, attempt_id: int, reason: str) -> StoredAttempt:
        """Mark that an attempt does not count."""
        with self._write() as connection:
            self._attempt(connection, attempt_id)
            results_kept.add_mark(connection, attempt_id, reason, datetime.now(UTC))
            return self._attempt(connection, attempt_id)

    def withdraw_mark(self, attempt_id: int) -> StoredAttempt:
        """Take the mark back; it stays in the database."""
        with self._write() as connection:
            results_kept.withdraw_mark(connection, attempt_id, datetime.now(UTC))
            return self._attempt(connection, attempt_id)

    def set_task(self, attempt_id: int, task: Task) -> StoredAttempt:
        """Correct what the athlete was asked to do; :meth:`withdraw_task` takes it back."""
        with self._write() as connection:
            results_kept.set_task(connection, attempts.c.attempt_id == attempt_id, task)
            return self._attempt(connection, attempt_id)

    def withdraw_task(self, attempt_id: int) -> StoredAttempt:
        """Take the corrected task of an attempt back: that which was kept first stands again."""
        with self._write() as connection:
            results_kept.withdraw_task(connection, attempts.c.attempt_id == attempt_id)
            return self._attempt(connection, attempt_id)

    def set_recording_task(self, recording_id: int, task: Task) -> None:
        """Correct the task of all attempts of a recording."""
        with self._write() as connection:
            own = self._recording(connection, recording_id).recording_id
            results_kept.set_task(connection, attempts.c.recording_id == own, task)

    def withdraw_recording_task(self, recording_id: int) -> None:
        """Take all corrected tasks of a recording back."""
        with self._write() as connection:
            own = self._recording(connection, recording_id).recording_id
            results_kept.withdraw_task(connection, attempts.c.recording_id == own)

    def series(
        self, athlete_id: int | None, names: Sequence[str], task: Task | None = None
    ) -> pd.DataFrame:
        """Return metrics of all of an athlete's attempts, one row an attempt and metric.

        The columns are :data:`imujump.sessions.series.COLUMNS`; ``None`` means everybody.
        """
        with self._read() as connection:
            return series_kept.series(connection, athlete_id, names, task)
