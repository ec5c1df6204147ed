"""Steps from one form of the tables to the next, for Alembic; never changed once released."""
