"""The agreement as one HTML page that needs nothing else: table, plots, methods."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from importlib.metadata import version
from typing import Any

import jinja2
import numpy as np
import plotly.graph_objects as go
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from imujump.model import METRIC_NAMES
from imujump.validation import words
from imujump.validation.agreement import COVERING_SIGMAS, Agreement, agreement
from imujump.validation.pairing import Pair, Tally
from imujump.wording import METRICS

POINT, LINE = "#3d7ea6", "#b5651d"

METHODS = (
    "Attempts are paired with the true ones by their toe-off (within 0.5 s), foot events one to "
    "one by time (within 30 ms and the truth's own uncertainty). Bias and 95 % limits of "
    "agreement follow Bland and Altman (Lancet 1986), the slope of the difference on the mean "
    "their paper of 1999; all attempts count alike, also several of one person, so limits "
    "between people may be wider. How the values were measured:"
)


def page(tally: Tally, source: str, failures: Sequence[str], made: datetime) -> str:
    """Write the page.

    Parameters
    ----------
    tally : Tally
        What was compared.
    source : str
        One sentence on the recordings.
    failures : sequence of str
        Sentences on recordings that could not be compared.
    made : datetime
        When, as shown on the page.
    """
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("imujump.validation", ""),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
    )
    text: str = environment.get_template("summary.html.jinja").render(
        plotly_js=Markup(get_plotlyjs()),
        source=source,
        counts=words.counts(tally),
        version=version("imujump"),
        made=made.strftime("%Y-%m-%d %H:%M"),
        heads=words.HEADS,
        rows=words.rows(tally),
        legend=words.LEGEND,
        left_out=words.left_out(tally),
        failures=list(failures),
        plots=[_plot(name, tally.pairs[name]) for name in METRIC_NAMES if tally.pairs.get(name)],
        methods=METHODS,
        used=_used(tally),
        limits=words.NOT_SHOWN,
    )
    return text


def _used(tally: Tally) -> list[str]:
    told = []
    for name in METRIC_NAMES:
        methods = tally.methods.get(name)
        if methods:
            each = "; ".join(f"{method} ({n})" for method, n in methods.most_common())
            told.append(f"{METRICS[name].label}: {each}")
    return told


def _plot(name: str, pairs: Sequence[Pair]) -> dict[str, Any]:
    found = agreement(pairs)
    figure = agreement_figure(name, pairs, found)
    html = figure.to_html(
        full_html=False,
        include_plotlyjs=False,
        config={"displayModeBar": False, "responsive": True},
    )
    caption = f"{words.label(name)}: {found.n} values"
    return {"figure": Markup(html), "caption": caption}


def agreement_figure(name: str, pairs: Sequence[Pair], found: Agreement) -> go.Figure:
    """Plot difference over mean of one metric, in display units."""
    unit = METRICS[name].unit
    value = np.array([p.value for p in pairs]) * unit.per_si
    truth = np.array([p.truth for p in pairs]) * unit.per_si
    sigma = np.array([p.sigma for p in pairs]) * unit.per_si
    figure = go.Figure(
        go.Scatter(
            x=(value + truth) / 2.0,
            y=value - truth,
            error_y={"array": COVERING_SIGMAS * sigma, "thickness": 1, "width": 0},
            mode="markers",
            marker={"color": POINT, "size": 7},
            text=[p.recording for p in pairs],
            hovertemplate="%{text}<br>mean %{x:.3g}, difference %{y:.3g}<extra></extra>",
        )
    )
    lines = [(found.bias, "solid")]
    if found.limits is not None:
        lines += [(found.limits[0], "dash"), (found.limits[1], "dash")]
    for level, dash in lines:
        figure.add_hline(level * unit.per_si, line={"color": LINE, "dash": dash, "width": 1})
    grey = {"gridcolor": "rgba(128,128,128,0.25)", "zerolinecolor": "rgba(128,128,128,0.6)"}
    figure.update_layout(
        height=260,
        margin={"l": 48, "r": 8, "t": 8, "b": 40},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"color": "#888", "size": 12},
        xaxis={"title": words.label(name), **grey},
        yaxis={"title": "difference", **grey},
        showlegend=False,
    )
    return figure
