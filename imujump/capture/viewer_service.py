"""The capture's door for viewers: they get the newest state and what happened, and may die.

A loopback socket; each message is one line of JSON. A viewer's first line is the key from
:func:`imujump.capture.one_capture.running_capture`. Then it receives

``{"state": {…}, "events": [{…}, …], "missed": 0}``

at once and whenever something is new. Nothing is ever queued for a viewer: one that reads
slowly finds the newest state next time, the latest events, and how many it missed. What
viewers send (``{"mark": "…"}``, ``{"stop": true}``) is handed to the capture as it is.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import secrets
import socket
from collections import deque
from collections.abc import Callable, Mapping
from types import TracebackType
from typing import Any, Self

EVENTS_KEPT = 512
"""Events that a viewer can lag behind without missing one (own choice: minutes of steps)."""

BUFFER_BYTES = 1 << 15
"""What may wait in a viewer's socket before it counts as slow (own choice)."""

LINE_BYTES = 1 << 16
GREETING_S = 2.0
"""How long a viewer may take to show its key."""

PACE_S = 0.02
"""Shortest time between two messages to a viewer, so that many changes make one (own choice:
no screen shows more)."""

Message = Mapping[str, Any]
"""Something that JSON can say."""


class ViewerService:
    """Lets viewers look at a capture; use it as an asynchronous context manager.

    Parameters
    ----------
    receive : callable, optional
        Called with each message from a viewer; must return at once.
    """

    def __init__(self, receive: Callable[[Message], None] | None = None) -> None:
        self.key = secrets.token_urlsafe(16)
        self._receive = receive
        self._state: Message = {}
        self._events: deque[Message] = deque(maxlen=EVENTS_KEPT)
        self._event_count = 0
        self._version = 0
        self._changed = asyncio.Event()
        self._server: asyncio.Server | None = None
        self._viewers: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(
            self._serve, host="127.0.0.1", port=0, limit=LINE_BYTES
        )
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._server is not None
        self._server.close()
        for viewer in self._viewers:
            viewer.cancel()
        await asyncio.gather(*self._viewers, return_exceptions=True)
        await self._server.wait_closed()

    @property
    def port(self) -> int:
        """The loopback port."""
        assert self._server is not None
        return int(self._server.sockets[0].getsockname()[1])

    @property
    def viewers(self) -> int:
        """How many viewers are looking on."""
        return len(self._viewers)

    def publish(self, state: Message) -> None:
        """Replace the state that viewers see."""
        self._state = state
        self._news()

    def tell(self, event: Message) -> None:
        """Tell viewers of something that happened."""
        self._events.append(event)
        self._event_count += 1
        self._news()

    def _news(self) -> None:
        self._version += 1
        self._changed.set()
        self._changed = asyncio.Event()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._viewers.add(task)
        listener: asyncio.Task[None] | None = None
        try:
            async with asyncio.timeout(GREETING_S):
                greeting = await reader.readline()
            if not hmac.compare_digest(greeting.strip(), self.key.encode()):
                return
            listener = asyncio.create_task(self._listen(reader, task))
            await self._show(writer)
        except (OSError, TimeoutError, ValueError):
            pass
        except asyncio.CancelledError:
            # The service ends, or the viewer hung up: neither concerns the capture.
            pass
        finally:
            self._viewers.discard(task)
            if listener is not None:
                listener.cancel()
            writer.transport.abort()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _show(self, writer: asyncio.StreamWriter) -> None:
        writer.transport.set_write_buffer_limits(high=BUFFER_BYTES)
        connection = writer.get_extra_info("socket")
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, BUFFER_BYTES)
        seen_version, seen_events = -1, self._event_count
        while True:
            if self._version == seen_version:
                await self._changed.wait()
            fresh = min(self._event_count - seen_events, len(self._events))
            message = {
                "state": self._state,
                "events": [self._events[-n] for n in range(fresh, 0, -1)],
                "missed": self._event_count - seen_events - fresh,
            }
            seen_version, seen_events = self._version, self._event_count
            writer.write(json.dumps(message).encode() + b"\n")
            await writer.drain()
            await asyncio.sleep(PACE_S)

    async def _listen(self, reader: asyncio.StreamReader, viewer: asyncio.Task[None]) -> None:
        try:
            while line := await reader.readline():
                with contextlib.suppress(ValueError):
                    message = json.loads(line)
                    if isinstance(message, dict) and self._receive is not None:
                        self._receive(message)
        except (OSError, ValueError):
            pass
        viewer.cancel()
