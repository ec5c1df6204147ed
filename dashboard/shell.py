"""What stands around every page: navigation, how sensors and links are doing, messages."""

from __future__ import annotations

import dash
from dash import dcc, html

from dashboard.cards import button
from imujump.model import Placement
from imujump.wording import PLACEMENTS

SHORT = {Placement.LEFT_SHANK: "L", Placement.RIGHT_SHANK: "R", Placement.PELVIS: "P"}


def layout() -> html.Div:
    """Lay out the shell around the current page."""
    return html.Div(
        [
            html.A("Skip to content", href="#content", className="skip"),
            html.Header(
                [
                    html.Nav(
                        _links(),
                        id="shell-pages",
                        **{"aria-label": "Pages"},
                    ),
                    html.P(id="shell-athlete"),
                    html.P(id="shell-attempt"),
                    html.Ul(
                        [_sensor(placement) for placement in Placement],
                        id="shell-sensors",
                        **{"aria-label": "Sensors"},
                    ),
                    html.P("Connecting …", id="shell-link", role="status"),
                    html.Div(
                        [
                            button("Sound", "sound", pressed=False),
                            button("Dark", "theme", pressed=False),
                        ],
                        className="switches",
                    ),
                ]
            ),
            html.Div(id="shell-messages", role="alert"),
            html.Main(dash.page_container, id="content", tabIndex=-1),
        ]
    )


def _links() -> list[dcc.Link]:
    """Link to the pages that have a word for the navigation, in their order."""
    shown = [page for page in dash.page_registry.values() if page.get("nav")]
    return [
        dcc.Link(page["nav"], href=page["path"])
        for page in sorted(shown, key=lambda page: int(page["order"]))
    ]


def _sensor(placement: Placement) -> html.Li:
    return html.Li(
        [
            html.Span(SHORT[placement], className="letter", **{"aria-hidden": "true"}),
            html.Span(PLACEMENTS[placement], className="unseen"),
            html.Span("–", className="told"),
        ],
        id=f"shell-sensor-{placement}",
    )
