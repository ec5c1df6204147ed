"""The lines of a session: an attempt, a note, and what was asked."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from dashboard import wording
from dashboard.review import words
from dashboard.review.parts import does, number
from dashboard.review.session_view import AskedLine, AttemptLine, Figure, NoteLine
from imujump.wording import sentence


def attempt_line(line: AttemptLine) -> html.Li:
    """Lay out one attempt."""
    signs = []
    if line.why_not:
        signs.append(html.P(line.why_not, className="doubt"))
    if line.by_hand:
        signs.append(html.P(f"{words.BY_HAND}.", className="sign"))
    if line.is_corrected:
        signs.append(html.P("Task corrected.", className="sign"))
    name = f"Attempt {line.place}"
    about = [line.clock, line.take_off, *([line.asked] if line.asked else [])]
    head = [
        html.H3(dcc.Link(name, href=f"/attempt/{line.attempt_id}")),
        html.P(" · ".join(about), className="label"),
    ]
    return html.Li(
        [
            html.Div([*head, *signs], className="who"),
            html.Dl([_figure(each) for each in line.figures]),
            html.Div(_changes(line, name), className="changing"),
        ],
        className="attempt" + (" out" if line.mark or (line.why_not and not line.waiting) else ""),
    )


def note_line(line: NoteLine) -> html.Li:
    """Lay out one line of the log."""
    told = [html.B(line.what)]
    if line.text:
        told.append(html.Span(f" {line.text}"))
    back = does("Take back", "withdraw_note", kind="quiet", note=line.note_id)
    return html.Li([html.P(told), back], className="said" + (" pain" if line.warns else ""))


def tasks_of(asked: Sequence[AskedLine]) -> html.Details:
    """Lay out the choice of what was asked in all attempts of a recording."""
    return html.Details(
        [html.Summary("Task of all …"), *(_asked(each) for each in asked)],
        className="marking changes",
    )


def _asked(line: AskedLine) -> html.Div:
    buttons = [
        does(text, "task", recording=line.recording_id, task=task)
        for task, text in wording.TASKS.items()
    ]
    if line.is_corrected:
        buttons.append(
            does("Take back", "withdraw_task", kind="quiet", recording=line.recording_id)
        )
    return html.Div(
        [
            html.P(f"All attempts of {line.name}:", className="label"),
            html.Div(buttons, className="row"),
        ]
    )


def _figure(each: Figure) -> html.Div:
    text = number(each.value, each.sigma, each.unit)
    parts: list[Any] = [html.Dt(each.label, title=each.meaning), html.Dd(text)]
    if each.doubt:
        parts.append(html.Dd(sentence(each.doubt), className="why"))
    return html.Div(parts)


def _changes(line: AttemptLine, name: str) -> list[Any]:
    own = line.attempt_id
    parts: list[Any] = []
    if line.mark is not None:
        parts.append(does("Count again", "count_again", attempt=own))
    else:
        parts.append(_marking(line, name))
    if line.is_corrected:
        parts.append(does("Take the task back", "withdraw_task", attempt=own))
    tasks = [
        does(text, "task", attempt=own, task=task)
        for task, text in wording.TASKS.items()
        if task != line.task
    ]
    parts.append(
        html.Details(
            [
                html.Summary(["Task …", html.Span(f" {name}", className="unseen")]),
                html.Div(tasks, className="row"),
            ],
            className="marking changes",
        )
    )
    return parts


def _marking(line: AttemptLine, name: str) -> html.Details:
    field = f"session-why-{line.attempt_id}"
    reasons = [does(text, "mark", attempt=line.attempt_id, reason=text) for text in wording.INVALID]
    own = html.Div(
        [
            html.Label("Own words", htmlFor=field),
            dcc.Input(id=field, type="text", autoComplete="off"),
            html.Button(
                "Do not count",
                type="button",
                className="changes",
                **{
                    "data-act": "review",
                    "data-input": field,
                    "data-review": json.dumps({"do": "mark", "attempt": line.attempt_id}),
                },
            ),
        ],
        className="row own-words",
    )
    return html.Details(
        [
            html.Summary(["Do not count …", html.Span(f" {name}", className="unseen")]),
            html.Div([*reasons], className="row"),
            own,
        ],
        className="marking changes",
    )
