"""Begins the command ``imujump-dashboard``."""

from __future__ import annotations

from imujump.one_thread import limit_threads


def main() -> None:
    """Set up what must be set before numpy is loaded, then serve."""
    limit_threads()
    from dashboard.start import main as command

    command()
