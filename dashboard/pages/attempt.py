"""One attempt: signals, contacts, speed and height along time, its events, every metric."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash, dcc, html

from dashboard.cards import button
from dashboard.review import frame, words
from dashboard.review.attempt_tables import metrics_table, moved_table, steps_table
from dashboard.review.attempt_view import AttemptView, attempt_view
from dashboard.review.comparing import ALIGNED, LAID
from dashboard.review.parts import card, does, leads, number, title
from dashboard.review.query import link
from dashboard.review.query import number as id_of
from dashboard.services import Services
from imujump.sessions.store import SessionStore
from imujump.wording import capital, sentence

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
    parts = [_head(view), _choices(view), _figure(view), _events(view), metrics_table(view)]
    if view.steps:
        parts.append(steps_table(view))
    if view.moved:
        parts.append(moved_table(view))
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
    beside, own = view.beside, view.attempt.attempt_id
    session_id = view.session.session_id

    def address(
        other: int | None,
        align: str = beside.align,
        lay: str = beside.lay,
        listed: int | None = None,
    ) -> str:
        told = {
            "with": other,
            "align": align if align != "take_off" and other else None,
            "lay": lay if lay != "over" and other else None,
            "from": listed,
        }
        return link(f"/attempt/{own}", told)

    other = None if beside.other is None else beside.other.attempt_id
    # A session whose attempts are listed stays listed until one of them is chosen.
    listed = beside.picked if other is None and beside.picked != session_id else None
    shown = address(other, listed=listed)
    options = {address(None): "none"} if listed is None else {shown: "choose an attempt"}
    groups = {
        capital(beside.picked_words): {address(i): text for i, text in beside.attempts},
        beside.best_words: {address(i): text for i, text in beside.best},
    }
    if other is not None and not any(shown in group for group in groups.values()):
        options[shown] = beside.other_words
    parts: list[Any] = [
        html.Label("Compare with", htmlFor="attempt-with"),
        leads(
            "attempt-with", options, shown, {name: each for name, each in groups.items() if each}
        ),
    ]
    if len(beside.sessions) > 1:
        lists = {
            address(None, listed=None if i == session_id else i): text
            for i, text in beside.sessions
        }
        at = address(None, listed=None if beside.picked == session_id else beside.picked)
        parts += [
            html.Label("Attempts of", htmlFor="attempt-from"),
            leads("attempt-from", lists, at),
        ]
    if other is not None:
        aligned = {address(other, align): text for align, text in ALIGNED.items()}
        parts += [
            html.Label("Laid together at", htmlFor="attempt-align"),
            leads("attempt-align", aligned, shown),
            html.Label("Drawn", htmlFor="attempt-lay"),
            leads(
                "attempt-lay",
                {address(other, lay=lay): text for lay, text in LAID.items()},
                shown,
            ),
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
        "data-other-words": view.beside.other_words,
        "data-align": view.beside.align,
        "data-lay": view.beside.lay,
    }
    note = "Drag to move along, pinch or hold Ctrl and scroll to come closer."
    over = "Dashed lines and the lower pair of lanes belong to the other attempt."
    if view.beside.other is not None and view.beside.lay == "side":
        note += f" The other attempt is on the right; where there is no room, over this one. {over}"
    elif view.beside.other is not None:
        note += f" {over}"
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
