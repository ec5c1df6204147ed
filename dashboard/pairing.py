"""Who may look on: one-time pairing codes and the cookies that they are exchanged for."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import time
from collections.abc import Callable
from pathlib import Path

ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""No letter or digit that is easily taken for another."""

CODE_LENGTH = 8
"""31 to the 8th are 8.5e11 codes: with five tries each code, guessing is hopeless."""

TRIES = 5
"""Wrong codes before a new one is drawn (own choice)."""

CODE_S = 600.0
"""How long a code is good for (own choice)."""

COOKIE_S = 12 * 3600
"""How long a paired browser stays so: a day at the court (own choice)."""

COOKIE = "imujump_viewer"


class Pairing:
    """Draws codes and remembers paired browsers, across restarts if given a file.

    Parameters
    ----------
    path : Path, optional
        Where fingerprints of cookies are kept, readable by this user only.
    announce : callable, optional
        Called with each new code.
    now_s : callable, optional
        Seconds since the epoch. By default the wall clock as it was at the start, carried on by
        the monotonic one: it outlives a restart, and setting the clock unpairs nobody.
    """

    def __init__(
        self,
        path: Path | None = None,
        announce: Callable[[str], None] | None = None,
        now_s: Callable[[], float] | None = None,
    ) -> None:
        self._path, self._announce, self._now_s = path, announce, now_s or _steady_clock()
        self._paired: dict[str, float] = {}
        if path is not None:
            try:
                told = json.loads(path.read_text(encoding="utf-8"))
                self._paired = {str(k): float(v) for k, v in told.items()}
            except (OSError, ValueError, AttributeError, TypeError):
                self._paired = {}
        self._code, self._tries, self._drawn_s = "", 0, 0.0

    @property
    def code(self) -> str:
        """The code that the next device needs."""
        if not self._code or self._now_s() - self._drawn_s > CODE_S:
            self._draw()
        return self._code

    def redeem(self, told: str) -> str | None:
        """Return a new cookie for the right code, else None. A code is good once."""
        typed = "".join(c for c in told.upper() if c in ALPHABET)
        right = hmac.compare_digest(typed.encode(), self.code.replace("-", "").encode())
        if right:
            self._draw()
            return self.admit()
        self._tries += 1
        if self._tries >= TRIES:
            self._draw()
        return None

    def admit(self) -> str:
        """Return a cookie for a browser that needs no code."""
        cookie = secrets.token_urlsafe(24)
        now_s = self._now_s()
        self._paired = {k: end for k, end in self._paired.items() if end > now_s}
        self._paired[_fingerprint(cookie)] = now_s + COOKIE_S
        self._keep()
        return cookie

    def knows(self, cookie: str) -> bool:
        """Whether a browser is paired."""
        return self._paired.get(_fingerprint(cookie), 0.0) > self._now_s()

    def _draw(self) -> None:
        letters = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
        self._code = f"{letters[:4]}-{letters[4:]}"
        self._tries, self._drawn_s = 0, self._now_s()
        if self._announce is not None:
            self._announce(self._code)

    def _keep(self) -> None:
        if self._path is None:
            return
        file = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(file, "w", encoding="utf-8") as out:
            json.dump(self._paired, out)


def _steady_clock() -> Callable[[], float]:
    started_s = time.time() - time.monotonic()
    return lambda: started_s + time.monotonic()


def _fingerprint(cookie: str) -> str:
    return hashlib.sha256(cookie.encode()).hexdigest()
