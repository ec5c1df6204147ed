"""Ways to bring an event from the server to the page, side by side in one run.

    python -m tests.benchmarks.push_ways [EVENTS]

The same news, with points of a strip, goes out twenty times a second to three browser windows: by
an own WebSocket route, by server-sent events, and by Dash's own interval and callback. Printed:
from the sending to the page's script, on the computer's one clock, and how much of the news came.
Only rows of one run compare; whatever else runs on the computer is in all of them.
"""

from __future__ import annotations

import asyncio
import json
import sys
import tempfile
import threading
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import numpy as np
import uvicorn
from dash import Dash, Input, Output, dcc, html
from fastapi import FastAPI, WebSocket, WebSocketDisconnect
from fastapi.responses import HTMLResponse, StreamingResponse

from tests.dashboard.browser import opened_browser
from tests.dashboard.serving import free_port

EVERY_S = 0.05
WINDOWS = 3
POINTS = [[k / 40.0, 1.0] for k in range(6)]

TAKE = """
window.seen = new Map();
window.take = (text) => {
  const news = JSON.parse(text);
  if (news.n && !seen.has(news.n)) seen.set(news.n, performance.timeOrigin + performance.now() - news.sent);
};
"""  # noqa: E501

SCRIPTS = {
    "socket": "new WebSocket(`ws://${location.host}/socket`).onmessage = (e) => take(e.data);",
    "events": "new EventSource('/events').onmessage = (e) => take(e.data);",
}
WAYS = {"own WebSocket": "/by/socket", "server-sent events": "/by/events", "dcc.Interval": "/"}


class News:
    """Counts up; who waits is woken."""

    def __init__(self) -> None:
        self.text, self.number = "{}", 0
        self._changed = asyncio.Event()

    async def run(self) -> None:
        while True:
            await asyncio.sleep(EVERY_S)
            self.number += 1
            told = {"n": self.number, "sent": 1000.0 * time.time(), "strip": POINTS}
            self.text = json.dumps(told)
            self._changed.set()
            self._changed = asyncio.Event()

    async def each(self) -> AsyncIterator[str]:
        while True:
            await self._changed.wait()
            yield self.text


def served(news: News) -> FastAPI:
    app = Dash(__name__, backend="fastapi", update_title="")
    app.layout = html.Div(
        [dcc.Interval(id="beat", interval=1000.0 * EVERY_S), dcc.Store(id="news"), html.P(id="end")]
    )
    app.callback(Output("news", "data"), Input("beat", "n_intervals"))(lambda _: news.text)
    app.clientside_callback(
        "(text) => { if (text) take(text); return ''; }",
        Output("end", "children"),
        Input("news", "data"),
    )
    server: FastAPI = app.server

    @server.get("/by/{way}")
    async def page(way: str) -> HTMLResponse:
        return HTMLResponse(f"<!DOCTYPE html><script>{SCRIPTS[way]}</script>")

    @server.websocket("/socket")
    async def socket(line: WebSocket) -> None:
        await line.accept()
        try:
            async for text in news.each():
                await line.send_text(text)
        except (WebSocketDisconnect, RuntimeError):
            pass

    @server.get("/events")
    async def events() -> StreamingResponse:
        lines = (f"data: {text}\n\n" async for text in news.each())
        return StreamingResponse(lines, media_type="text/event-stream")

    return server


async def serve(port: int, stop: threading.Event) -> None:
    news = News()
    # What is asked for first is the page: Dash completes its scripts then.
    server = uvicorn.Server(
        uvicorn.Config(served(news), port=port, log_level="error", timeout_graceful_shutdown=1)
    )
    counting = asyncio.create_task(news.run())
    serving = asyncio.create_task(server.serve())
    while not stop.is_set():  # noqa: ASYNC110 - another thread sets it
        await asyncio.sleep(0.1)
    server.should_exit = True
    await serving
    counting.cancel()


def measured(browser: Any, address: str, seconds: float) -> str:
    pages = [browser.new_context().new_page() for _ in range(WINDOWS)]
    for page in pages:
        page.add_init_script(TAKE)
        page.goto(address)
        page.wait_for_function("() => seen.size > 5", timeout=30_000)
    for page in pages:
        page.evaluate("seen.clear()")
    time.sleep(seconds)
    told = [page.evaluate("[...seen.values()]") for page in pages]
    for page in pages:
        page.context.close()
    late_ms = np.concatenate([np.array(each) for each in told])
    p50, p95, p99 = np.percentile(late_ms, (50, 95, 99))
    share = 100.0 * min(map(len, told)) / (seconds / EVERY_S)
    return f"{p50:5.0f} {p95:5.0f} {p99:5.0f} ms   {share:3.0f} % came"


def main(events: int) -> None:
    port, stop = free_port(), threading.Event()
    thread = threading.Thread(target=lambda: asyncio.run(serve(port, stop)))
    thread.start()
    say = sys.stdout.write
    say(f"{'':20}  p50   p95   p99\n")
    with tempfile.TemporaryDirectory(prefix="imujump-push-") as folder:
        with opened_browser(Path(folder)) as browser:
            time.sleep(2.0)
            for name, place in WAYS.items():
                found = measured(browser, f"http://127.0.0.1:{port}{place}", events * EVERY_S)
                say(f"{name:20}{found}\n")
        stop.set()
        thread.join()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
