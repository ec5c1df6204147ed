"""Runs the steps in the connection, and the transaction, that the store opened."""

from alembic import context

from imujump.sessions.schema import VERSION_TABLE, metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
    transaction_per_migration=False,
)
context.run_migrations()
