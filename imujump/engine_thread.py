"""The engine beside the event loop: its work on a closing attempt delays no step to come."""

from __future__ import annotations

import asyncio
import contextlib
import queue
import threading
from collections.abc import Callable
from dataclasses import replace

from imujump.model import Analysis, Attempt, ClockReading, Mark, SampleBatch
from imujump.pipeline.engine import Engine

MOST_WAITING = 2000
"""Captured things that may wait for the engine before a faster source has to (own choice)."""

FEW_WAITING = 8
"""With more waiting, a replay runs faster than it can be watched and needs no preview (own choice:
three sensors' packets of 0.1 s)."""

WAIT_S = 0.005
"""How often a source that has to wait looks again (own choice)."""


class EngineThread:
    """The engine in a thread of its own, fed through a queue.

    Parameters
    ----------
    engine : Engine
        Used by nobody else from :meth:`start` to :meth:`finish`.
    closed : callable
        Called in the event loop's thread with the attempts that closed, or with the sentence
        that tells of a fault in the analysis.
    previewed : callable
        Called there with an attempt that is about to close, with None when it did not.

    Notes
    -----
    All methods belong to the event loop's thread.
    """

    def __init__(
        self,
        engine: Engine,
        closed: Callable[[tuple[Attempt, ...], str | None], None],
        previewed: Callable[[Attempt | None], None],
    ) -> None:
        self._engine, self._closed, self._previewed = engine, closed, previewed
        self._work: queue.SimpleQueue[tuple[list[SampleBatch | ClockReading], float] | None] = (
            queue.SimpleQueue()
        )
        self._thread = threading.Thread(target=self._run, name="engine", daemon=True)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._fault: str | None = None
        self.running = False

    @property
    def behind(self) -> bool:
        """Whether so much waits for the engine that the source has to wait too."""
        return self._work.qsize() > MOST_WAITING

    def catch_up(self) -> None:
        """Wait until little waits for the engine."""
        while self._work.qsize() > MOST_WAITING // 2 and self._thread.is_alive():
            self._thread.join(WAIT_S)

    def start(self) -> None:
        """Begin; belongs into the running event loop."""
        self._loop = asyncio.get_running_loop()
        self._thread.start()
        self.running = True

    def put(self, entries: list[SampleBatch | ClockReading], time_s: float) -> None:
        """Hand on what is now in order, all that was captured until ``time_s``."""
        self._work.put((entries, time_s))

    async def finish(self, warnings: tuple[str, ...], marks: tuple[Mark, ...] = ()) -> Analysis:
        """Let the engine do what waits, end it and return its analysis."""
        self._work.put(None)
        await asyncio.to_thread(self._thread.join)
        self.running = False
        known = self._engine.info.warnings
        fresh = tuple(text for text in warnings if text not in known)
        self._engine.info = replace(self._engine.info, warnings=(*known, *fresh), marks=marks)
        return await asyncio.to_thread(self._engine.finish)

    def _run(self) -> None:
        shown = False
        while (work := self._work.get()) is not None:
            if self._fault is not None:
                continue
            try:
                attempts = self._step(*work)
            except Exception as error:
                # Whatever goes wrong in the analysis, the recording goes on.
                self._fault = (
                    f"the analysis stopped ({type(error).__name__}: {error}); the recording goes "
                    "on, analyse the file afterwards and report this."
                )
                self._send((), self._fault)
                continue
            if attempts:
                shown = False
                self._send(attempts, None)
            elif shown and not self._engine.in_action:
                shown = False
                self._tell(self._previewed, None)
            elif self._work.qsize() < FEW_WAITING:
                shown = self._preview() or shown

    def _preview(self) -> bool:
        """Tell of an attempt that is about to close; return whether there was one."""
        # Should the analysis fail, its close will say so.
        with contextlib.suppress(Exception):
            attempt = self._engine.preview()
            if attempt is not None:
                self._tell(self._previewed, attempt)
                return True
        return False

    def _step(
        self, entries: list[SampleBatch | ClockReading], time_s: float
    ) -> tuple[Attempt, ...]:
        attempts: list[Attempt] = []
        for entry in entries:
            if isinstance(entry, ClockReading):
                self._engine.read_clock(entry)
            else:
                attempts += self._engine.push(entry)
        # Stamps do not repeat: until this one everything is there.
        attempts += self._engine.advance(time_s)
        return tuple(attempts)

    def _send(self, attempts: tuple[Attempt, ...], fault: str | None) -> None:
        self._tell(self._closed, attempts, fault)

    def _tell(self, whom: Callable[..., None], *what: object) -> None:
        assert self._loop is not None
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(whom, *what)
