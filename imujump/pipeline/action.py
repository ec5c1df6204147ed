"""An action: weightless moments that belong together, and the window around them.

Its window opens at the last stand before the first weightless moment and closes at the next
stand of a second, or some seconds after the last weightless moment.
"""

from __future__ import annotations

from imujump.pipeline.preview import PREVIEW_S
from imujump.pipeline.screening import LOOK_S, SPAN_S, Looks

LONGEST_APPROACH_S = 25.0
"""A stand further back than this does not serve an attempt (own choice)."""

OPENING_STAND_S, CLOSING_STAND_S = 0.5, 1.0
"""Stands that can open and that close an attempt's window (own choice)."""

CLOSING_WAIT_S = 4.0
"""Without a stand the window closes this long after the last weightless moment."""

LONGEST_ACTION_S = 20.0
"""An action with weightless moments closes after this long at the latest: bouncing, running."""

UNANCHORED_S = 8.0
"""Approach looked at when no stand precedes it."""


class Action:
    """Follows the looks of all sensors together; at most one action is under way.

    ``first`` is the look of its first weightless moment, None between actions.
    """

    def __init__(self, looks: Looks) -> None:
        self._looks = looks
        self.first: int | None = None
        self._latest = 0
        self._previewed: int | None = None

    def follow(self, k: int, weightless: bool) -> bool:
        """Take in look k, the newest; return whether the action closes with it."""
        if self.first is None:
            if weightless:
                self.first = self._latest = k
            return False
        if weightless:
            self._latest = k
        stand = round(CLOSING_STAND_S / LOOK_S)
        rested = k - self._latest >= stand and all(
            self._looks[j].still for j in range(k - stand + 1, k + 1)
        )
        return (
            rested
            or (k - self._latest) * LOOK_S >= CLOSING_WAIT_S
            or (k - self.first) * LOOK_S >= LONGEST_ACTION_S
        )

    def end(self) -> None:
        """Let the next weightless moment begin another action."""
        self.first = self._previewed = None

    def asks_for_preview(self, k: int) -> bool:
        """Whether look k comes long enough after the last flight; True once for each flight."""
        if self.first is None or self._latest == self._previewed:
            return False
        if (k - self._latest) * LOOK_S < PREVIEW_S:
            return False
        self._previewed = self._latest
        return True

    def opening_s(self, first: int) -> tuple[float, bool]:
        """Start of the window before look ``first``, and whether it is a stand."""
        need = round(OPENING_STAND_S / LOOK_S)
        oldest = max(0, first - round(LONGEST_APPROACH_S / LOOK_S))
        run = 0
        for k in range(first - 1, oldest - 1, -1):
            run = run + 1 if self._looks[k].still else 0
            if run == need:
                begin = k
                while begin > oldest and self._looks[begin - 1].still and k - begin < 12:
                    begin -= 1
                return max(begin * LOOK_S - SPAN_S / 2, 0.0), True
        return max(first * LOOK_S - UNANCHORED_S, 0.0), False
