"""Metrics of many attempts at once, as a table."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from sqlalchemy import Connection, select

from imujump.sessions.records import Task
from imujump.sessions.schema import (
    attempts,
    invalid_marks,
    metrics,
    recordings,
    results,
    sessions,
)
from imujump.sessions.sessions_kept import COUNTS, UNMARKED

ABOUT = (
    "attempt_id",
    "session_id",
    "athlete_id",
    "number",
    "taken_utc",
    "task",
    "style",
    "side",
    "surface",
    "shoe",
    "place",
    "mounting",
    "pipeline_version",
    "hand_events",
    "counts",
)
"""What the table says of an attempt."""

COLUMNS = (*ABOUT, "metric", "value", "sigma")

_KINDS = {"value": "float64", "sigma": "float64", "counts": "bool", "hand_events": "bool"}


def series(
    connection: Connection,
    athlete_id: int | None,
    names: Sequence[str],
    task: Task | None,
) -> pd.DataFrame:
    """Return one row for each attempt and metric, attempts in order.

    Parameters
    ----------
    connection : Connection
        Read from.
    athlete_id : int or None
        Whose attempts; everybody's when ``None``.
    names : sequence of str
        Names of metrics.
    task : Task or None
        Attempts of this task only.

    Returns
    -------
    DataFrame
        The columns :data:`COLUMNS`. ``value`` is NaN where it could not be measured.
    """
    query = (
        select(
            attempts.c.attempt_id,
            recordings.c.session_id,
            sessions.c.athlete_id,
            attempts.c.number,
            attempts.c.taken_utc,
            attempts.c.task,
            results.c.style,
            results.c.side,
            sessions.c.surface,
            sessions.c.shoe,
            sessions.c.place,
            sessions.c.mounting,
            results.c.pipeline_version,
            results.c.hand_events,
            COUNTS.label("counts"),
            metrics.c.name,
            metrics.c.value,
            metrics.c.sigma,
        )
        .select_from(
            sessions.join(recordings)
            .join(attempts)
            .join(results, results.c.result_id == attempts.c.result_id)
            .join(metrics)
            .outerjoin(invalid_marks, UNMARKED)
        )
        .where(metrics.c.name.in_(names))
    )
    if athlete_id is not None:
        query = query.where(sessions.c.athlete_id == athlete_id)
    if task is not None:
        query = query.where(attempts.c.task == task.value)
    rows = connection.execute(query).all()
    table = pd.DataFrame.from_records([tuple(row) for row in rows], columns=list(COLUMNS))
    table = table.astype(_KINDS)
    table["taken_utc"] = pd.to_datetime(table["taken_utc"], utc=True)
    order = {name: place for place, name in enumerate(names)}
    rank = table["metric"].map(order)
    return (
        table.assign(_rank=rank)
        .sort_values(["taken_utc", "attempt_id", "_rank"], kind="stable", ignore_index=True)
        .drop(columns="_rank")
    )
