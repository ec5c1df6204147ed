"""Single keys from the terminal while a capture runs, and what is typed made of them."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

POLL_S = 0.05
"""How often the keyboard is looked at (own choice: below what a hand notices)."""

ENTER, ESCAPE, BACKSPACE = ("\r", "\n"), "\x1b", ("\x7f", "\b")
LONGEST_NOTE = 500
"""Characters of a note (own choice: more than anyone types beside a court)."""


@dataclass(frozen=True, slots=True)
class Typed:
    """A mark (empty text) or note, and session time when its first key was pressed."""

    text: str
    time_s: float


@dataclass(slots=True)
class NoteLine:
    r"""What is being typed: space alone is a mark, text and Enter a note, Escape forgets it.

    >>> line = NoteLine()
    >>> line.press(" ", 1.0)
    Typed(text='', time_s=1.0)
    >>> [line.press(key, 2.0 + n) for n, key in enumerate("hi")]
    [None, None]
    >>> line.press("\r", 9.0)
    Typed(text='hi', time_s=2.0)
    """

    text: str = ""
    _began_s: float = field(default=0.0)

    def press(self, key: str, now_s: float) -> Typed | None:
        """Take a key; return what it completes."""
        if not self.text and key in (" ", *ENTER):
            return Typed("", now_s)
        if key in ENTER:
            done, self.text = Typed(self.text.strip(), self._began_s), ""
            return done
        if key == ESCAPE:
            self.text = ""
        elif key in BACKSPACE:
            self.text = self.text[:-1]
        elif key.isprintable() and len(self.text) < LONGEST_NOTE:
            if not self.text:
                self._began_s = now_s
            self.text += key
        return None


class Keyboard:
    """Calls back with each key; a context manager that gives the terminal back as it was.

    Does nothing when the standard input is no terminal.

    Parameters
    ----------
    pressed : callable
        Called in the event loop's thread.
    """

    def __init__(self, pressed: Callable[[str], None]) -> None:
        self._pressed = pressed
        self._ended = threading.Event()
        self._thread: threading.Thread | None = None
        self._restore: Callable[[], None] | None = None

    def __enter__(self) -> Self:
        if not sys.stdin.isatty():
            return self
        self._restore = _single_keys()
        loop = asyncio.get_running_loop()

        def watch() -> None:
            while not self._ended.is_set():
                for key in _next_keys():
                    with contextlib.suppress(RuntimeError):  # the loop has ended
                        loop.call_soon_threadsafe(self._pressed, key)

        self._thread = threading.Thread(target=watch, name="keyboard", daemon=True)
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ended.set()
        if self._thread is not None:
            self._thread.join(2.0 * POLL_S)
        if self._restore is not None:
            self._restore()


if sys.platform == "win32":
    import msvcrt
    import time

    def _single_keys() -> Callable[[], None]:
        return lambda: None

    def _next_keys() -> str:
        if msvcrt.kbhit():
            return msvcrt.getwch()
        time.sleep(POLL_S)
        return ""

else:
    import codecs
    import os
    import select
    import termios
    import tty

    def _single_keys() -> Callable[[], None]:
        """Let keys come one by one; Ctrl-C still interrupts."""
        terminal = sys.stdin.fileno()
        before = termios.tcgetattr(terminal)
        tty.setcbreak(terminal)
        return lambda: termios.tcsetattr(terminal, termios.TCSADRAIN, before)

    _decoder = codecs.getincrementaldecoder("utf-8")("ignore")

    def _next_keys() -> str:
        terminal = sys.stdin.fileno()
        if not select.select([terminal], [], [], POLL_S)[0]:
            return ""
        keys = _decoder.decode(os.read(terminal, 256))
        # Arrows and the like begin with Escape; only Escape alone is one.
        return "" if len(keys) > 1 and keys.startswith(ESCAPE) else keys
