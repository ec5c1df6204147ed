"""The graph of a metric over its sessions, for plotly; colours come from the style sheet. Pure."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from html import escape
from typing import Any

from dashboard.review import words
from imujump.answers_in_words import day
from imujump.metric_course import MetricCourse, errors_about, level_told, local_day

PLAIN = "rgba(128,128,128,1)"
"""Stands where the style sheet gives another colour in light and in dark."""


def trends_figure(course: MetricCourse) -> dict[str, Any]:
    """Draw session means with intervals, the athlete's own errors, and a change beyond error.

    Plotly reads markup in texts, so what people have typed is escaped.
    """
    unit, per_si = course.wording.unit.symbol, course.wording.unit.per_si
    levels = course.trend.levels
    # Asked once for each: a system may look at its time zone's file every time.
    here = [level.started_utc.astimezone() for level in levels]
    points: dict[str, Any] = {
        "type": "scatter",
        "mode": "markers",
        "x": [instant.replace(tzinfo=None).isoformat() for instant in here],
        "y": [level.mean * per_si for level in levels],
        "customdata": [[level.session_id] for level in levels],
        "text": [_told(course, place, instant) for place, instant in enumerate(here)],
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"size": 9 if len(levels) < 80 else 5, "color": PLAIN},
        "error_y": {
            "type": "data",
            "array": [
                0.0 if level.interval is None else level.interval.half * per_si for level in levels
            ],
            "thickness": 1.5,
            "width": 0,
            "color": PLAIN,
        },
    }
    return {
        "data": [points, *_stretches(course)],
        "layout": {
            "showlegend": False,
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "margin": {"l": 52, "r": 14, "t": 10, "b": 36},
            "font": {"family": "system-ui, sans-serif", "size": 14},
            "xaxis": {"type": "date", "zeroline": False},
            "yaxis": {"title": {"text": escape(unit)}, "zeroline": False, "fixedrange": True},
            "hovermode": "closest",
            "dragmode": "zoom",
            "shapes": _shapes(course),
        },
    }


def _told(course: MetricCourse, place: int, here: datetime) -> str:
    level, session = course.trend.levels[place], course.sessions[place]
    lines = [
        f"{day(here)}: {level_told(level, course.wording)}",
        words.counted(level.n, "attempt", "attempts"),
        session.conditions.surface,
        session.conditions.shoe,
    ]
    return "<br>".join(escape(line) for line in lines if line)


def _stretches(course: MetricCourse) -> list[dict[str, Any]]:
    """Levels of the two periods of a change; nothing without one."""
    change = course.trend.change
    if not course.changed:
        return []
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "x": [_edge(local_day(p.begin_utc)), _edge(local_day(p.end_utc), 1)],
            "y": [p.mean * course.wording.unit.per_si] * 2,
            "line": {"width": 3, "color": PLAIN},
            "hoverinfo": "skip",
        }
        for p in (change.first, change.latest)
        if p is not None
    ]


def _shapes(course: MetricCourse) -> list[dict[str, Any]]:
    per_si, (band, edges) = course.wording.unit.per_si, errors_about(course.trend)
    across = {"xref": "paper", "x0": 0, "x1": 1, "layer": "below"}
    found: list[dict[str, Any]] = []
    if band is not None:
        low, high = (limit * per_si for limit in band)
        found.append(
            {"type": "rect", **across, "y0": low, "y1": high, "fillcolor": PLAIN, "opacity": 0.16,
             "line": {"width": 0}}
        )  # fmt: skip
    for edge in edges:
        at = edge * per_si
        line = {"width": 1.5, "dash": "dot", "color": PLAIN}
        found.append({"type": "line", **across, "y0": at, "y1": at, "line": line})
    change = course.trend.change
    if course.changed and change.since_utc is not None and not change.gradual:
        at_day = _edge(local_day(change.since_utc))
        line = {"width": 1.5, "dash": "dash", "color": PLAIN}
        found.append(
            {"type": "line", "yref": "paper", "y0": 0, "y1": 1, "x0": at_day, "x1": at_day,
             "line": line}
        )  # fmt: skip
    return found


def _edge(on: date, days_on: int = 0) -> str:
    return (on + timedelta(days=days_on)).isoformat()
