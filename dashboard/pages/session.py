"""One session: what it came to, its attempts in order, what was said between them."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from dash import Dash, dcc, html

from dashboard import wording
from dashboard.review import frame, words
from dashboard.review.attempt_line import attempt_line, note_line, tasks_of
from dashboard.review.parts import card, does, title
from dashboard.review.query import MOST_SHOWN, link
from dashboard.review.query import number as id_of
from dashboard.review.session_view import (
    AttemptLine,
    RecordingLine,
    SessionView,
    session_view,
)
from dashboard.services import Services
from imujump.sessions.records import Standing
from imujump.sessions.store import SessionStore

STANDINGS = {
    Standing.COUNTED: "counts",
    Standing.WAITING: "waits for your word",
    Standing.REFUSED: "refused",
}


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    frame.add_page(
        __name__,
        _draw,
        path_template="/session/<session_id>",
        title="Session · imujump",
    )


def _draw(store: SessionStore, told: dict[str, str]) -> list[Any]:
    view = session_view(store, id_of(told.get("session_id")) or 0, told)
    recordings = [_recordings(view.recordings)] if view.recordings else []
    waits = any(line.standing is Standing.WAITING for line in view.recordings)
    parts = [_head(view), *(recordings if waits else [])]
    if any(isinstance(line, AttemptLine) for line in view.lines):
        parts += [html.Div([_summary(view), _landing(view)], className="pair-of"), _lines(view)]
    else:
        parts.append(html.P(words.NO_ATTEMPTS, className="card empty"))
    return parts if waits else [*parts, *recordings]


def _head(view: SessionView) -> html.Div:
    session = view.session
    day = words.day(session.started_utc)
    about = [session.surface, session.shoe, session.place, session.mounting]
    told = [words.clock(session.started_utc), *(text for text in about if text)]
    return html.Div(
        [
            title(f"{view.athlete}, {day} · imujump"),
            html.P(
                dcc.Link(
                    f"All sessions of {view.athlete}",
                    href=link("/sessions", {"athlete": session.athlete_id}),
                ),
                **{"data-under": "/sessions"},
            ),
            html.H1(f"{view.athlete} · {day}"),
            html.P(" · ".join(told), className="label"),
            *([html.P(session.note, className="note")] if session.note else []),
        ],
        className="head",
    )


def _recordings(lines: tuple[RecordingLine, ...]) -> html.Section:
    waiting = any(line.standing is Standing.WAITING for line in lines)
    return card(
        "Recordings that wait for your word" if waiting else "Recordings",
        html.Ul([_recording(line) for line in lines], className="recordings"),
        id="waiting",
        kind="waits" if waiting else "",
    )


def _recording(line: RecordingLine) -> html.Li:
    buttons = {
        Standing.WAITING: [
            does("Confirm", "confirm", kind="go", recording=line.recording_id),
            does("Refuse", "refuse", recording=line.recording_id),
        ],
        Standing.COUNTED: [does("Let it wait", "wait", recording=line.recording_id)],
        Standing.REFUSED: [does("Let it wait again", "wait", recording=line.recording_id)],
    }[line.standing]
    jumps = words.counted(line.attempts, "attempt", "attempts")
    remarks = [html.Li(text) for text in line.remarks] or [html.Li("No remark.")]
    heading = f"{line.name} · {jumps} · {STANDINGS[line.standing]}"
    if line.standing is Standing.WAITING:
        return html.Li(
            [
                html.H3(heading),
                html.P("What the automatic checks noticed:", className="label"),
                html.Ul(remarks, className="dots"),
                html.Div(buttons, className="row"),
            ]
        )
    told = html.Details(
        [
            html.Summary(heading),
            html.Ul(remarks, className="dots"),
            html.Div(buttons, className="row"),
        ]
    )
    return html.Li(told)


def _summary(view: SessionView) -> html.Section:
    parts: list[Any] = [html.P(view.jumps + ".", className="lead")]
    for each in view.tasks:
        parts += [
            html.H3(f"{each.task} · {words.counted(each.counts, 'attempt', 'attempts')}"),
            html.Dl(
                [
                    html.Div([html.Dt("Best"), html.Dd(each.best, className="n")]),
                    html.Div([html.Dt("Mean (95 %)"), html.Dd(each.mean, className="n")]),
                ]
            ),
            html.P(each.course, className="n"),
        ]
    if not view.tasks:
        parts.append(html.P("No attempt counts, so there is no best and no mean."))
    if view.bars:
        parts.append(_picture(view))
    return card("Height", *parts, id="session-height")


def _picture(view: SessionView) -> html.Figure:
    """Draw heights in order, each task with a mark and a mean of its own."""
    tasks = list(dict.fromkeys(bar.task for bar in view.bars))
    legend = [
        html.Span([html.I(className=f"mark of{n}"), f" {task}"]) for n, task in enumerate(tasks)
    ]
    return html.Figure(
        [
            html.Div(
                className="bars",
                role="img",
                **{
                    "data-bars": json.dumps([asdict(bar) for bar in view.bars]),
                    "aria-label": "Flight-time height of each attempt in order; "
                    "the same numbers stand in the list.",
                },
            ),
            html.Figcaption(
                [*legend, html.Span([html.I(className="mean"), " mean of those that count"])],
                className="legend label",
            ),
        ]
    )


def _landing(view: SessionView) -> html.Section:
    told = view.landings or ("No attempt counts.",)
    return card(
        "Landing, left and right",
        *(html.P(text, className="n") for text in told),
        html.P(words.PEAKS_CAUTION, className="caution"),
        id="session-landing",
    )


def _lines(view: SessionView) -> html.Section:
    last = max(
        (line.attempt_id for line in view.lines if isinstance(line, AttemptLine)), default=None
    )
    session_id = view.session.session_id
    return card(
        "Attempts in order",
        html.Div([_chooser(view), tasks_of(view.asked)], className="choosers"),
        html.Ol(
            [
                attempt_line(line) if isinstance(line, AttemptLine) else note_line(line)
                for line in view.lines
            ],
            className="attempts",
        ),
        html.Div(
            [
                html.Label("Note after the last attempt", htmlFor="session-note"),
                dcc.Input(id="session-note", type="text", autoComplete="off"),
                *(
                    html.Button(
                        text,
                        type="button",
                        className="changes",
                        **{
                            "data-act": "review",
                            "data-input": "session-note",
                            "data-review": json.dumps(
                                {"do": "note", "kind": kind, "session": session_id, "attempt": last}
                            ),
                        },
                    )
                    for text, kind in (("As cue", "cue"), ("As seen", "seen"))
                ),
            ],
            className="row own-words changes",
        ),
        id="session-attempts",
    )


def _chooser(view: SessionView) -> html.Details:
    choices = [
        html.Button(
            each["label"],
            type="button",
            **{
                "data-act": "show_metric",
                "data-text": each["name"],
                "aria-pressed": "true" if each["name"] in view.shown else "false",
            },
        )
        for each in wording.metric_choices()
    ]
    return html.Details(
        [
            html.Summary("Choose numbers"),
            html.P(f"Up to {MOST_SHOWN}; the address keeps the choice.", className="label"),
            html.Div(choices, className="taps"),
        ]
    )
