"""One attempt: signals, contacts, speed and height along time, its events, every metric."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash, dcc, html

from dashboard.cards import button
from dashboard.review import frame, words
from dashboard.review.attempt_view import ALIGNED, STEP_FIELDS, AttemptView, Row, attempt_view
from dashboard.review.parts import card, does, leads, number, title
from dashboard.review.query import link
from dashboard.review.query import number as id_of
from dashboard.services import Services
from imujump.sessions.store import SessionStore
from imujump.wording import sentence

NUDGES_MS = (-5, -1, 1, 5)
SIDES = {"left": "Left foot", "right": "Right foot"}
KINDS = {"foot_strike": "strikes", "toe_off": "leaves"}


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    frame.add_page(
        __name__,
        _draw,
        path_template="/attempt/<attempt_id>",
        title="Attempt · imujump",
    )


def _draw(store: SessionStore, told: dict[str, str]) -> list[Any]:
    view = attempt_view(store, id_of(told.get("attempt_id")) or 0, told)
    parts = [_head(view), _choices(view), _figure(view), _events(view), _metrics(view)]
    if view.steps:
        parts.append(_steps(view))
    if view.moved:
        parts.append(_moved(view))
    return parts


def _head(view: AttemptView) -> html.Div:
    attempt, day = view.attempt, words.day(view.session.started_utc)
    name = f"Attempt {view.place}"
    height = attempt.metrics.get(words.HEIGHT)
    value = words.value(words.HEIGHT, None if height is None else height.value)
    signs = []
    why = words.why_not(attempt)
    if why is not None:
        signs.append(html.P(why, className="doubt"))
    elif attempt.reasons:
        signs.append(html.P(sentence("; ".join(attempt.reasons)), className="doubt"))
    if attempt.hand_events:
        text = f"{words.BY_HAND}: the numbers below follow from them."
        signs.append(html.P(text, className="sign"))
    if view.behind:
        text = (
            f"They could not be carried over to the newer analysis, {view.behind}; its own result "
            "is kept and can be shown."
        )
        signs.append(html.P(text, className="sign"))
    about = (words.clock(attempt.taken_utc), words.take_off(attempt), words.task(attempt))
    return html.Div(
        [
            title(f"{name}, {view.athlete.name}, {day} · imujump"),
            html.P(
                dcc.Link(
                    f"{view.athlete.name} · {day}", href=f"/session/{view.session.session_id}"
                ),
                **{"data-under": "/sessions"},
            ),
            html.Div(
                [
                    html.H1([name, " · ", number(value, words.sigma(words.HEIGHT, height), "cm")]),
                    html.Nav(
                        [_beside("Earlier", view.earlier), _beside("Later", view.later)],
                        className="row",
                        **{"aria-label": "Attempts of the session"},
                    ),
                ],
                className="row between",
            ),
            html.P(" · ".join(about), className="label"),
            *signs,
        ],
        className="head",
    )


def _beside(text: str, attempt_id: int | None) -> Any:
    if attempt_id is None:
        return html.Span(text, className="label")
    return dcc.Link(text, href=f"/attempt/{attempt_id}", className="button")


def _choices(view: AttemptView) -> html.Div:
    own = view.attempt.attempt_id

    def address(other: int | None, align: str) -> str:
        told = {"with": other, "align": align if align != "take_off" and other else None}
        return link(f"/attempt/{own}", told)

    other = None if view.other is None else view.other.attempt_id
    options = {address(None, view.align): "none"}
    if other is not None and other not in dict(view.around):
        options[address(other, view.align)] = view.other_words
    for attempt_id, text in view.around:
        if attempt_id != own:
            options[address(attempt_id, view.align)] = text
    parts: list[Any] = [
        html.Label("Compare with", htmlFor="attempt-with"),
        leads("attempt-with", options, address(other, view.align)),
    ]
    if other is not None:
        aligned = {address(other, align): text for align, text in ALIGNED.items()}
        parts += [
            html.Label("Laid together at", htmlFor="attempt-align"),
            leads("attempt-align", aligned, address(other, view.align)),
        ]
    return html.Div(parts, className="row choices")


def _figure(view: AttemptView) -> html.Section:
    axes = [
        button(axis, "axis", say=axis, pressed=True, kind=f"axis-{axis}")
        for axis in ("x", "y", "z")
    ]
    tools = [
        button("Closer", "zoom", say="0.5"),
        button("Wider", "zoom", say="2"),
        button("Whole attempt", "zoom", say="0"),
        button("←", "pan", say="-0.25"),
        button("→", "pan", say="0.25"),
    ]
    told = {
        "data-drawn": json.dumps(view.drawn),
        "data-other": json.dumps(view.other_drawn),
        "data-other-words": view.other_words,
        "data-align": view.align,
    }
    note = (
        "Drag to move along, pinch or hold Ctrl and scroll to come closer. Dashed lines and the "
        "lower pair of lanes belong to the other attempt."
        if view.other is not None
        else "Drag to move along, pinch or hold Ctrl and scroll to come closer."
    )
    return card(
        "Signals",
        html.Div(
            [*tools, html.Span("Sensor axes", className="label"), *axes],
            className="row tools",
        ),
        html.P("Reading the recording …", id="attempt-told", role="status"),
        html.Canvas(
            id="attempt-figure",
            tabIndex=0,
            role="img",
            **{"aria-label": _said(view), **told},
        ),
        html.P(note, className="label"),
        html.P(f"Recording: {view.file}", className="label"),
        id="attempt-signals",
    )


def _said(view: AttemptView) -> str:
    strikes = [e for e in view.drawn["events"] if e["kind"] == "foot_strike"]
    told = [f"{e['side']} {1000 * (e['time_s'] - view.drawn['take_off_s']):.0f}" for e in strikes]
    return (
        "Foot contacts, speed and height of the pelvis, and the signals of all sensors along "
        "time. Foot strikes in milliseconds from take-off: " + ", ".join(told) + ". Keys: plus "
        "and minus to zoom, arrows to move, Home for the whole attempt."
    )


def _events(view: AttemptView) -> html.Section:
    adding = [
        button(f"{SIDES[side]} {KINDS[kind]}", "event_add", say=f"{kind} {side}")
        for side in SIDES
        for kind in KINDS
    ]
    nudges = [
        button(f"{ms:+d} ms".replace("-", "−"), "event_nudge", say=str(ms)) for ms in NUDGES_MS
    ]
    return card(
        "Events",
        html.P(
            "Pick an event here or in the picture; move it by dragging, by the buttons or by the "
            "number. Times are milliseconds from take-off.",
            className="label",
        ),
        html.Div(id="attempt-events", role="group", **{"aria-label": "Events in order of time"}),
        html.Div(
            [
                *nudges,
                html.Label("ms", htmlFor="attempt-event-ms"),
                dcc.Input(
                    id="attempt-event-ms", type="text", inputMode="decimal", autoComplete="off"
                ),
                button("Set", "event_set"),
                button("Remove", "event_remove"),
            ],
            className="row changes edit",
        ),
        html.Div(
            [html.Span("Add in the middle of what is shown:", className="label"), *adding],
            className="row changes",
        ),
        html.Div(
            [
                button("Undo", "event_undo"),
                button("Save events", "event_save", kind="go"),
                *_other_events(view),
            ],
            className="row changes",
        ),
        html.P("", id="attempt-edit-told", role="status"),
        id="attempt-edit",
    )


def _other_events(view: AttemptView) -> list[Any]:
    """Lead from the coach's events to the program's own, and back."""
    own = view.attempt.attempt_id
    if view.attempt.hand_events:
        return [does("Show the program's own events", "show_measured", attempt=own)]
    if view.has_hand:
        return [does("Show the events set by hand", "show_by_hand", attempt=own)]
    return []


def _metrics(view: AttemptView) -> html.Section:
    two = view.other is not None
    heads = ["Metric", "This attempt"]
    if two:
        heads += [view.other_words.capitalize() if view.other_words else "Other", "Difference"]
    heads.append("Method, or why not")
    bodies = [
        html.Tbody(
            [
                html.Tr(html.Th(phase, scope="rowgroup", colSpan=len(heads)), className="phase"),
                *(_row(row, two, heads) for row in rows),
            ]
        )
        for phase, rows in view.rows
    ]
    caution = (
        [
            html.P(
                "Differences in bold are larger than the measurement's error (95 %).",
                className="label",
            )
        ]
        if two
        else []
    )
    return card(
        "Every metric",
        *caution,
        html.Table(
            [
                html.Thead(html.Tr([html.Th(text, scope="col") for text in heads])),
                *bodies,
            ],
            className="list metrics",
        ),
        html.P(
            f"Pipeline {view.attempt.pipeline_version}. ± is one standard deviation. "
            + words.PEAKS_CAUTION,
            className="caution",
        ),
        id="attempt-metrics",
    )


def _row(row: Row, two: bool, heads: list[str]) -> html.Tr:
    cells: list[Any] = [
        html.Th(row.label, scope="row", title=row.meaning),
        html.Td(number(row.value, row.sigma, row.unit), **{"data-head": heads[1]}),
    ]
    if two:
        difference: Any = row.difference
        if row.is_sure:
            difference = html.B(row.difference)
        cells += [
            html.Td(number(row.other, row.other_sigma, row.unit), **{"data-head": heads[2]}),
            html.Td(difference, className="n", **{"data-head": heads[3]}),
        ]
    cells.append(html.Td(row.told, className="why"))
    return html.Tr(cells, **{"data-metric": row.name})


def _steps(view: AttemptView) -> html.Section:
    heads = ["Step", "Lands on", *(head for head, *_ in STEP_FIELDS)]
    return card(
        "Steps",
        html.Table(
            [
                html.Thead(html.Tr([html.Th(text, scope="col") for text in heads])),
                html.Tbody(
                    [
                        html.Tr(
                            [
                                html.Th(step.name, scope="row"),
                                html.Td(step.side, **{"data-head": heads[1]}),
                                *(
                                    html.Td(text, className="n", **{"data-head": head})
                                    for text, head in zip(step.cells, heads[2:], strict=True)
                                ),
                            ]
                        )
                        for step in view.steps
                    ]
                ),
            ],
            className="list",
        ),
        html.P("Contact is that of the foot which begins the step.", className="label"),
        id="attempt-steps",
    )


def _moved(view: AttemptView) -> html.Section:
    heads = ("Metric", "Before", "Now", "Beyond error")
    return card(
        f"What the newer analysis changed, {view.moved_versions}",
        html.Table(
            [
                html.Thead(html.Tr([html.Th(text, scope="col") for text in heads])),
                html.Tbody(
                    [
                        html.Tr(
                            [
                                html.Th(each.label, scope="row"),
                                html.Td(each.old, className="n", **{"data-head": heads[1]}),
                                html.Td(each.new, className="n", **{"data-head": heads[2]}),
                                html.Td("yes" if each.beyond else "no", **{"data-head": heads[3]}),
                            ]
                        )
                        for each in view.moved
                    ]
                ),
            ],
            className="list",
        ),
        id="attempt-moved",
    )
