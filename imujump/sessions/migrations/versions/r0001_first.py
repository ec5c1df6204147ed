"""The first tables: athletes, sessions, recordings, attempts, results, metrics, notes."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_INSTANT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "athletes",
        sa.Column("athlete_id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        sa.Column("birth_year", sa.Integer),
        sa.Column("stature_m", sa.Float),
        sa.Column("leg_length_m", sa.Float),
        sa.Column("take_off_side", sa.String(8)),
        sa.Column("guardian_consent_on", sa.Date),
        sa.PrimaryKeyConstraint("athlete_id", name="pk_athletes"),
        sa.UniqueConstraint("name_key", name="uq_athletes_name_key"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "body_measures",
        sa.Column("athlete_id", sa.Integer, nullable=False),
        sa.Column("on_day", sa.Date, nullable=False),
        sa.Column("mass_kg", sa.Float, nullable=False),
        sa.Column("stature_m", sa.Float),
        sa.PrimaryKeyConstraint("athlete_id", "on_day", name="pk_body_measures"),
        _to("body_measures", "athletes", "athlete_id"),
    )
    op.create_table(
        "sessions",
        sa.Column("session_id", sa.Integer, nullable=False),
        sa.Column("athlete_id", sa.Integer, nullable=False),
        sa.Column("started_utc", _INSTANT, nullable=False),
        sa.Column("surface", sa.Text, nullable=False),
        sa.Column("shoe", sa.Text, nullable=False),
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("session_id", name="pk_sessions"),
        _to("sessions", "athletes", "athlete_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_sessions_athlete_id_started_utc", "sessions", ["athlete_id", "started_utc"])
    op.create_table(
        "recordings",
        sa.Column("recording_id", sa.Integer, nullable=False),
        sa.Column("session_id", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("standing", sa.String(16), nullable=False),
        sa.Column("remarks", sa.JSON, nullable=False),
        sa.Column("started_utc", _INSTANT, nullable=False),
        sa.Column("duration_s", sa.Float, nullable=False),
        sa.Column("pipeline_version", sa.String(64), nullable=False),
        sa.Column("added_utc", _INSTANT, nullable=False),
        sa.PrimaryKeyConstraint("recording_id", name="pk_recordings"),
        sa.UniqueConstraint("sha256", name="uq_recordings_sha256"),
        _to("recordings", "sessions", "session_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_recordings_session_id", "recordings", ["session_id"])
    _make_results()
    op.create_table(
        "notes",
        sa.Column("note_id", sa.Integer, nullable=False),
        sa.Column("session_id", sa.Integer, nullable=False),
        sa.Column("attempt_id", sa.Integer),
        sa.Column("noted_utc", _INSTANT, nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("note_id", name="pk_notes"),
        _to("notes", "sessions", "session_id"),
        _to("notes", "attempts", "attempt_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_notes_session_id", "notes", ["session_id"])
    op.create_index("ix_notes_attempt_id", "notes", ["attempt_id"])


def _make_results() -> None:
    op.create_table(
        "attempts",
        sa.Column("attempt_id", sa.Integer, nullable=False),
        sa.Column("recording_id", sa.Integer, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("task", sa.String(16), nullable=False),
        sa.Column("taken_utc", _INSTANT, nullable=False),
        sa.Column("result_id", sa.Integer),
        sa.Column("invalid_mark", sa.Text),
        sa.PrimaryKeyConstraint("attempt_id", name="pk_attempts"),
        sa.UniqueConstraint("recording_id", "number", name="uq_attempts_recording_id_number"),
        _to("attempts", "recordings", "recording_id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "results",
        sa.Column("result_id", sa.Integer, nullable=False),
        sa.Column("attempt_id", sa.Integer, nullable=False),
        sa.Column("pipeline_version", sa.String(64), nullable=False),
        sa.Column("hand_events", sa.Boolean, nullable=False),
        sa.Column("made_utc", _INSTANT, nullable=False),
        sa.Column("start_s", sa.Float, nullable=False),
        sa.Column("end_s", sa.Float, nullable=False),
        sa.Column("toe_off_s", sa.Float, nullable=False),
        sa.Column("landing_s", sa.Float, nullable=False),
        sa.Column("style", sa.String(16)),
        sa.Column("side", sa.String(8)),
        sa.Column("valid", sa.Boolean, nullable=False),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("result_id", name="pk_results"),
        _to("results", "attempts", "attempt_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_results_attempt_id", "results", ["attempt_id"])
    op.create_table(
        "contacts",
        sa.Column("result_id", sa.Integer, nullable=False),
        sa.Column("events", sa.JSON, nullable=False),
        sa.Column("steps", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("result_id", name="pk_contacts"),
        _to("contacts", "results", "result_id"),
    )
    op.create_table(
        "metrics",
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("result_id", sa.Integer, nullable=False),
        sa.Column("value", sa.Float),
        sa.Column("sigma", sa.Float),
        sa.Column("reason", sa.Text),
        sa.Column("method", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("name", "result_id", name="pk_metrics"),
        _to("metrics", "results", "result_id"),
        sqlite_with_rowid=False,
    )


def _to(table: str, other: str, column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [f"{other}.{column}"], name=f"fk_{table}_{column}", ondelete="CASCADE"
    )


def downgrade() -> None:
    """Remove the tables, with all that is in them."""
    op.drop_table("notes")
    for table in ("metrics", "contacts", "results", "attempts", "recordings", "sessions"):
        op.drop_table(table)
    op.drop_table("body_measures")
    op.drop_table("athletes")
