"""The states of a sensor's link, and every way from one to another in a single table.

Rule: whatever affects a link's state is an event here, and the state changes nowhere else.
An event that the table does not know for a state is a fault of the program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class LinkState(StrEnum):
    """Where a link stands."""

    SOUGHT = "sought"  # the scanner looks for the sensor
    CONNECTING = "connecting"  # connect, subscribe, start
    MEASURING = "measuring"  # packets come
    STALE = "stale"  # linked, but packets have stopped
    RESTING = "resting"  # waits before the next attempt
    STOPPED = "stopped"  # for good


class LinkEvent(StrEnum):
    """What can happen to a link."""

    SEEN = "seen"  # an advertisement of this scan
    STARTED = "started"  # connected, subscribed, measuring
    FAILED = "failed"  # the attempt came to nothing
    PACKET = "packet"  # data after a silence
    SILENT = "silent"  # no data for a while
    DEAD = "dead"  # no data for so long that the link is worth nothing
    GONE = "gone"  # the system tells that the link has ended
    REBOOTED = "rebooted"  # the sensor tells another boot id in mid-link
    RESTED = "rested"  # the wait is over
    STOP = "stop"  # the session ends


_S, _E = LinkState, LinkEvent

TRANSITIONS: Mapping[tuple[LinkState, LinkEvent], LinkState] = {
    (_S.SOUGHT, _E.SEEN): _S.CONNECTING,
    (_S.CONNECTING, _E.STARTED): _S.MEASURING,
    (_S.CONNECTING, _E.FAILED): _S.RESTING,
    (_S.MEASURING, _E.SILENT): _S.STALE,
    (_S.MEASURING, _E.GONE): _S.RESTING,
    (_S.MEASURING, _E.REBOOTED): _S.RESTING,
    (_S.STALE, _E.PACKET): _S.MEASURING,
    (_S.STALE, _E.DEAD): _S.RESTING,
    (_S.STALE, _E.GONE): _S.RESTING,
    (_S.STALE, _E.REBOOTED): _S.RESTING,
    (_S.RESTING, _E.RESTED): _S.SOUGHT,
    **{(state, _E.STOP): _S.STOPPED for state in _S},
}
"""State after each event."""

LINKED = frozenset({LinkState.MEASURING, LinkState.STALE})
"""States in which there is a link to talk over."""


def after(state: LinkState, event: LinkEvent) -> LinkState:
    """Return the state that an event leads to.

    Raises
    ------
    ValueError
        If the event cannot happen in that state.

    Examples
    --------
    >>> after(LinkState.SOUGHT, LinkEvent.SEEN).value
    'connecting'
    """
    try:
        return TRANSITIONS[state, event]
    except KeyError:
        raise ValueError(f"event is {event}, which cannot happen to a link {state}") from None


@dataclass(frozen=True, slots=True)
class Timings:
    """How long the capture waits for what; seconds, own choices unless a source is named.

    ``stale_s`` and ``dead_s``: an operating system may notice a lost link only after a minute
    or two (a public report of a Windows machine), so the data themselves are watched.
    """

    stale_s: float = 1.0
    dead_s: float = 3.0
    watch_s: float = 0.1
    scan_s: float = 20.0  # a scan is begun anew after this, for systems whose scans fall asleep
    connect_s: float = 10.0
    answer_s: float = 3.0  # one read or write
    rest_s: float = 0.2  # mean first wait before trying again; doubled with each failure
    longest_rest_s: float = 8.0
    first_pings: int = 150  # the shortest of so many waits is a 150th of a connection interval
    first_ping_s: float = 0.07  # mean distance of the first clock readings: done after 10 s or so
    ping_s: float = 2.0  # mean distance of the later ones
    battery_s: float = 60.0
    replay_silence_s: float = 1.0  # a replay that pauses longer is asked for again
    replay_tries: int = 3
    last_replay_s: float = 5.0  # at the end of a session
    radio_retry_s: float = 2.0  # when Bluetooth itself has failed

    def rest_before(self, attempt: int, chance: float) -> float:
        """Wait before an attempt (1 is the first after a loss), ``chance`` from 0 to 1.

        Examples
        --------
        >>> Timings().rest_before(1, 0.5), Timings().rest_before(9, 1.0)
        (0.2, 12.0)
        """
        mean_s = min(self.rest_s * 2.0 ** (attempt - 1), self.longest_rest_s)
        return mean_s * (0.5 + chance)
