"""The list of sessions: newest first, one athlete's or everybody's."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import Dash, dcc, html

from dashboard.review import frame, words
from dashboard.review.parts import leads
from dashboard.review.query import link
from dashboard.review.sessions_view import Line, SessionsView, sessions_view
from dashboard.services import Services
from imujump.sessions.store import SessionStore

HEADS = ("Session", "Athlete", "Where", "Attempts", "Count", "Wait", "Task", "Best, cm", "Mean, cm")


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    frame.add_page(
        __name__,
        _draw,
        path="/sessions",
        title="Sessions · imujump",
        nav="Sessions",
        order=2,
    )


def _draw(store: SessionStore, told: dict[str, str]) -> list[Any]:
    view = sessions_view(store, told)
    parts: list[Any] = [html.H1("Sessions"), _choice(view)]
    if view.waiting:
        parts.append(_waiting(view))
    if not view.lines:
        chosen = view.athlete_id is not None
        text = "No session of this athlete is kept yet." if chosen else words.NO_SESSIONS
        parts.append(html.P(text, className="card empty"))
        return parts
    parts += [_table(view), _turning(view)]
    return parts


def _choice(view: SessionsView) -> html.Div:
    options = {"/sessions": "Everybody"}
    for athlete_id, name in view.athletes.items():
        options[link("/sessions", {"athlete": athlete_id})] = name
    told = words.counted(view.total, "session", "sessions")
    own = link("/sessions", {"athlete": view.athlete_id})
    return html.Div(
        [
            html.Label("Athlete", htmlFor="sessions-athlete"),
            leads("sessions-athlete", options, own),
            html.Span(told, className="label"),
        ],
        className="row",
    )


def _waiting(view: SessionsView) -> html.Section:
    lines = [
        html.Li(
            dcc.Link(f"{each.name} · {each.day}", href=f"/session/{each.session_id}#waiting"),
        )
        for each in view.waiting
    ]
    if view.more_waiting:
        lines.append(html.Li(f"and {view.more_waiting} more"))
    return html.Section(
        [html.H2("Recordings that wait for your word", id="sessions-wait"), html.Ul(lines)],
        className="card waits",
        **{"aria-labelledby": "sessions-wait"},
    )


def _table(view: SessionsView) -> html.Table:
    head = html.Tr([html.Th(text, scope="col") for text in HEADS])
    return html.Table(
        [
            html.Caption(
                "Best and mean are flight-time heights of a task's attempts that count.",
                className="label",
            ),
            html.Thead(head),
            html.Tbody([_row(line) for line in view.lines]),
        ],
        className="list",
    )


def _row(line: Line) -> html.Tr:
    link_to = dcc.Link(f"{line.day}, {line.clock}", href=f"/session/{line.session_id}")
    cells = (line.athlete, line.about, line.attempts, line.counted, line.waiting or "")
    heights = [(each.task, each.best, each.mean) for each in line.heights] or [("", "–", "–")]
    return html.Tr(
        [
            html.Th(link_to, scope="row"),
            *(
                html.Td(str(text), **{"data-head": head})
                for text, head in zip(cells, HEADS[1:6], strict=True)
            ),
            *(
                html.Td(_one_below_another(texts), className="n", **{"data-head": head})
                for texts, head in zip(zip(*heights, strict=True), HEADS[6:], strict=True)
            ),
        ]
    )


def _one_below_another(texts: Sequence[str]) -> Any:
    return texts[0] if len(texts) == 1 else [html.Div(text, className="n") for text in texts]


def _turning(view: SessionsView) -> html.Nav | html.Span:
    if view.pages == 1:
        return html.Span()

    def to(text: str, page: int) -> Any:
        if not 1 <= page <= view.pages:
            return html.Span(text, className="label")
        told = {"athlete": view.athlete_id, "page": page if page > 1 else None}
        return dcc.Link(text, href=link("/sessions", told), className="button")

    return html.Nav(
        [
            to("Newer", view.page - 1),
            html.Span(f"Page {view.page} of {view.pages}"),
            to("Older", view.page + 1),
        ],
        className="row turning",
        **{"aria-label": "Pages of the list"},
    )
