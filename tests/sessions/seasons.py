"""Sessions with invented values, for tests."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from imujump.sessions.readings import Conditions, Reading, SessionReadings

BEGIN = datetime(2026, 1, 5, 17, tzinfo=UTC)
PLAIN = Conditions("hall", "low", "new straps")


def sessions_of(
    values: Sequence[Sequence[float]],
    sigma: float | None = 0.005,
    conditions: Conditions = PLAIN,
    apart: timedelta = timedelta(days=3),
) -> tuple[SessionReadings, ...]:
    """Give sessions numbered from 0, three days apart."""
    return tuple(
        SessionReadings(
            k,
            BEGIN + k * apart,
            tuple(Reading(float(value), sigma) for value in own),
            conditions,
        )
        for k, own in enumerate(values)
    )
