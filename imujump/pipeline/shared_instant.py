"""Where a movement that all sensors made as one lies on each clock, and what it corrects."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import Placement
from imujump.pipeline.clock_course import ClockLine
from imujump.pipeline.knock import HeldSensor, shared_movement
from imujump.pipeline.streams import SensorStream

REST_LOOKS, LONGEST_LOOKS = 4, 30
"""Looks of rest before and after a movement, and the most it may last (own choice: half a
second, three seconds)."""

DELAY_SAMPLES = 0.56
"""Delay of a sensor's own low-pass, as in :mod:`imujump.pipeline.windows`: sensors of different
rates lag differently."""

WANDER, WANDER_ALONE = 5e-7, 1e-5
"""How far a corrected clock strays from its line with time, as a share of it: with clock readings
and without (own choice: temperature, and the skew's own uncertainty)."""

FIT_DOUBT = 2.0
"""A fit's error counts for so many of its standard deviations against a knock: the shortest wait
among few readings now and then is a long one (own choice)."""


@dataclass(slots=True)
class RestedSpells:
    """Finds short movements between two rests of all sensors, look by look."""

    _looks: int = 0
    _rest: int = 0
    _begin: int | None = None

    def follow(self, still: bool) -> int | None:
        """Take the next look; return that which began the first rest when a second is complete.

        Examples
        --------
        >>> spells = RestedSpells()
        >>> looks = [True] * 6 + [False] * 3 + [True] * 5
        >>> [(k, found) for k, still in enumerate(looks) if (found := spells.follow(still))]
        [(12, 2)]
        """
        k = self._looks
        self._looks += 1
        if not still:
            if self._rest >= REST_LOOKS:
                self._begin = k - REST_LOOKS
            self._rest = 0
            return None
        self._rest += 1
        if self._begin is None or self._rest < REST_LOOKS:
            return None
        begin, self._begin = self._begin, None
        return begin if k - begin <= LONGEST_LOOKS + 2 * REST_LOOKS else None


@dataclass(frozen=True, slots=True)
class SharedInstant:
    """One instant on several clocks: device time and count of ticks of each sensor."""

    device_s: Mapping[Placement, float]
    segments: Mapping[Placement, int]
    sigma_s: float

    def corrected(self, lines: Mapping[Placement, ClockLine]) -> dict[Placement, ClockLine]:
        """Lines moved so that they agree on the instant, as far as it is to be trusted."""
        known = [p for p in lines if p in self.device_s and lines[p].segment == self.segments[p]]
        if len(known) < 2:
            return dict(lines)
        seen_s = {p: lines[p].session_s(self.device_s[p]) for p in known}
        weights = {p: max(FIT_DOUBT * lines[p].sigma_s, 1e-4) ** -2 for p in known}
        middle_s = sum(weights[p] * seen_s[p] for p in known) / sum(weights.values())
        out = dict(lines)
        for p in known:
            line = lines[p]
            wander = WANDER if line.read else WANDER_ALONE
            left_s = math.hypot(self.sigma_s, wander * (line.at_s - self.device_s[p]))
            trust = 1.0 / (1.0 + (left_s * math.sqrt(weights[p])) ** 2)
            shift_s = line.shift_s - trust * (seen_s[p] - middle_s)
            out[p] = replace(line, shift_s=shift_s, sigma_s=math.sqrt(trust) * left_s)
        return out


def held_together(
    streams: Mapping[Placement, SensorStream],
    lines: Mapping[Placement, ClockLine],
    start_s: float,
    end_s: float,
    arrived_by_s: Mapping[Placement, float],
) -> SharedInstant | None:
    """Look for a movement that all sensors made as one between two session times."""
    held = {}
    for placement, line in lines.items():
        time_s, values, arrival_s = streams[placement].kept()
        first_s, last_s = line.device_s(start_s), line.device_s(end_s)
        part = (time_s >= first_s) & (time_s <= last_s) & (arrival_s <= arrived_by_s[placement])
        part &= np.isfinite(values).all(axis=1)
        rate_hz = streams[placement].info.rate_hz
        shown_s = line.sessions_s(time_s[part]) - DELAY_SAMPLES / rate_hz
        rows = values[part]
        held[placement] = HeldSensor(shown_s, rows[:, :3], rows[:, 3:], rate_hz)
    found = shared_movement(held, start_s, end_s)
    if found is None:
        return None
    middle_s = 0.5 * (start_s + end_s)
    device_s = {p: float(lines[p].device_s(middle_s + late)) for p, late in found.late_s.items()}
    return SharedInstant(device_s, {p: lines[p].segment for p in device_s}, found.sigma_s)
