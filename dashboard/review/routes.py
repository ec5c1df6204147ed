"""Routes of the review pages: what fills a page, signals, and changes by who may make them."""

from __future__ import annotations

import asyncio
import json
from typing import Any
from urllib.parse import quote

from dash import Dash
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboard.gate import is_local
from dashboard.review import actions, frame
from dashboard.review.athlete_report import athlete_report
from dashboard.review.query import number
from dashboard.services import Services
from imujump.athlete_answers import load_statistics
from imujump.attempt_again import drawn_again
from imujump.errors import ImuJumpError

LONGEST_ACTION = 1 << 16
NOT_KEPT = {"cache-control": "no-store"}


def register(app: Dash, services: Services) -> None:
    """Add the routes before Dash's catch-all, which is added when the server starts."""
    server: FastAPI = app.server
    ahead: list[asyncio.Future[None]] = []

    @server.get(frame.BODY + "{page}", include_in_schema=False)
    async def page_body(page: str, request: Request) -> Response:
        told = dict(request.query_params)
        found = await asyncio.to_thread(frame.body, services.door, page, told)
        if found is None:
            return HTMLResponse("<p>There is no such page.</p>", 404, NOT_KEPT)
        if not ahead:
            # Whoever reviews soon asks what needs statistics, and should not wait for them then.
            ahead.append(asyncio.get_running_loop().run_in_executor(None, load_statistics))
        return HTMLResponse(found, 200, NOT_KEPT)

    @server.get("/review/signals/{attempt}", include_in_schema=False)
    async def signals(attempt: str) -> Response:
        try:
            found = await asyncio.to_thread(_signals, services, number(attempt) or 0)
        except ImuJumpError as error:
            return JSONResponse({"told": str(error)}, 404, NOT_KEPT)
        return JSONResponse(found, 200, NOT_KEPT)

    @server.get("/review/report/{athlete}", include_in_schema=False)
    async def report(athlete: str, request: Request) -> Response:
        try:
            text, name = await asyncio.to_thread(
                athlete_report, services.door, number(athlete) or 0, request.query_params
            )
        except (ImuJumpError, ValueError) as error:
            return JSONResponse({"told": str(error)}, 404, NOT_KEPT)
        named = f"attachment; filename*=UTF-8''{quote(name)}"
        return HTMLResponse(text, 200, {**NOT_KEPT, "content-disposition": named})

    @server.post("/review/act", include_in_schema=False)
    async def act(request: Request) -> Response:
        body = b""
        async for chunk in request.stream():
            body += chunk
            if len(body) > LONGEST_ACTION:
                return _refused("That is too much at once.")
        try:
            told = json.loads(body)
        except ValueError:
            told = None
        if not isinstance(told, dict):
            return _refused("The page asked for something unknown. Reload it.")
        client = None if request.client is None else request.client.host
        local = is_local(client, request.headers.get("host", ""))
        if not local and not services.controls(str(told.get("viewer"))):
            return _refused("Another device controls. Take control on the courtside page first.")
        try:
            done = await asyncio.to_thread(_act, services, told)
        except (ImuJumpError, ValueError) as error:
            return _refused(str(error))
        return JSONResponse({"done": done}, 200, NOT_KEPT)


def _refused(why: str) -> JSONResponse:
    return JSONResponse({"refused": why}, 200, NOT_KEPT)


def _act(services: Services, action: dict[str, Any]) -> str:
    with services.door.opened() as store:
        return actions.act(store, action)


def _signals(services: Services, attempt_id: int) -> dict[str, Any]:
    with services.door.opened() as store:
        return dict(drawn_again(store, attempt_id))
