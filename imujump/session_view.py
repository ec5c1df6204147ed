"""Shows a running session on the standard output, be it a terminal or a pipe."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Any

import click
from rich.console import Console, RenderableType
from rich.live import Live
from rich.text import Text

from imujump.capture_screen import PlainLines, screen
from imujump.display_units import glyphs_for

FRAMES_PER_S = 10
"""How often the terminal is drawn anew (own choice: as fast as figures can be read)."""


class SessionView:
    """Shows a session on the standard output, drawn in place on a terminal, as lines elsewhere.

    Parameters
    ----------
    keys : str
        What keys do, shown below.

    Attributes
    ----------
    typed : str
        The note that is being typed.
    """

    def __init__(self, keys: str) -> None:
        self.typed = ""
        self._keys = keys
        self._glyphs = glyphs_for(sys.stdout.encoding)
        self._state: Mapping[str, Any] | None = None
        self._plain = PlainLines(self._glyphs)
        self._console = Console()
        self._live: Live | None = None
        if sys.stdout.isatty():
            self._live = Live(
                get_renderable=self._drawn,
                console=self._console,
                refresh_per_second=FRAMES_PER_S,
                transient=False,
            )

    def __enter__(self) -> SessionView:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(self, *problem: object) -> None:
        if self._live is not None:
            self._live.stop()

    def show(
        self, state: Mapping[str, Any], events: Sequence[Mapping[str, Any]], missed: int
    ) -> None:
        """Show a new state and the events since the last."""
        self._state = state
        if self._live is None:
            for line in self._plain.lines(state, events, missed):
                click.echo(line)

    def _drawn(self) -> RenderableType:
        if self._state is None:
            return Text("Looking for the sensors …")
        below = f"note: {self.typed}" if self.typed else self._keys
        return screen(self._state, self._glyphs, below, self._console.width)
