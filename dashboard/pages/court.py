"""The courtside view: rhythm, one large number, the set, the log."""

from __future__ import annotations

from dash import Dash, html, register_page

from dashboard import wording
from dashboard.cards import button, section, text_field
from dashboard.services import Services


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    register_page(
        __name__, path="/", title="Courtside · imujump", layout=layout, nav="Courtside", order=1
    )


def layout(**_: str) -> html.Div:
    """Lay out the page; the running session fills it in."""
    seen = html.Div([_result(), _rhythm()], className="seen")
    done = html.Div([_set(), _log()], className="noted")
    return html.Div([seen, done], className="court")


def _result() -> html.Section:
    return section(
        "Result",
        html.Div(
            [
                html.P("No attempt yet", id="court-large-label"),
                html.P(
                    [
                        html.Span("–", id="court-large-value"),
                        html.Span(
                            [
                                html.Span("", id="court-large-unit"),
                                html.Span("", id="court-large-sigma"),
                            ],
                            className="beside",
                        ),
                    ],
                    className="large",
                ),
                html.P("", id="court-large-doubt", className="doubt"),
            ],
            className="main-number",
        ),
        html.Ul(id="court-small"),
        html.P("", id="court-said", className="unseen", **{"aria-live": "polite"}),
        id="court-result",
        hidden_title=True,
    )


def _picture(name: str, label: str) -> html.Figure:
    return html.Figure(
        [
            html.Figcaption(label, id=f"court-{name}-caption"),
            html.Div(id=f"court-{name}", className="rhythm", role="img", **{"aria-label": label}),
        ],
        className=f"picture {name}",
    )


def _rhythm() -> html.Section:
    return section(
        "Rhythm",
        _picture("now", "Nobody is running"),
        _picture("other", "Nothing to compare with yet"),
        html.Div(
            [
                html.Label("Compare with", htmlFor="court-pick"),
                html.Select([html.Option("the best", value="")], id="court-pick"),
                button("Hear it", "hear"),
                button("Hear the one beneath", "hear_beneath"),
                button("Half speed", "half_speed", pressed=False),
            ],
            className="row",
        ),
        html.Canvas(
            id="court-strip",
            role="img",
            **{"aria-label": "How hard each sensor is shaken, the last eight seconds"},
        ),
        id="court-rhythm",
        hidden_title=True,
    )


def _set() -> html.Section:
    return section(
        "Set",
        html.Dl(
            [
                html.Div([html.Dt("Set"), html.Dd("1", id="court-set-number")]),
                html.Div([html.Dt("Attempts"), html.Dd("0", id="court-set-count")]),
                html.Div([html.Dt("Rest"), html.Dd("–", id="court-rest")]),
            ]
        ),
        html.P("", id="court-hint", role="status"),
        html.P(wording.PAIN_CAUTION, id="court-pain"),
        html.Div(
            [
                button("New set", "new_set"),
                button("Pain", "pain", kind="warn"),
                button("End session", "end"),
                button("Take control", "take_control", id="court-take-control"),
            ],
            className="row",
        ),
        id="court-set",
        hidden_title=True,
    )


def _taps(title: str, act: str, texts: tuple[str, ...]) -> html.Fieldset:
    return html.Fieldset(
        [html.Legend(title), *[button(text, act, say=text) for text in texts]], className="taps"
    )


def _log() -> html.Section:
    return section(
        "Log",
        _taps("Cue given", "cue", wording.CUES),
        _taps("Seen", "seen", wording.SEEN),
        _taps("Do not count, because", "invalid", wording.INVALID),
        html.Div(
            [
                text_field("Own words", "court-words"),
                button("As cue", "cue_words"),
                button("As seen", "seen_words"),
            ],
            className="row words",
        ),
        html.Div([button("Take back the last entry", "undo", id="court-undo")], className="row"),
        html.Ul(id="court-log-list"),
        id="court-log",
        hidden_title=True,
    )
