"""A progress bar for a terminal that shows only when the work takes more than a moment."""

from __future__ import annotations

import threading
import time
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

PATIENCE_S = 1.0
"""How long the work may take before a bar appears, seconds (own choice: a shorter flash is
noise)."""


class PatientBar:
    """Counts recordings on standard error; silent when that is no terminal or all goes fast.

    Use it as a context manager: call :meth:`begin` before each recording and :meth:`hide`
    before anything else is printed.

    Parameters
    ----------
    total : int
        Number of recordings.
    console : Console, optional
        Where to draw; standard error if not given.
    patience_s : float
        How long to wait before the bar appears, seconds.
    """

    def __init__(
        self, total: int, console: Console | None = None, patience_s: float = PATIENCE_S
    ) -> None:
        self._console = console or Console(stderr=True)
        self._bar = Progress(
            TextColumn("analysing {task.description}", markup=False),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            console=self._console,
            transient=True,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        # A single recording has no countable parts: the bar then only pulses.
        self._task = self._bar.add_task("", total=total if total > 1 else None)
        self._begun = 0
        self._patience_s = patience_s
        self._lock = threading.Lock()
        self._due_s = 0.0
        self._wanted = False
        self._timer: threading.Timer | None = None

    def __enter__(self) -> Self:
        """Start to wait."""
        self._due_s = time.monotonic() + self._patience_s
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Remove the bar."""
        self.hide()

    def begin(self, name: str) -> None:
        """Announce the next recording; the bar appears once the patience is over."""
        self._bar.update(self._task, description=name, completed=self._begun)
        self._begun += 1
        self._wanted = self._console.is_terminal
        if self._wanted:
            self._timer = threading.Timer(max(self._due_s - time.monotonic(), 0.0), self._show)
            self._timer.daemon = True
            self._timer.start()

    def hide(self) -> None:
        """Clear the bar from the screen until the next recording begins."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        with self._lock:
            self._wanted = False
            if self._bar.live.is_started:
                self._bar.stop()

    def _show(self) -> None:
        with self._lock:
            if self._wanted:
                self._bar.start()
