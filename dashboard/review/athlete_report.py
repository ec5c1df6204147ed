"""The report that the athlete's page hands out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from dashboard.review.door import StoreDoor
from imujump.report import report_file_name, report_html, report_of


def athlete_report(door: StoreDoor, athlete_id: int, told: Mapping[str, str]) -> tuple[str, str]:
    """Make a report.

    Parameters
    ----------
    door : StoreDoor
        Where the store is.
    athlete_id : int
        Who.
    told : mapping of str to str
        ``aim``, ``cue``, ``from`` and ``to``.

    Returns
    -------
    (str, str)
        The page and a name for its file.

    Raises
    ------
    ValueError
        If a day is none, or something else in ``told`` cannot be.
    """
    since, until = (_day(told.get(name, "")) for name in ("from", "to"))
    with door.opened() as store:
        found = report_of(
            store,
            store.athlete(athlete_id),
            since,
            until,
            aim=told.get("aim", ""),
            cue=told.get("cue", ""),
        )
    today = datetime.now().astimezone().date()
    return report_html(found), report_file_name(found.name, today)


def _day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError("Give the day as year-month-day, as 2026-03-31.") from None
