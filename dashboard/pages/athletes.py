"""The list of athletes, and a new one."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import Any

from dash import Dash, dcc, html

from dashboard.review import frame, words
from dashboard.review.parts import entries, entry
from dashboard.review.query import link
from dashboard.services import Services
from imujump.sessions.store import SessionStore

HEADS = ("Athlete", "Sessions", "Newest", "Go to")

NOBODY = (
    "No athlete is kept yet. Add one below, or add a recording with the command "
    "imujump add RECORDING --athlete NAME."
)


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    frame.add_page(
        __name__,
        _draw,
        path="/athletes",
        title="Athletes · imujump",
        nav="Athletes",
        order=4,
    )


def _draw(store: SessionStore, told: dict[str, str]) -> list[Any]:
    athletes = store.athletes()
    held: Counter[int] = Counter()
    newest: dict[int, datetime] = {}
    for overview in store.sessions():
        session = overview.session
        held[session.athlete_id] += 1
        newest.setdefault(session.athlete_id, session.started_utc)
    rows = []
    for each in athletes:
        number = each.athlete_id
        lead = {"athlete": number}
        rows.append(
            html.Tr(
                [
                    html.Th(dcc.Link(each.name, href=f"/athlete/{number}"), scope="row"),
                    html.Td(str(held[number]), **{"data-head": HEADS[1]}),
                    html.Td(
                        words.day(newest[number]) if number in newest else "",
                        **{"data-head": HEADS[2]},
                    ),
                    html.Td(
                        [
                            dcc.Link("sessions", href=link("/sessions", lead)),
                            " · ",
                            dcc.Link("trends", href=link("/trends", lead)),
                        ]
                    ),
                ]
            )
        )
    table = html.Table(
        [html.Thead(html.Tr([html.Th(text, scope="col") for text in HEADS])), html.Tbody(rows)],
        className="list",
    )
    adding = entries(
        "Add an athlete", "add_athlete", [entry("Name", "name", "athletes-name")], id="athletes-add"
    )
    return [
        html.H1("Athletes"),
        table if rows else html.P(NOBODY, className="card empty"),
        adding,
    ]
