"""How a review page is laid out: an empty frame by Dash, filled with what is drawn from the store.

A page gives a function from store, path and query to components. Whatever stands in its way is
told in one sentence in its place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html, register_page

from dashboard.review.door import StoreDoor
from dashboard.review.plain_html import written
from imujump.errors import ImuJumpError
from imujump.sessions.store import SessionStore

Draw = Callable[[SessionStore, dict[str, str]], Any]
"""Draws a page; the mapping holds the path's variables and the query."""

BODY = "/review/body/"
"""Where a page's script fetches what fills the frame."""

_DRAWERS: dict[str, Draw] = {}


def add_page(module: str, draw: Draw, **about: Any) -> None:
    """Add a review page.

    Parameters
    ----------
    module : str
        The page's ``__name__``.
    draw : callable
        Draws the page.
    **about
        Arguments of :func:`dash.register_page`: ``path`` or ``path_template``, ``title``; with
        ``nav`` the page stands in the navigation, at the place ``order``.
    """
    name = module.rsplit(".", 1)[-1]
    _DRAWERS[name] = draw

    def layout(**told: str) -> html.Div:
        return html.Div(
            [
                html.P(id="review-told", className="unseen", role="status"),
                html.Div(id="review-body", **{"data-from": f"{BODY}{name}?{urlencode(told)}"}),
            ],
            className="review",
        )

    register_page(module, layout=layout, **about)


def body(door: StoreDoor, name: str, told: Mapping[str, str]) -> str | None:
    """Draw a page's body as HTML; ``None`` if there is no such page."""
    draw = _DRAWERS.get(name)
    return None if draw is None else written(drawn(door, draw, told))


def drawn(door: StoreDoor, draw: Draw, told: Mapping[str, str]) -> Any:
    """Draw a page, or say in one sentence why it cannot be drawn."""
    try:
        with door.opened() as store:
            return draw(store, dict(told))
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
