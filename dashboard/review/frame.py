"""How a review page is laid out: drawn from the store beside the event loop, drawn anew on demand.

A page gives a function from store, path and query to components. Whatever stands in its way is
told in one sentence in its place.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

from dash import Dash, Input, Output, dcc, html, register_page

from dashboard.review.door import StoreDoor
from imujump.errors import ImuJumpError
from imujump.sessions.store import SessionStore

Draw = Callable[[SessionStore, dict[str, str]], Any]
"""Draws a page; the mapping holds the path's variables and the query."""

_DRAWERS: dict[str, Draw] = {}


def add_page(module: str, door: StoreDoor, draw: Draw, **about: Any) -> None:
    """Add a review page.

    Parameters
    ----------
    module : str
        The page's ``__name__``.
    door : StoreDoor
        Where the store is.
    draw : callable
        Draws the page.
    **about
        Arguments of :func:`dash.register_page`: ``path`` or ``path_template``, ``title``; with
        ``nav`` the page stands in the navigation, at the place ``order``.
    """
    _DRAWERS[module] = draw

    def layout(**told: str) -> html.Div:
        # Only the frame: Dash asks for layouts on the event loop, where the store must not be read.
        return html.Div(
            [
                dcc.Store(id="review-of", data={"page": module, "told": told}),
                dcc.Store(id="review-stamp"),
                html.P(id="review-told", className="unseen", role="status"),
                html.Div(id="review-body"),
            ],
            className="review",
        )

    register_page(module, layout=layout, **about)


def register(app: Dash, door: StoreDoor) -> None:
    """Let pages be drawn, and drawn anew after something was changed: a script stamps them."""

    async def draw(of: dict[str, Any], _stamp: int | None) -> Any:
        return await asyncio.to_thread(drawn, door, _DRAWERS[of["page"]], of["told"])

    app.callback(
        Output("review-body", "children"),
        Input("review-of", "data"),
        Input("review-stamp", "data"),
    )(draw)


def drawn(door: StoreDoor, draw: Draw, told: Mapping[str, str]) -> Any:
    """Draw a page, or say in one sentence why it cannot be drawn."""
    try:
        with door.opened() as store:
            return draw(store, {name: str(text) for name, text in told.items()})
    except ImuJumpError as error:
        text = str(error)
    return html.Section(
        [
            html.H1("This cannot be shown"),
            html.P(text, className="doubt", role="alert"),
            html.P(dcc.Link("All sessions", href="/sessions")),
        ],
        className="card",
    )
