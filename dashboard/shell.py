"""What stands around every page: navigation, how sensors and links are doing, messages."""

from __future__ import annotations

import dash
from dash import html

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
                        [
                            html.A("Court", href="/", id="shell-to-court"),
                            html.A("Setup", href="/setup", id="shell-to-setup"),
                        ],
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


def _sensor(placement: Placement) -> html.Li:
    return html.Li(
        [
            html.Span(SHORT[placement], className="letter", **{"aria-hidden": "true"}),
            html.Span(PLACEMENTS[placement], className="unseen"),
            html.Span("–", className="told"),
        ],
        id=f"shell-sensor-{placement}",
    )
