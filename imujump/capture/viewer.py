"""The other side of the capture's door: looks at a running capture from another process."""

from __future__ import annotations

import json
import socket
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imujump.capture.one_capture import DEFAULT_ADAPTER, RunningCapture, running_capture
from imujump.closing import Closing
from imujump.errors import NoCaptureError


@dataclass(frozen=True, slots=True)
class View:
    """What the capture showed: its newest state, events since the last view, events missed."""

    state: dict[str, Any]
    events: tuple[dict[str, Any], ...]
    missed: int


class CaptureViewer(Closing):
    """Looks at a running capture; use it as a context manager.

    Parameters
    ----------
    capture : RunningCapture
        As found by :func:`find_capture`.

    Raises
    ------
    OSError
        If the capture has just ended.
    """

    def __init__(self, capture: RunningCapture) -> None:
        if capture.port is None:
            raise ValueError("capture has no port, must have one")
        self._socket = socket.create_connection(("127.0.0.1", capture.port), timeout=5.0)
        self._lines = self._socket.makefile("rb")
        self._socket.sendall(capture.key.encode() + b"\n")

    def read(self) -> View | None:
        """Wait for the next view; None when the capture has ended."""
        self._socket.settimeout(None)
        try:
            line = self._lines.readline()
        except OSError:
            return None
        if not line.endswith(b"\n"):
            return None
        message = json.loads(line)
        return View(message["state"], tuple(message["events"]), message["missed"])

    def mark(self, text: str) -> None:
        """Set a mark at this instant."""
        self._send({"mark": text})

    def stop(self) -> None:
        """Ask the capture to end."""
        self._send({"stop": True})

    def send(self, message: dict[str, Any]) -> None:
        """Say something else that the capture understands."""
        self._send(message)

    def close(self) -> None:
        """Look away."""
        self._lines.close()
        self._socket.close()

    def _send(self, message: dict[str, Any]) -> None:
        self._socket.sendall(json.dumps(message).encode() + b"\n")


def find_capture(adapter: str = DEFAULT_ADAPTER, folder: Path | None = None) -> RunningCapture:
    """Return the capture that is running on an adapter.

    Raises
    ------
    NoCaptureError
        If none is, or it does not let anybody look on yet.
    """
    found = running_capture(adapter, folder)
    if found is None or found.port is None:
        raise NoCaptureError(adapter)
    return found
