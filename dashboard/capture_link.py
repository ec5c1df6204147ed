"""Starts the capture's process, attaches to its door, and says what becomes of it."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from imujump.capture.viewer import CaptureViewer, View, find_capture
from imujump.courtside import CourtsideWish
from imujump.errors import NoCaptureError

START_S = 60.0
"""How long sensors may take to be found before the page gives up."""

LOOK_S = 0.05


class Phase(StrEnum):
    """How the capture is doing."""

    NONE = "none"
    STARTING = "starting"
    RUNNING = "running"
    FINISHED = "finished"
    DIED = "died"


@dataclass(frozen=True, slots=True)
class LinkState:
    """The capture's phase, and a sentence when something is the matter."""

    phase: Phase
    sentence: str | None = None


class CaptureLink:
    """One capture, from start to end.

    Parameters
    ----------
    wish : CourtsideWish
        What is captured.
    words : Path
        Where the process writes what it has to say.
    on_view, on_state : callable
        Called from a thread of this object's own.
    """

    def __init__(
        self,
        wish: CourtsideWish,
        words: Path,
        on_view: Callable[[View], None],
        on_state: Callable[[LinkState], None],
    ) -> None:
        self.wish = wish
        self._words, self._on_view, self._on_state = words, on_view, on_state
        self._process: subprocess.Popen[bytes] | None = None
        self._viewer: CaptureViewer | None = None
        self._stopped = threading.Event()

    def start(self) -> None:
        """Start the capture and attach to it."""
        self._on_state(LinkState(Phase.STARTING))
        with self._words.open("wb") as out:
            # In a session of its own it outlives a page server that is killed.
            self._process = subprocess.Popen(
                [sys.executable, "-m", "imujump.courtside", self.wish.to_json()],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                start_new_session=True,
            )
        self.attach()

    def attach(self) -> None:
        """Look at a capture that has been started, by this server or the one before."""
        threading.Thread(target=self._follow, name="capture link", daemon=True).start()

    def send(self, message: dict[str, Any]) -> None:
        """Say something to the capture, if it is there."""
        if self._viewer is not None:
            try:
                self._viewer.send(message)
            except OSError:
                self._viewer = None

    def stop(self) -> None:
        """Ask the capture to end in good order."""
        self._stopped.set()
        self.send({"stop": True})
        if self._viewer is None and self._process is not None:
            self._process.terminate()

    def wait(self, timeout_s: float) -> None:
        """Wait for the process to end, if this server has started it."""
        if self._process is not None:
            try:
                self._process.wait(timeout_s)
            except subprocess.TimeoutExpired:
                self._process.terminate()

    @property
    def process_id(self) -> int | None:
        """The capture's process, if this server has started it."""
        return None if self._process is None else self._process.pid

    def _follow(self) -> None:
        viewer = self._attached()
        if viewer is None:
            self._on_state(LinkState(Phase.DIED, self._last_words()))
            return
        finished = False
        with viewer:
            self._viewer = viewer
            if self._stopped.is_set():
                self.send({"stop": True})
            self._on_state(LinkState(Phase.RUNNING))
            while (view := viewer.read()) is not None:
                finished = finished or bool(view.state.get("finished"))
                self._on_view(view)
            self._viewer = None
        if finished or self._stopped.is_set():
            self._on_state(LinkState(Phase.FINISHED))
        else:
            self._on_state(LinkState(Phase.DIED, self._last_words()))
        if self._process is not None:
            self._process.wait()

    def _attached(self) -> CaptureViewer | None:
        folder = None if self.wish.lock_folder is None else Path(self.wish.lock_folder)
        until_s = time.monotonic() + START_S
        while time.monotonic() < until_s:
            try:
                return CaptureViewer(find_capture(self.wish.wish.adapter, folder))
            except (NoCaptureError, OSError):
                if self._process is None or self._process.poll() is not None:
                    return None
            time.sleep(LOOK_S)
        return None

    def _last_words(self) -> str:
        try:
            said = self._words.read_text(encoding="utf-8", errors="replace").strip()
        except OSError:
            said = ""
        last = said.splitlines()[-1] if said else ""
        return last or "The capture ended unexpectedly."
