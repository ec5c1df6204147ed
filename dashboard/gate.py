"""Stands before every request: right host, no cross-site request, a paired browser.

A page on the open web can make a browser on this computer ask this server for things, under
a name of its own (DNS rebinding) or across sites. So the ``Host`` must be one that we serve,
and whatever changes something or opens the push route must come from our own page.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any

from dashboard.pairing import COOKIE, COOKIE_S, Pairing

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

LOOPBACK = {"127.0.0.1", "::1"}
LOCAL_NAMES = {"127.0.0.1", "localhost", "[::1]"}
OPEN_PATHS = ("/pair", "/assets/", "/favicon.ico", "/_favicon.ico")
"""What a browser gets before it is paired: the pairing page, its style and its picture."""

HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' "
        b"'unsafe-inline'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; "
        b"form-action 'self'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


class Gate:
    """ASGI middleware around the whole page.

    Parameters
    ----------
    app : ASGI application
        What is guarded.
    hosts : iterable of str
        ``Host`` headers that are served, port included.
    pairing : Pairing
        Who may look on. Browsers on this computer, under its local name, need no code.
    secure : bool
        Whether the page is served with TLS.
    """

    def __init__(self, app: Any, hosts: Iterable[str], pairing: Pairing, secure: bool) -> None:
        self._app, self._pairing = app, pairing
        self._hosts = {host.lower() for host in hosts}
        self._scheme = "https" if secure else "http"
        self._secure = secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {k.decode("latin-1"): v.decode("latin-1") for k, v in scope["headers"]}
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _refuse(scope, send, *refusal)
            return
        cookie = None if self._paired(headers) else self._let_in(scope, headers)
        if cookie is None and not self._paired(headers) and not _is_open(scope):
            if scope["type"] == "http" and scope["method"] == "GET" and scope["path"] == "/":
                await _refuse(scope, send, 303, "", ((b"location", b"/pair"),))
            else:
                await _refuse(scope, send, 401, "Pair this device first: open /pair.")
            return

        async def send_on(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                more = list(HEADERS)
                if cookie is not None:
                    more.append((b"set-cookie", self.cookie_header(cookie)))
                message = {**message, "headers": [*message.get("headers", []), *more]}
            await send(message)

        await self._app(scope, receive, send_on)

    def cookie_header(self, cookie: str) -> bytes:
        """Write the header that gives a browser its cookie."""
        text = f"{COOKIE}={cookie}; HttpOnly; SameSite=Strict; Path=/; Max-Age={COOKIE_S}"
        return (text + ("; Secure" if self._secure else "")).encode("latin-1")

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        host = headers.get("host", "").lower()
        if host not in self._hosts:
            return 400, "This server is not known under that name."
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if changes and headers.get("origin", "").lower() != f"{self._scheme}://{host}":
            return 403, "Requests from other sites are refused."
        if headers.get("sec-fetch-site") == "cross-site" and (
            headers.get("sec-fetch-mode") != "navigate"
        ):
            return 403, "Requests from other sites are refused."
        return None

    def _paired(self, headers: dict[str, str]) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and self._pairing.knows(cookie.value)

    def _let_in(self, scope: Scope, headers: dict[str, str]) -> str | None:
        """Give a browser on this computer its cookie when it opens a page."""
        client = scope.get("client")
        if not is_local(None if client is None else client[0], headers["host"]):
            return None
        if scope["type"] != "http" or scope["method"] != "GET" or _is_open(scope):
            return None
        return self._pairing.admit()


def is_local(client: str | None, host: str) -> bool:
    """Tell whether a request comes from this computer's own browser, under its local name."""
    return client in LOOPBACK and host.rsplit(":", 1)[0].lower() in LOCAL_NAMES


def _is_open(scope: Scope) -> bool:
    path = scope["path"]
    return scope["type"] == "http" and any(
        path == each or (each.endswith("/") and path.startswith(each)) for each in OPEN_PATHS
    )


async def _refuse(
    scope: Scope, send: Send, status: int, text: str, more: tuple[tuple[bytes, bytes], ...] = ()
) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": text})
        return
    headers = [(b"content-type", b"text/plain; charset=utf-8"), *HEADERS, *more]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})
