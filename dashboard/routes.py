"""Routes beside Dash's own: the push route and pairing."""

from __future__ import annotations

import asyncio
import contextlib
import json
from typing import Any

from dash import Dash
from fastapi import FastAPI, Request, WebSocket, WebSocketDisconnect
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboard.hub import Viewer
from dashboard.pairing import COOKIE, COOKIE_S
from dashboard.services import Refused, Services

GREETING_S = 5.0
BEAT_S = 1.5
"""A viewer that hears nothing for a few of these knows that the connection is lost."""

LONGEST_PAIRING = 200
PAIRING_WAIT_S = 0.5
"""Each wrong code costs this long (own choice)."""

PAIR_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Pair · imujump</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="stylesheet" href="/assets/style.css"></head>
<body><main class="pair"><h1>Pair this device</h1>
<p>The code is shown on the computer that runs imujump.</p>
<form id="pair-form"><label for="pair-code">Code</label>
<input id="pair-code" autocomplete="off" autocapitalize="characters" spellcheck="false">
<button class="go">Pair</button></form><p id="pair-told" role="alert"></p></main>
<script>
const form = document.getElementById("pair-form"), code = document.getElementById("pair-code");
async function pair() {
  const told = document.getElementById("pair-told");
  try {
    const answer = await fetch("/pair", {method: "POST", body: JSON.stringify({code: code.value}),
      headers: {"Content-Type": "application/json"}});
    if (answer.ok) location.replace("/");
    else told.textContent = (await answer.json()).told;
  } catch (error) { told.textContent = "The computer does not answer. Is the Wi-Fi on?"; }
}
form.addEventListener("submit", (event) => { event.preventDefault(); pair(); });
if (location.hash.length > 1) {
  code.value = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", "/pair");
  pair();
}
</script></body></html>"""


def register(app: Dash, services: Services) -> None:
    """Add the routes before Dash's catch-all, which is added when the server starts."""
    server: FastAPI = app.server
    secure = (services.settings.address or "").startswith("https:")

    @server.get("/pair", include_in_schema=False)
    async def pair_page() -> Response:
        return HTMLResponse(PAIR_PAGE)

    @server.post("/pair", include_in_schema=False)
    async def pair(request: Request) -> Response:
        body = b""
        async for chunk in request.stream():
            body += chunk
            if len(body) > LONGEST_PAIRING:
                break
        told: Any = None
        with contextlib.suppress(ValueError):
            told = json.loads(body[:LONGEST_PAIRING])
        code = told.get("code") if isinstance(told, dict) else None
        cookie = services.pairing.redeem(code) if isinstance(code, str) else None
        if cookie is None:
            await asyncio.sleep(PAIRING_WAIT_S)
            text = "That is not the code, or it has been used. Look at the computer's screen."
            return JSONResponse({"told": text}, 403)
        answer = JSONResponse({"told": "Paired."})
        answer.set_cookie(COOKIE, cookie, COOKIE_S, httponly=True, samesite="strict", secure=secure)
        return answer

    @server.websocket("/push")
    async def push(socket: WebSocket) -> None:
        await socket.accept()
        viewer: Viewer | None = None
        tasks: list[asyncio.Task[None]] = []
        try:
            async with asyncio.timeout(GREETING_S):
                name = json.loads(await socket.receive_text())["viewer"]
            viewer = services.join(str(name)[:64])
            tasks = [
                asyncio.create_task(_send(socket, viewer, services)),
                asyncio.create_task(_beat(viewer)),
            ]
            while True:
                await _receive(json.loads(await socket.receive_text()), viewer, services)
        except (WebSocketDisconnect, TimeoutError, ValueError, KeyError, TypeError, RuntimeError):
            pass
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            if viewer is not None:
                services.leave(viewer)
            with contextlib.suppress(RuntimeError, WebSocketDisconnect):
                await socket.close()


async def _send(socket: WebSocket, viewer: Viewer, services: Services) -> None:
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        while True:
            await socket.send_text(await viewer.next_text(services.hub.newest_text))


async def _beat(viewer: Viewer) -> None:
    while True:
        await asyncio.sleep(BEAT_S)
        viewer.put('{"beat": true}')


async def _receive(message: dict[str, Any], viewer: Viewer, services: Services) -> None:
    if "drawn" in message:
        viewer.acknowledge(int(message["drawn"]))
    elif "whole" in message:
        viewer.refresh()
    elif "act" in message:
        refused = None
        try:
            services.act(viewer.name, message["act"])
        except Refused as refusal:
            refused = str(refusal)
        viewer.put(json.dumps({"done": message.get("id"), "refused": refused}))
