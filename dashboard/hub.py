"""Hands what is new to every viewer; one that lags finds the newest state, never a queue.

Belongs to the event loop's thread. A viewer acknowledges what it has drawn, so that a slow
network is noticed although sockets and proxies would swallow a great deal.
"""

from __future__ import annotations

import asyncio
import json
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

QUEUE = 16
"""News that a viewer may be behind before it is given the newest state instead (own choice:
less than a second)."""

IN_FLIGHT = 8
"""Messages that may be under way without being acknowledged (own choice)."""

ACK_WAIT_S = 5.0
"""A viewer that acknowledges nothing for this long, as a tab that sleeps in the background, gets
the newest state without being asked, and nothing else until it acknowledges (own choice)."""

Message = Mapping[str, Any]


class Viewer:
    """One browser tab that looks on.

    Attributes
    ----------
    name : str
        Drawn by the tab itself; tells who controls.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.dropped = 0
        self._queue: deque[str] = deque()
        self._stale = True
        self._sent = 0
        self._drawn = 0
        self._news = asyncio.Event()
        self._news.set()

    def put(self, text: str) -> None:
        """Queue a piece of news."""
        if self._stale:
            return
        if len(self._queue) >= QUEUE:
            self.refresh()
            self.dropped += 1
        else:
            self._queue.append(text)
        self._news.set()

    def refresh(self) -> None:
        """Forget what waits; the newest state comes next."""
        self._queue.clear()
        self._stale = True
        self._news.set()

    def acknowledge(self, count: int) -> None:
        """Take the viewer's word that so many messages have been drawn."""
        self._drawn = max(self._drawn, min(count, self._sent))
        self._news.set()

    async def next_text(self, newest: Callable[[Viewer], str]) -> str:
        """Wait for something to send, and for the viewer to be able to take it."""
        while True:
            self._news.clear()
            waiting = self._stale or bool(self._queue)
            if waiting and self._sent - self._drawn < IN_FLIGHT:
                self._sent += 1
                if self._stale:
                    self._stale = False
                    return newest(self)
                return self._queue.popleft()
            try:
                async with asyncio.timeout(ACK_WAIT_S if waiting else None):
                    await self._news.wait()
            except TimeoutError:
                self._drawn = max(self._drawn, self._sent - IN_FLIGHT + 1)
                self.refresh()


class Hub:
    """All viewers of this page.

    Parameters
    ----------
    newest : callable
        Returns the whole state for one viewer.
    """

    def __init__(self, newest: Callable[[Viewer], Message]) -> None:
        self._newest = newest
        self.viewers: list[Viewer] = []

    def join(self, name: str) -> Viewer:
        """Let a viewer in; the whole state is the first thing it gets."""
        viewer = Viewer(name)
        self.viewers.append(viewer)
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """Forget a viewer."""
        self.viewers.remove(viewer)

    def tell(self, message: Message) -> None:
        """Give the same news to everybody."""
        text = json.dumps(message, allow_nan=False)
        for viewer in self.viewers:
            viewer.put(text)

    def tell_each(self, message: Callable[[Viewer], Message]) -> None:
        """Give everybody news of their own."""
        for viewer in self.viewers:
            viewer.put(json.dumps(message(viewer), allow_nan=False))

    def newest_text(self, viewer: Viewer) -> str:
        """Write the whole state for a viewer."""
        return json.dumps(self._newest(viewer), allow_nan=False)
