"""A task can be corrected and taken back; a table's column map stays with the recording."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make room for the first task and for the map."""
    op.add_column("attempts", sa.Column("first_task", sa.String(16)))
    op.add_column("recordings", sa.Column("column_map", sa.Text))


def downgrade() -> None:
    """Keep the task that stands; which it was before and the maps are forgotten."""
    op.drop_column("recordings", "column_map")
    op.drop_column("attempts", "first_task")
