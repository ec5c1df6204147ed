"""One athlete: facts and body, tests and comparisons, load, the three questions, the report."""

from __future__ import annotations

from typing import Any

from dash import Dash, dcc, html

from dashboard.cards import button
from dashboard.review import frame
from dashboard.review.athlete_view import NO_SESSIONS, AthleteView, athlete_view
from dashboard.review.parts import card, does, drawing, entries, entry, leads, title
from dashboard.review.query import link
from dashboard.review.query import number as id_of
from dashboard.services import Services
from imujump.answers_in_words import day
from imujump.athlete_answers import Answer
from imujump.athlete_load import LoadAnswer, LoadLine
from imujump.athlete_strength import NO_TEST, StandingTest
from imujump.sessions.records import Athlete
from imujump.sessions.store import SessionStore

SIDES = {"": "not noted", "left": "left", "right": "right"}


def register(app: Dash, services: Services) -> None:
    """Add the page to the app."""
    frame.add_page(
        __name__,
        _draw,
        path_template="/athlete/<athlete_id>",
        title="Athlete · imujump",
    )


def _draw(store: SessionStore, told: dict[str, str]) -> list[Any]:
    view = athlete_view(store, id_of(told.get("athlete_id")) or 0, told)
    parts: list[Any] = [_head(view)]
    if view.load is None or view.compared is None:
        return [*parts, html.P(NO_SESSIONS, className="card empty"), _person(view)]
    parts.append(_choices(view))
    answers = html.Div(
        [
            _cue(view),
            _answer("At which approach speed highest", view.speed_told, "athlete-speed"),
            _answer("What goes with height", view.companions_told, "athlete-companions"),
            _answer("Kinds of jumps compared", view.compared, "athlete-compared"),
        ],
        className="answers",
    )
    return [
        *parts,
        answers,
        _load(view.load),
        html.Div([_test(view.test), _person(view)], className="pair-of"),
        _report(view.athlete),
    ]


def _head(view: AthleteView) -> html.Div:
    athlete, lead = view.athlete, {"athlete": view.athlete.athlete_id}
    facts = [
        None if athlete.birth_year is None else f"born {athlete.birth_year}",
        None if athlete.stature_m is None else f"{100 * athlete.stature_m:.0f} cm",
        f"{view.measures[0].mass_kg:.1f} kg on {day(view.measures[0].on)}"
        if view.measures
        else None,
        None if athlete.take_off_side is None else f"takes off from the {athlete.take_off_side}",
    ]
    told = " · ".join(fact for fact in facts if fact)
    return html.Div(
        [
            title(f"{athlete.name} · imujump"),
            html.P(dcc.Link("All athletes", href="/athletes"), **{"data-under": "/athletes"}),
            html.H1(athlete.name),
            html.P(told or "No facts are noted yet; add them below.", className="label"),
            html.Nav(
                [
                    dcc.Link("Trends", href=link("/trends", lead), className="button"),
                    dcc.Link("Sessions", href=link("/sessions", lead), className="button"),
                    html.A("Report", href="#athlete-report", className="button"),
                ],
                className="row",
                **{"aria-label": "More of this athlete"},
            ),
        ],
        className="head",
    )


def _choices(view: AthleteView) -> html.Div:
    return html.Div(
        [
            html.Label("Task", htmlFor="athlete-task"),
            leads("athlete-task", view.tasks or {}, view.task),
            html.Span(view.about, className="label"),
        ],
        className="row choices",
    )


def _answer(heading: str, answer: Answer | None, id: str, *above: Any) -> html.Section:
    if answer is None:
        return card(heading, id=id)
    first, *rest = answer.sentences
    return card(
        heading,
        *above,
        html.P(first, className="lead"),
        *(html.P(text) for text in rest),
        *drawing(answer.picture, answer.caption),
        *(html.P(text, className="caution") for text in answer.cautions),
        id=id,
    )


def _cue(view: AthleteView) -> html.Section:
    above = []
    if view.cues:
        above.append(
            html.Div(
                [
                    html.Label("Cue", htmlFor="athlete-cue"),
                    leads("athlete-cue", view.cues, view.cue),
                ],
                className="row choices",
            )
        )
    return _answer("Did the cue help", view.cue_told, "athlete-cues", *above)


def _load(load: LoadAnswer) -> html.Section:
    parts: list[Any] = [html.P(text, className="lead") for text in load.sentences]
    if load.weeks:
        pictures = drawing(
            load.picture, "Jumps a week, the fuller the colour the higher; dashed: height unknown."
        )
        weeks = _counts("Week", load.weeks, load.bands, "Against the weeks before")
        sessions = _counts("Session", load.sessions, load.bands)
        parts += [
            *pictures,
            html.Details([html.Summary("Weeks in numbers, with the change of each"), weeks]),
            html.Details([html.Summary("Newest sessions in numbers"), sessions]),
        ]
    sources = html.Ul([html.Li(text) for text in load.sources], className="dots")
    return card(
        "Load",
        *parts,
        html.P(load.caution, className="caution"),
        html.Details([html.Summary("What the sources say"), sources]),
        id="athlete-load",
    )


def _counts(
    what: str, lines: tuple[LoadLine, ...], bands: tuple[str, ...], change: str = ""
) -> html.Table:
    unknown = any(line.unknown for line in lines)
    heads = [what, "Jumps", *bands]
    heads += ["height unknown"] if unknown else []
    heads += [change] if change else []
    rows = []
    for line in lines:
        name: Any = line.label
        if line.session_id is not None:
            name = dcc.Link(line.label, href=f"/session/{line.session_id}")
        cells = [str(line.jumps), *map(str, line.bands)]
        cells += [str(line.unknown)] if unknown else []
        cells += [line.change] if change else []
        told = zip(cells, heads[1:], strict=True)
        rows.append(
            html.Tr(
                [
                    html.Th(name, scope="row"),
                    *(html.Td(cell, className="n", **{"data-head": head}) for cell, head in told),
                ]
            )
        )
    head = html.Tr([html.Th(text, scope="col") for text in heads])
    return html.Table([html.Thead(head), html.Tbody(rows)], className="list narrow")


def _test(test: StandingTest | None) -> html.Section:
    heading = "Standing jump"
    if test is None:
        return card(heading, html.P(NO_TEST), id="athlete-test")
    parts: list[Any] = [
        html.P(f"{test.height} on {test.on}, mean of {test.attempts}.", className="lead"),
        *drawing(test.picture, "Mean of each test with its interval."),
    ]
    if test.reason:
        parts.append(html.P(test.reason, className="doubt"))
    else:
        rows = [
            html.Tr(
                [
                    html.Th(line.name, scope="row"),
                    html.Td(line.watts, className="n", **{"data-head": "W"}),
                    html.Td(line.per_kg, className="n", **{"data-head": "W/kg"}),
                    html.Td([line.source, *([f". {line.reason}"] if line.reason else [])],
                            className="why"),
                ]
            )
            for line in test.powers
        ]  # fmt: skip
        heads = ("Power", "W", "W/kg", "Source")
        head = html.Tr([html.Th(text, scope="col") for text in heads])
        parts += [
            html.P(f"Power with {test.mass}:"),
            html.Table([html.Thead(head), html.Tbody(rows)], className="list power"),
            html.P(test.caution, className="caution"),
        ]
    return card(heading, *parts, id="athlete-test")


def _person(view: AthleteView) -> html.Section:
    athlete = view.athlete
    measures = [
        html.Li(
            [
                html.Span(
                    f"{day(each.on)}: {each.mass_kg:.1f} kg"
                    + ("" if each.stature_m is None else f", {100 * each.stature_m:.1f} cm")
                ),
                does(
                    "Remove",
                    "remove_measure",
                    kind="quiet",
                    athlete=athlete.athlete_id,
                    on=str(each.on),
                ),
            ],
            className="measure",
        )
        for each in view.measures
    ]
    adding = entries(
        "Add body mass",
        "add_measure",
        [
            entry("Body mass, kg", "mass", "athlete-mass"),
            entry("Stature, cm", "stature", "athlete-mass-stature"),
            entry("Day", "on", "athlete-mass-on", hint="as 2026-03-31; today if empty"),
        ],
        id="athlete-add-mass",
        athlete=athlete.athlete_id,
    )
    return card(
        "Body and facts",
        *drawing(view.mass_picture, "Body mass."),
        html.Details(
            [html.Summary(f"Body measures ({len(measures)})"), html.Ul(measures)],
        )
        if measures
        else html.P("No body mass is noted; power per kilogram needs one near each test."),
        adding,
        html.Details([html.Summary("Change facts"), _facts(athlete)]),
        id="athlete-person",
    )


def _facts(athlete: Athlete) -> html.Div:
    side = html.Div(
        [
            html.Label("Preferred take-off foot", htmlFor="athlete-side"),
            _side(athlete),
        ],
        className="field",
    )
    return entries(
        "Save facts",
        "change_athlete",
        [
            entry("Name", "name", "athlete-name", athlete.name),
            entry("Birth year", "born", "athlete-born", str(athlete.birth_year or "")),
            entry("Stature, cm", "stature", "athlete-stature", _cm(athlete.stature_m)),
            entry("Leg length, cm", "leg", "athlete-leg", _cm(athlete.leg_length_m)),
            side,
            entry(
                "Guardian agreed on",
                "consent",
                "athlete-consent",
                str(athlete.guardian_consent_on or ""),
                "for minors, as 2026-03-31",
            ),
        ],
        id="athlete-facts",
        kind="go",
        athlete=athlete.athlete_id,
    )


def _side(athlete: Athlete) -> html.Select:
    own = "" if athlete.take_off_side is None else str(athlete.take_off_side)
    # The first of the list is what a browser shows.
    values = [own, *(value for value in SIDES if value != own)]
    options = [html.Option(SIDES[value], value=value) for value in values]
    return html.Select(options, id="athlete-side", name="side")


def _cm(length_m: float | None) -> str:
    return "" if length_m is None else f"{100.0 * length_m:.1f}".removesuffix(".0")


def _report(athlete: Athlete) -> html.Section:
    fields = [
        entry("Cue to keep", "cue", "athlete-report-cue", hint="empty: one that surely helped"),
        entry("Next aim, in your words", "aim", "athlete-report-aim"),
        entry("From", "from", "athlete-report-from", hint="as 2026-01-01; the first if empty"),
        entry("To", "to", "athlete-report-to"),
        button("Download the report", "report", say=str(athlete.athlete_id), kind="go"),
    ]
    return card(
        "Report for the athlete",
        html.P("One page: what changed and whether beyond error, two pictures, cue and aim."),
        html.Div(fields, className="entries", **{"data-fields": ""}),
        id="athlete-report",
    )
