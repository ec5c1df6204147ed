"""The tables of the store, as the newest migration leaves them."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)

HEAD = "0003"
"""The newest migration."""

VERSION_TABLE = "imujump_store_version"
"""Where Alembic notes which migration the database has; also the sign that it is ours."""

APPLICATION_ID = 0x494D4A53
"""SQLite's mark of our file: "IMJS" in ASCII."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class Utc(TypeDecorator[datetime]):
    """An instant; SQLite keeps it without its zone, which is always UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn into UTC; a time without a zone is taken as UTC."""
        if value is None:
            return None
        aware = value if value.tzinfo is not None else value.replace(tzinfo=UTC)
        told = aware.astimezone(UTC)
        return told.replace(tzinfo=None) if dialect.name == "sqlite" else told

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give back with its zone."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _below(column: str) -> ForeignKey:
    return ForeignKey(column, ondelete="CASCADE")


athletes = Table(
    "athletes",
    metadata,
    Column("athlete_id", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", Text, nullable=False, unique=True),
    Column("birth_year", Integer),
    Column("stature_m", Float),
    Column("leg_length_m", Float),
    Column("take_off_side", String(8)),
    Column("guardian_consent_on", Date),
    sqlite_autoincrement=True,
)

body_measures = Table(
    "body_measures",
    metadata,
    Column("athlete_id", _below("athletes.athlete_id"), primary_key=True),
    Column("on_day", Date, primary_key=True),
    Column("mass_kg", Float, nullable=False),
    Column("stature_m", Float),
)

sessions = Table(
    "sessions",
    metadata,
    Column("session_id", Integer, primary_key=True),
    Column("athlete_id", _below("athletes.athlete_id"), nullable=False),
    Column("started_utc", Utc, nullable=False),
    Column("surface", Text, nullable=False),
    Column("shoe", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("mounting", Text, nullable=False, server_default=""),
    Column("note", Text, nullable=False),
    Index("ix_sessions_athlete_id_started_utc", "athlete_id", "started_utc"),
    sqlite_autoincrement=True,
)

recordings = Table(
    "recordings",
    metadata,
    Column("recording_id", Integer, primary_key=True),
    Column("session_id", _below("sessions.session_id"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("path", Text, nullable=False),
    Column("standing", String(16), nullable=False),
    Column("remarks", JSON, nullable=False),
    Column("started_utc", Utc, nullable=False),
    Column("duration_s", Float, nullable=False),
    Column("pipeline_version", String(64), nullable=False),
    Column("added_utc", Utc, nullable=False),
    Column("column_map", Text),
    sqlite_autoincrement=True,
)

attempts = Table(
    "attempts",
    metadata,
    Column("attempt_id", Integer, primary_key=True),
    Column("recording_id", _below("recordings.recording_id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("task", String(16), nullable=False),
    Column("taken_utc", Utc, nullable=False),
    # The result that is shown. No foreign key: results point here, and SQLite could not add one.
    Column("result_id", Integer),
    # What the task was before a person corrected it.
    Column("first_task", String(16)),
    UniqueConstraint("recording_id", "number"),
    sqlite_autoincrement=True,
)

results = Table(
    "results",
    metadata,
    Column("result_id", Integer, primary_key=True),
    Column("attempt_id", _below("attempts.attempt_id"), nullable=False, index=True),
    Column("pipeline_version", String(64), nullable=False),
    Column("hand_events", Boolean(create_constraint=False), nullable=False),
    Column("made_utc", Utc, nullable=False),
    Column("start_s", Float, nullable=False),
    Column("end_s", Float, nullable=False),
    Column("toe_off_s", Float, nullable=False),
    Column("landing_s", Float, nullable=False),
    Column("style", String(16)),
    Column("side", String(8)),
    Column("valid", Boolean(create_constraint=False), nullable=False),
    Column("reasons", JSON, nullable=False),
    sqlite_autoincrement=True,
)

contacts = Table(
    "contacts",
    metadata,
    Column("result_id", _below("results.result_id"), primary_key=True),
    Column("events", JSON, nullable=False),
    Column("steps", JSON, nullable=False),
)
"""The long part of a result, apart: lists and trends need not read past it."""

metrics = Table(
    "metrics",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("result_id", _below("results.result_id"), primary_key=True),
    Column("value", Float),
    Column("sigma", Float),
    Column("reason", Text),
    Column("method", Text, nullable=False),
    sqlite_with_rowid=False,
)
"""One row a metric, sorted by name: a trend reads one piece, an attempt uses the index."""

Index("ix_metrics_result_id", metrics.c.result_id)

invalid_marks = Table(
    "invalid_marks",
    metadata,
    Column("mark_id", Integer, primary_key=True),
    Column("attempt_id", _below("attempts.attempt_id"), nullable=False, index=True),
    Column("reason", Text, nullable=False),
    Column("marked_utc", Utc, nullable=False),
    Column("withdrawn_utc", Utc),
    sqlite_autoincrement=True,
)
Index(
    "ix_invalid_marks_standing",
    invalid_marks.c.attempt_id,
    unique=True,
    sqlite_where=text("withdrawn_utc IS NULL"),
    postgresql_where=text("withdrawn_utc IS NULL"),
)

notes = Table(
    "notes",
    metadata,
    Column("note_id", Integer, primary_key=True),
    Column("session_id", _below("sessions.session_id"), nullable=False, index=True),
    Column("attempt_id", _below("attempts.attempt_id"), index=True),
    Column("noted_utc", Utc, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("text", Text, nullable=False),
    Column("withdrawn_utc", Utc),
    sqlite_autoincrement=True,
)
