"""Invalid marks and notes can be taken back without being deleted; where the sensors sit."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_INSTANT = sa.DateTime(timezone=True)
_STANDING = sa.text("withdrawn_utc IS NULL")


def upgrade() -> None:
    """Move the marks into a table of their own; find a result's metrics quickly."""
    op.add_column("sessions", sa.Column("mounting", sa.Text, nullable=False, server_default=""))
    op.add_column("notes", sa.Column("withdrawn_utc", _INSTANT))
    op.create_table(
        "invalid_marks",
        sa.Column("mark_id", sa.Integer, nullable=False),
        sa.Column("attempt_id", sa.Integer, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("marked_utc", _INSTANT, nullable=False),
        sa.Column("withdrawn_utc", _INSTANT),
        sa.PrimaryKeyConstraint("mark_id", name="pk_invalid_marks"),
        sa.ForeignKeyConstraint(
            ["attempt_id"],
            ["attempts.attempt_id"],
            name="fk_invalid_marks_attempt_id",
            ondelete="CASCADE",
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_invalid_marks_attempt_id", "invalid_marks", ["attempt_id"])
    op.create_index(
        "ix_invalid_marks_standing",
        "invalid_marks",
        ["attempt_id"],
        unique=True,
        sqlite_where=_STANDING,
        postgresql_where=_STANDING,
    )
    # When a mark was set was not noted before: the attempt's own time stands for it.
    op.execute(
        "INSERT INTO invalid_marks (attempt_id, reason, marked_utc) "
        "SELECT attempt_id, invalid_mark, taken_utc FROM attempts WHERE invalid_mark IS NOT NULL"
    )
    op.drop_column("attempts", "invalid_mark")
    op.create_index("ix_metrics_result_id", "metrics", ["result_id"])


def downgrade() -> None:
    """Put the marks that stand back into the attempts; what was taken back is forgotten."""
    op.drop_index("ix_metrics_result_id", "metrics")
    op.add_column("attempts", sa.Column("invalid_mark", sa.Text))
    op.execute(
        "UPDATE attempts SET invalid_mark = (SELECT reason FROM invalid_marks m "
        "WHERE m.attempt_id = attempts.attempt_id AND m.withdrawn_utc IS NULL)"
    )
    op.drop_table("invalid_marks")
    op.execute("DELETE FROM notes WHERE withdrawn_utc IS NOT NULL")
    op.drop_column("notes", "withdrawn_utc")
    op.drop_column("sessions", "mounting")
