"""The tables of an attempt's page."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.review import words
from dashboard.review.attempt_view import STEP_FIELDS, AttemptView, Row
from dashboard.review.parts import card, number
from imujump.wording import capital


def metrics_table(view: AttemptView) -> html.Section:
    """Lay out every metric, beside the other attempt's if there is one."""
    two = view.beside.other is not None
    heads = ["Metric", "This attempt"]
    if two:
        heads += [capital(view.beside.other_words), "Difference"]
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


def steps_table(view: AttemptView) -> html.Section:
    """Lay out the steps of the approach."""
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


def moved_table(view: AttemptView) -> html.Section:
    """Lay out what a newer analysis changed."""
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
