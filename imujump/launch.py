"""Begins the command ``imujump``."""

from __future__ import annotations

from imujump.one_thread import limit_threads


def main() -> None:
    """Set up what must be set before numpy is loaded, then do what the command line says."""
    limit_threads()
    from imujump.cli import main as command

    command()
