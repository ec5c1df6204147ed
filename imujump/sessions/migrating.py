"""Runs the migrations in a transaction that is open already."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection


def settings(connection: Connection | None = None) -> Config:
    """Return Alembic's settings for our migrations; no file is read."""
    config = Config()
    folder = Path(__file__).with_name("migrations")
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def migrate(connection: Connection, revision: str) -> None:
    """Bring the database from wherever it is to a migration; all or nothing."""
    command.upgrade(settings(connection), revision)
