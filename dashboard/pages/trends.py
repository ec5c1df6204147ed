"""A metric through the season: the answer in words, the picture, the sessions behind it."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash, dcc, html

from dashboard.review import frame
from dashboard.review.parts import card, leads, title
from dashboard.review.query import link
from dashboard.review.trends_view import TrendsView, trends_view
from dashboard.services import Services
from imujump.sessions.store import SessionStore

HEADS = ("Session", "Mean (95 %)", "Best", "Attempts", "Conditions")

KEY = (
    "Each dot is a session's mean with its interval. Band: two usual sessions must differ by more "
    "than this to be told apart. Dotted: the typical error of one attempt."
)
KEY_CHANGED = " Thick lines: the first and the latest sessions of the change."


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    frame.add_page(
        __name__,
        _draw,
        path="/trends",
        title="Trends · imujump",
        nav="Trends",
        order=3,
    )


def _draw(store: SessionStore, told: dict[str, str]) -> list[Any]:
    view = trends_view(store, told)
    if view.athlete_id is None:
        return [html.H1("Trends"), html.P(view.sentence, className="card empty")]
    head = [
        title(f"Trends of {view.athlete} · imujump"),
        html.H1(["Trends · ", dcc.Link(view.athlete, href=f"/athlete/{view.athlete_id}")]),
    ]
    if view.figure is None:
        return [*head, html.P(view.sentence, className="card empty"), _filters(view)]
    return [*head, _answer(view), _filters(view), _figure(view), _errors(view), _sessions(view)]


def _filters(view: TrendsView) -> html.Div:
    fields = [
        html.Div(
            [
                html.Label(choice.label, htmlFor=f"trends-{name}"),
                leads(f"trends-{name}", choice.options, choice.own),
            ],
            className="field",
        )
        for name, choice in view.choices.items()
    ]
    return html.Div(fields, className="filters", role="group", **{"aria-label": "Choices"})


def _answer(view: TrendsView) -> html.Section:
    kind = "answer changed" if view.changed else "answer"
    cautions = []
    if view.cautions:
        lines = [html.Li(text) for text in view.cautions]
        cautions.append(html.Ul(lines, className="doubt dots"))
    return html.Section(
        [
            html.H2("In words", className="unseen", id="trends-words"),
            html.P(view.sentence, className=kind),
            html.P(view.slope),
            *cautions,
        ],
        className="card",
        **{"aria-labelledby": "trends-words"},
    )


def _figure(view: TrendsView) -> html.Section:
    told = {"data-figure": json.dumps(view.figure), "aria-label": view.said}
    return card(
        "Session by session",
        html.Div(className="graph", role="img", **told),
        html.P(KEY + (KEY_CHANGED if view.changed else ""), className="label"),
        html.P(
            "Drag across to look closer, double-click for all, click a dot to open its session.",
            className="label",
        ),
        html.P(view.meaning, className="label"),
        id="trends-course",
    )


def _errors(view: TrendsView) -> html.Section:
    told = view.errors or (
        "No session has two attempts that count, so the athlete's own error is not known.",
    )
    return card("The athlete's own errors", *(html.P(text) for text in told), id="trends-errors")


def _sessions(view: TrendsView) -> html.Section:
    rows = [
        html.Tr(
            [
                html.Th(dcc.Link(line.day, href=f"/session/{line.session_id}"), scope="row"),
                html.Td(line.mean, className="n", **{"data-head": HEADS[1]}),
                html.Td(line.best, className="n", **{"data-head": HEADS[2]}),
                html.Td(str(line.n), **{"data-head": HEADS[3]}),
                html.Td(line.about, **{"data-head": HEADS[4]}),
            ]
        )
        for line in view.lines
    ]
    table = html.Table(
        [
            html.Thead(html.Tr([html.Th(text, scope="col") for text in HEADS])),
            html.Tbody(rows),
        ],
        className="list",
    )
    more = []
    if view.more:
        told = link("/sessions", {"athlete": view.athlete_id})
        more.append(html.P([f"{view.more} older sessions: ", dcc.Link("all sessions", href=told)]))
    return card("Sessions, newest first", table, *more, id="trends-sessions")
