"""Clock readings as rows of a recording, so that alignment can be done again from the file."""

from __future__ import annotations

import re

from imujump.model import ClockReading
from imujump.recording.format import StatusChange, StatusKind

_DETAIL = re.compile(r"sent_us=(-?\d{1,17}) tick=(-?\d{1,19})", re.ASCII)
_MICROSECOND = 1e6


def clock_row(reading: ClockReading) -> StatusChange:
    """Return the status row of a clock reading; its time is that of the answer.

    Examples
    --------
    >>> from imujump.model import Placement
    >>> row = clock_row(ClockReading(Placement.PELVIS, 1.25, 1.26, 77))
    >>> row.time_s, row.detail
    (1.26, 'sent_us=1250000 tick=77')
    >>> clock_reading(row) == ClockReading(Placement.PELVIS, 1.25, 1.26, 77)
    True
    """
    detail = f"sent_us={round(reading.sent_s * _MICROSECOND)} tick={reading.tick}"
    return StatusChange(reading.received_s, StatusKind.CLOCK, reading.placement, detail)


def clock_reading(row: StatusChange) -> ClockReading | None:
    """Return the reading that a status row holds, or None if it is another kind of row."""
    if row.kind is not StatusKind.CLOCK or row.placement is None:
        return None
    found = _DETAIL.fullmatch(row.detail)
    if found is None:
        return None
    return ClockReading(row.placement, int(found[1]) / _MICROSECOND, row.time_s, int(found[2]))
