"""The part of the store that keeps athletes and their body measures."""

from __future__ import annotations

from datetime import date
from typing import Any

from imujump.sessions import athletes_kept
from imujump.sessions.access import StoreAccess
from imujump.sessions.records import Athlete, BodyMeasure


class AthleteStore(StoreAccess):
    """Athletes and body measures."""

    def athletes(self) -> list[Athlete]:
        """List all athletes by name."""
        with self._read() as connection:
            return athletes_kept.all_athletes(connection)

    def athlete(self, athlete_id: int) -> Athlete:
        """Return one athlete."""
        with self._read() as connection:
            return self._athlete(connection, athlete_id)

    def find_athlete(self, name: str) -> Athlete | None:
        """Return the athlete of that name, or ``None``; case does not matter."""
        with self._read() as connection:
            return athletes_kept.by_name(connection, name)

    def add_athlete(self, name: str, **facts: Any) -> Athlete:
        """Add an athlete; ``facts`` are fields of :class:`Athlete`. Names are unique."""
        with self._write() as connection:
            if athletes_kept.by_name(connection, name) is not None:
                raise ValueError(f"There is an athlete {name!r} already; add something to tell.")
            return self._athlete(connection, athletes_kept.add(connection, {"name": name, **facts}))

    def change_athlete(self, athlete_id: int, **facts: Any) -> Athlete:
        """Change fields of an athlete; the others stay. ``None`` removes a fact."""
        with self._write() as connection:
            if "name" in facts:
                other = athletes_kept.by_name(connection, facts["name"])
                if other is not None and other.athlete_id != athlete_id:
                    raise ValueError(f"There is an athlete {other.name!r} already.")
            if facts:
                athletes_kept.change(connection, athlete_id, facts)
            return self._athlete(connection, athlete_id)

    def body_measures(self, athlete_id: int) -> list[BodyMeasure]:
        """List an athlete's body measures by day."""
        with self._read() as connection:
            return athletes_kept.measures(connection, athlete_id)

    def add_body_measure(self, athlete_id: int, measure: BodyMeasure) -> None:
        """Add a body measure; it replaces one of the same day."""
        with self._write() as connection:
            athletes_kept.add_measure(connection, athlete_id, measure)

    def remove_body_measure(self, athlete_id: int, on: date) -> None:
        """Remove the body measure of a day."""
        with self._write() as connection:
            if not athletes_kept.remove_measure(connection, athlete_id, on):
                raise self._missing("body measure")

    def check_consent(self, athlete_id: int, year: int) -> None:
        """Refuse when results of a year may not be kept.

        Raises
        ------
        ConsentError
            If the athlete may have been a minor then and no guardian's consent is noted.
        """
        with self._read() as connection:
            self._check_consent(self._athlete(connection, athlete_id), year)
