"""The setup page: who jumps what where, are the sensors fit, start."""

from __future__ import annotations

from dash import Dash, html, register_page

from dashboard import wording
from dashboard.cards import button, choice, section, text_field
from dashboard.services import Services

CHECK_STEPS = (
    "Press “Begin check”.",
    "Stand still for three seconds.",
    "Walk six steps or more straight ahead and stand.",
    "Stamp once with each foot, standing still after each.",
    "Press “Finish check”.",
)


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""

    def layout(**_: str) -> html.Div:
        parts = [
            _who(),
            _what(),
            _sensors(services.sources()),
            _numbers(),
            _devices(services.settings.address is not None),
        ]
        start = html.Div(
            [button("Start", "begin_and_go", kind="go", id="setup-start")], className="start"
        )
        return html.Div([*parts, start], className="setup")

    register_page(
        __name__, path="/setup", title="Setup · imujump", layout=layout, nav="Setup", order=0
    )


def _who() -> html.Section:
    return section(
        "Athlete",
        choice("Who jumps", "setup-athlete", {"": "– pick one –"}, "athlete"),
        html.Details(
            [
                html.Summary("Add an athlete"),
                text_field("Name", "setup-name"),
                button("Add", "add_athlete", id="setup-add"),
            ]
        ),
        id="setup-who",
    )


def _what() -> html.Section:
    return section(
        "Task",
        choice("Task", "setup-task", wording.TASKS, "task"),
        choice("Surface", "setup-surface", {each: each for each in wording.SURFACES}, "surface"),
        choice("Shoe", "setup-shoe", {each: each for each in wording.SHOES}, "shoe"),
        html.P(wording.PAIN_CAUTION, className="caution"),
        id="setup-what",
    )


def _sensors(sources: dict[str, str]) -> html.Section:
    return section(
        "Sensors",
        choice("Take from", "setup-source", sources, "source"),
        html.Div(
            [
                button("Connect", "connect", id="setup-connect"),
                button("Begin check", "check_begin", id="setup-check-begin"),
                button("Finish check", "check_end", id="setup-check-end"),
                button("End session", "end"),
            ],
            className="row",
        ),
        html.P("Not connected.", id="setup-phase", role="status"),
        html.Details(
            [html.Summary("How to check"), html.Ol([html.Li(step) for step in CHECK_STEPS])]
        ),
        html.Div(id="setup-check", **{"aria-live": "polite"}),
        id="setup-sensors",
    )


def _numbers() -> html.Section:
    labels = {each["name"]: each["label"] for each in wording.metric_choices()}
    fields = [choice("Large", "setup-large", labels, "")]
    for place in range(3):
        options = labels if place < 2 else {"": "– none –", **labels}
        fields.append(choice(f"Small {place + 1}", f"setup-small-{place}", options, ""))
    return section("Numbers", *fields, id="setup-numbers")


def _devices(lan: bool) -> html.Section:
    told = (
        html.Div(id="setup-invite")
        if lan
        else html.P("Only this computer is served. Start with --lan to let others look on.")
    )
    return section(
        "Devices",
        html.P("", id="setup-viewers"),
        button("Take control", "take_control", id="setup-take-control"),
        told,
        id="setup-devices",
    )
