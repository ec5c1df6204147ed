"""One capture per Bluetooth adapter: two programs on one adapter take packets from each other.

The lock is the operating system's own lock on a small file, so it is free again the instant
its holder dies, however it dies. The file tells viewers where the capture can be looked at.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from imujump.closing import Closing
from imujump.errors import CaptureRunningError

DEFAULT_ADAPTER = "default"
"""The adapter that the operating system chooses."""

_LOCKED_AT = 1 << 30  # beyond the text, which Windows would not let others read
_ROOM = 1 << 16
_ADAPTERS = Path("/sys/class/bluetooth")  # of Linux
_TRIES, _TRY_S = 5, 0.02


@dataclass(frozen=True, slots=True)
class RunningCapture:
    """A capture that is under way: its process, and its door for viewers once that is open."""

    process_id: int
    port: int | None = None
    key: str = ""


class OneCapture(Closing):
    """Holds an adapter for this process; use it as a context manager.

    Parameters
    ----------
    adapter : str
        The adapter's name.
    folder : Path, optional
        Where the lock file lies; the system's folder for temporary files by default.
    """

    def __init__(self, adapter: str = DEFAULT_ADAPTER, folder: Path | None = None) -> None:
        self.adapter = adapter
        self._path = _lock_path(adapter, folder)
        self._file: int | None = None

    def __enter__(self) -> Self:
        """Take the adapter.

        Raises
        ------
        CaptureRunningError
            If another process, or another user, has it.
        """
        try:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except PermissionError as error:
            raise CaptureRunningError(self.adapter, None) from error
        if not _locked_soon(file):
            os.close(file)
            holder = running_capture(self.adapter, self._path.parent)
            raise CaptureRunningError(self.adapter, holder.process_id if holder else None)
        self._file = file
        self._tell(RunningCapture(os.getpid()))
        return self

    def close(self) -> None:
        """Let go of the adapter."""
        file, self._file = self._file, None
        if file is not None:
            os.ftruncate(file, 0)
            # Closing frees the lock. The file stays: removing it would race with the next one.
            os.close(file)

    def open_door(self, port: int, key: str) -> None:
        """Tell viewers at which loopback port, and with which key, they can look on."""
        self._tell(RunningCapture(os.getpid(), port, key))

    def _tell(self, capture: RunningCapture) -> None:
        if self._file is None:
            raise ValueError("the adapter is not held, must be")
        told = {"process": capture.process_id, "port": capture.port, "key": capture.key}
        os.lseek(self._file, 0, os.SEEK_SET)
        os.ftruncate(self._file, 0)
        os.write(self._file, json.dumps(told).encode())


def running_capture(
    adapter: str = DEFAULT_ADAPTER, folder: Path | None = None
) -> RunningCapture | None:
    """Return the capture that has an adapter, or None if nobody has it."""
    try:
        file = os.open(_lock_path(adapter, folder), os.O_RDWR)
    except OSError:
        return None
    try:
        if _try_lock(file):
            return None
        told = json.loads(os.read(file, _ROOM) or b"{}")
        return RunningCapture(int(told["process"]), told.get("port"), str(told.get("key", "")))
    except (ValueError, KeyError, TypeError):
        # Its holder is just writing the text.
        return None
    finally:
        os.close(file)


def _locked_soon(file: int) -> bool:
    """Take the lock; one who only asks whether it is taken has it for an instant."""
    for _ in range(_TRIES):
        if _try_lock(file):
            return True
        time.sleep(_TRY_S)
    return False


def _lock_path(adapter: str, folder: Path | None) -> Path:
    if adapter == DEFAULT_ADAPTER:
        # The system's choice is usually its first; then both names mean one adapter.
        present = sorted(path.name for path in _ADAPTERS.glob("hci[0-9]*") if ":" not in path.name)
        adapter = present[0] if present else adapter
    plain = re.sub(r"[^A-Za-z0-9._-]+", "_", adapter)
    return (folder or Path(tempfile.gettempdir())) / f"imujump-capture-{plain}.lock"


if sys.platform == "win32":
    import msvcrt

    def _try_lock(file: int) -> bool:
        os.lseek(file, _LOCKED_AT, os.SEEK_SET)
        locked = False
        with contextlib.suppress(OSError):
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
            locked = True
        os.lseek(file, 0, os.SEEK_SET)
        return locked

else:
    import fcntl

    def _try_lock(file: int) -> bool:
        with contextlib.suppress(OSError):
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        return False
