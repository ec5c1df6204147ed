"""Athletes and their body measures in the tables."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import Connection, RowMapping, delete, insert, select, update

from imujump.model import Side
from imujump.sessions.plain_text import clean_name, name_key
from imujump.sessions.records import Athlete, BodyMeasure
from imujump.sessions.schema import athletes, body_measures

OLDEST_BIRTH_YEAR = 1900
STATURE_M, LEG_LENGTH_M, MASS_KG = (0.5, 2.6), (0.2, 1.6), (10.0, 300.0)
"""What a person can measure (own choice: wide, they catch a wrong unit)."""

ADULT_YEARS = 18
"""Common practice: the age of majority in most countries; local law comes first."""

CHANGEABLE = (
    "name",
    "birth_year",
    "stature_m",
    "leg_length_m",
    "take_off_side",
    "guardian_consent_on",
)


def all_athletes(connection: Connection) -> list[Athlete]:
    """List all by name."""
    rows = connection.execute(select(athletes)).mappings()
    return sorted((_athlete(row) for row in rows), key=lambda a: (a.name.casefold(), a.athlete_id))


def by_id(connection: Connection, athlete_id: int) -> Athlete | None:
    """Return one, if it is kept."""
    found = connection.execute(select(athletes).where(athletes.c.athlete_id == athlete_id))
    row = found.mappings().first()
    return None if row is None else _athlete(row)


def by_name(connection: Connection, name: str) -> Athlete | None:
    """Return the one of that name; case does not matter."""
    key = name_key(clean_name(name))
    row = connection.execute(select(athletes).where(athletes.c.name_key == key)).mappings().first()
    return None if row is None else _athlete(row)


def add(connection: Connection, facts: Mapping[str, Any]) -> int:
    """Add one and return its id."""
    inserted = connection.execute(insert(athletes).values(**_columns(facts)))
    assert inserted.inserted_primary_key is not None
    return int(inserted.inserted_primary_key[0])


def change(connection: Connection, athlete_id: int, facts: Mapping[str, Any]) -> bool:
    """Change some facts; tells whether there is such an athlete."""
    changed = connection.execute(
        update(athletes).where(athletes.c.athlete_id == athlete_id).values(**_columns(facts))
    )
    return changed.rowcount > 0


def _columns(facts: Mapping[str, Any]) -> dict[str, Any]:
    unknown = set(facts) - set(CHANGEABLE)
    if unknown:
        raise ValueError(f"{', '.join(sorted(unknown))}: an athlete has no such fact")
    columns = dict(facts)
    if "name" in columns:
        columns["name"] = clean_name(str(columns["name"]))
        columns["name_key"] = name_key(columns["name"])
    year = columns.get("birth_year")
    this_year = date.today().year  # noqa: DTZ011 - the person's own calendar
    if year is not None and not OLDEST_BIRTH_YEAR <= year <= this_year:
        raise ValueError(f"birth year is {year}, must lie from {OLDEST_BIRTH_YEAR} to {this_year}")
    _within("stature", columns.get("stature_m"), STATURE_M, "m")
    _within("leg length", columns.get("leg_length_m"), LEG_LENGTH_M, "m")
    if columns.get("take_off_side") is not None:
        columns["take_off_side"] = str(Side(columns["take_off_side"]))
    return columns


def _within(what: str, value: float | None, limits: tuple[float, float], unit: str) -> None:
    low, high = limits
    if value is not None and not low <= value <= high:
        raise ValueError(f"{what} is {value:g} {unit}, must lie from {low:g} to {high:g} {unit}")


def measures(connection: Connection, athlete_id: int) -> list[BodyMeasure]:
    """List body measures by day."""
    rows = connection.execute(
        select(body_measures)
        .where(body_measures.c.athlete_id == athlete_id)
        .order_by(body_measures.c.on_day)
    )
    return [BodyMeasure(row.on_day, row.mass_kg, row.stature_m) for row in rows]


def add_measure(connection: Connection, athlete_id: int, measure: BodyMeasure) -> None:
    """Add one; it replaces another of the same day."""
    _within("body mass", measure.mass_kg, MASS_KG, "kg")
    _within("stature", measure.stature_m, STATURE_M, "m")
    remove_measure(connection, athlete_id, measure.on)
    connection.execute(
        insert(body_measures).values(
            athlete_id=athlete_id,
            on_day=measure.on,
            mass_kg=float(measure.mass_kg),
            stature_m=measure.stature_m,
        )
    )


def remove_measure(connection: Connection, athlete_id: int, on: date) -> bool:
    """Remove the one of a day; tells whether there was one."""
    removed = connection.execute(
        delete(body_measures).where(
            body_measures.c.athlete_id == athlete_id, body_measures.c.on_day == on
        )
    )
    return removed.rowcount > 0


def may_be_minor(athlete: Athlete, year: int) -> bool:
    """Tell whether a person may be under age in a year; the year of birth alone is known.

    >>> may_be_minor(Athlete(1, "Ada", birth_year=2008), 2026)
    True
    """
    return athlete.birth_year is not None and year - athlete.birth_year <= ADULT_YEARS


def _athlete(row: RowMapping) -> Athlete:
    side = row["take_off_side"]
    return Athlete(
        athlete_id=row["athlete_id"],
        name=row["name"],
        birth_year=row["birth_year"],
        stature_m=row["stature_m"],
        leg_length_m=row["leg_length_m"],
        take_off_side=None if side is None else Side(side),
        guardian_consent_on=row["guardian_consent_on"],
    )
