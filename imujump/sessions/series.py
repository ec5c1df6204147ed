"""Metrics of many attempts at once, as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Select, select, type_coerce
from sqlalchemy.types import NullType

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

_OF_ATTEMPT = (
    "attempt_id",
    "session_id",
    "number",
    "taken_utc",
    "task",
    "style",
    "side",
    "pipeline_version",
    "hand_events",
    "counts",
)
_OF_SESSION = ("athlete_id", "surface", "shoe", "place", "mounting")

_SHOWN_FIGURES = metrics.c.result_id == attempts.c.result_id

_ABOUT = select(
    results.c.result_id,
    attempts.c.attempt_id,
    recordings.c.session_id,
    attempts.c.number,
    # Read as the database gives it: turning each into an object takes longer than all the rest.
    type_coerce(attempts.c.taken_utc, NullType()),
    attempts.c.task,
    results.c.style,
    results.c.side,
    results.c.pipeline_version,
    results.c.hand_events,
    COUNTS,
).select_from(
    sessions.join(recordings)
    .join(attempts)
    .join(results, results.c.result_id == attempts.c.result_id)
    .outerjoin(invalid_marks, UNMARKED)
)

_CIRCUMSTANCES = select(
    sessions.c.session_id,
    sessions.c.athlete_id,
    sessions.c.surface,
    sessions.c.shoe,
    sessions.c.place,
    sessions.c.mounting,
)

_FIGURES = {"value", "sigma"}
_KINDS = {
    **dict.fromkeys(("attempt_id", "session_id", "athlete_id", "number"), "int64"),
    **dict.fromkeys(("counts", "hand_events"), "bool"),
}


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
    whose = [] if athlete_id is None else [sessions.c.athlete_id == athlete_id]
    if task is not None:
        whose.append(attempts.c.task == task.value)
    figures = (
        select(metrics.c.result_id, metrics.c.name, metrics.c.value, metrics.c.sigma)
        .select_from(sessions.join(recordings).join(attempts).join(metrics, _SHOWN_FIGURES))
        .where(metrics.c.name.in_(names), *whose)
    )
    about = _frame(connection, _ABOUT.where(*whose), ("result_id", *_OF_ATTEMPT))
    circumstances = _frame(connection, _CIRCUMSTANCES, ("session_id", *_OF_SESSION))
    measured = _frame(connection, figures, ("result_id", "metric", "value", "sigma"))
    about["taken_utc"] = pd.to_datetime(about["taken_utc"], utc=True, format="ISO8601")
    about = about.sort_values(["taken_utc", "attempt_id"], kind="stable")
    about["_order"] = range(len(about))
    measured["_rank"] = measured["metric"].map({name: rank for rank, name in enumerate(names)})
    table = about.merge(measured, on="result_id").merge(circumstances, on="session_id")
    table = table.sort_values(["_order", "_rank"], kind="stable", ignore_index=True)
    return table[[*COLUMNS]].astype(_KINDS)


def _frame(connection: Connection, query: Select[Any], columns: Sequence[str]) -> pd.DataFrame:
    rows = connection.execute(query).all()
    values = zip(*rows, strict=True) if rows else ((),) * len(columns)
    # Plain objects: to look into every text for its kind takes as long as reading it.
    return pd.DataFrame(
        {
            name: pd.Series(told, dtype="float64" if name in _FIGURES else "object")
            for name, told in zip(columns, values, strict=True)
        }
    )
