"""A device clock as a straight line against the host's, from bounds that never lie.

Device time ``t`` (ticks times the tick's nominal length) lies at host time
``t + offset + skew t``. A clock reading bounds it on both sides: the question was sent before
the device read its clock, and the answer came after. A packet bounds it on one side: it cannot
arrive before its last sample was taken.

Over a radio link that wakes at an interval, a question waits for the next waking and its answer
for one more. Asked at random moments, the shortest of the first waits goes to nothing as
readings add up; the answer's wait and the packets' do not, they only keep the pace. Hence the
pace (skew) is taken from all bounds, the place (offset) from the questions alone.

References
----------
Paxson (1998), "On calibrating measurements of packet transit times", SIGMETRICS: forward and
backward delays, robust lines through their minima. Moon, Skelly and Towsley (1999), "Estimation
and removal of clock skew from network delay measurements", INFOCOM: the line under all delays.
Both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray

USUAL_SKEW, SURPRISE = 25e-6, 20.0
"""Crystals keep within 20 to 50 ppm of their nominal rate (common practice, no source): standard
deviation, and the cost in log likelihood of being any other clock (own choice: delays of a few
seconds can look half as unlikely by chance)."""

LEAST_READINGS = 3
"""With fewer readings the packets' arrivals place the clock (own choice)."""

READING_GRAIN_S, ARRIVAL_GRAIN_S = 1e-4, 5e-4
"""Delays are not told apart more finely than this when the skew is sought: jitter of the host's
stack, beat of packets against the connection interval (own choice)."""

ARRIVAL_WEIGHT = 0.1
"""Weight of one arrival against one reading: neighbours wait alike (own choice)."""

ALONE_SIGMA_S = 3.5e-3
"""What arrivals alone leave open of a clock's place: a packet that always waits the same part of
a connection interval looks like one that does not wait. An even spread over 15 ms has 4.3 ms,
over 7.5 ms 2.2 ms (own choice between them)."""

HOST_SIGMA_S = 4e-4
"""How differently the questions of two links leave the host (own choice)."""

STALL = 4.0
"""A delay further than this many times the usual distance from the middle is a stall of the
host, and counts as that far (own choice)."""

ROUNDS, SLOPES = 5, 17
"""The skew is sought on ever finer grids: so often, on so many values."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What bounds one device clock, oldest first.

    ``asked_s`` (r, 3) holds device time, host time before the question and after the answer;
    ``arrived_s`` (n, 2) device time and the host time of its arrival, shortest delays of short
    stretches.
    """

    asked_s: FloatArray
    arrived_s: FloatArray


@dataclass(frozen=True, slots=True)
class ClockFit:
    """A device clock against the host's.

    Host time is ``device_s + offset_s + skew * (device_s - at_s)``. ``sigma_s`` is the standard
    deviation of the offset against that of another sensor on the same host, this sensor's part;
    ``readings`` counts those it rests on, none when arrivals alone place it; ``segment`` is the
    count of ticks that it holds for.
    """

    offset_s: float
    skew: float
    at_s: float
    sigma_s: float
    readings: int
    segment: int = 0

    def host_s(self, device_s: float) -> float:
        """Host time of a device time."""
        return device_s + self.offset_s + self.skew * (device_s - self.at_s)


def fit_clock(evidence: Evidence) -> ClockFit:
    """Fit a device clock.

    Parameters
    ----------
    evidence : Evidence
        At least one arrival or reading.

    Returns
    -------
    ClockFit
        The line, meant for the evidence's end and the time about it.

    Raises
    ------
    ValueError
        If there is nothing to fit.

    Notes
    -----
    The skew is the most likely one when delays scatter exponentially: the sum over questions and
    answers of ``n log(mean distance from the middle)``, which the answers' steady wait decides,
    with a prior of :data:`USUAL_SKEW` about zero. It decides as long as the recording is short,
    and lets a sensor pass whose rate is off by a percent. For arrivals it is their distance from
    the shortest.
    Arrivals count little, and not at all once there are readings: packets beat against the
    connection interval, so that their delays wander together for minutes.

    Examples
    --------
    A clock that is 50 ppm slow, asked every 2 s; questions wait 0 to 15 ms, answers 15 ms more:

    >>> t = np.arange(0.0, 400.0, 2.0)
    >>> host = 7.0 + t * (1.0 + 50e-6)
    >>> wait = np.modf(np.arange(200) * 0.618)[0] * 0.015
    >>> asked = np.stack((t, host - wait, host + 0.015), axis=1)
    >>> fit = fit_clock(Evidence(asked, np.empty((0, 2))))
    >>> round(fit.skew * 1e6), round(float(fit.host_s(398.0) - host[-1]), 4)
    (50, 0.0001)
    """
    asked, arrived = evidence.asked_s, evidence.arrived_s
    if not len(asked) and not len(arrived):
        raise ValueError("evidence holds nothing, must hold a reading or an arrival")
    at_s = float(max(part[-1, 0] for part in (asked, arrived) if len(part)))
    trusted = len(asked) >= LEAST_READINGS
    out, back, came = (
        _Delays(asked[:, 0] - at_s, asked[:, 0] - asked[:, 1], -1.0, 1.0, READING_GRAIN_S),
        _Delays(asked[:, 0] - at_s, asked[:, 2] - asked[:, 0], 1.0, 1.0, READING_GRAIN_S),
        _Delays(
            arrived[:, 0] - at_s,
            arrived[:, 1] - arrived[:, 0],
            1.0,
            ARRIVAL_WEIGHT,
            ARRIVAL_GRAIN_S,
            shortest=True,
        ),
    )
    skew = _skew([out, back] if trusted else [kind for kind in (came, back) if len(kind.time_s)])
    latest = min(float(kind.level(skew).min()) for kind in (back, came) if len(kind.time_s))
    if not trusted:
        return ClockFit(latest, skew, at_s, ALONE_SIGMA_S, 0)
    waited = out.level(skew)
    # The shortest of n waits spread evenly from 0 to w is w / (n + 1) on average.
    left = 2.0 * float(np.median(waited) - waited.min()) / len(waited)
    offset = min(left - float(waited.min()), latest)
    return ClockFit(offset, skew, at_s, float(np.hypot(left, HOST_SIGMA_S)), len(waited))


@dataclass(frozen=True, slots=True)
class _Delays:
    """Delays (n,) of one kind; ``sign`` tells whether they grow or shrink with the skew."""

    time_s: FloatArray
    delay_s: FloatArray
    sign: float
    weight: float
    grain_s: float
    shortest: bool = False

    def level(self, skew: FloatArray | float) -> FloatArray:
        """Delays (n,) or (slopes, n) with the skew taken out."""
        return np.asarray(self.delay_s - np.multiply.outer(self.sign * skew, self.time_s))

    def width(self, slopes: FloatArray) -> FloatArray:
        """How far apart the delays lie (slopes,) with each skew taken out.

        For readings their usual distance from the middle, stalls cut short; for arrivals that
        from the shortest.
        """
        left = self.level(slopes)
        if self.shortest:
            return np.asarray(left.mean(axis=1) - left.min(axis=1))
        off = np.abs(left - np.median(left, axis=1, keepdims=True))
        usual = np.median(off, axis=1, keepdims=True)
        return np.asarray(np.minimum(off, STALL * usual).mean(axis=1))

    def line(self) -> tuple[float, float]:
        """Skew by least squares, and the delays' range about that line."""
        slope = float(np.polyfit(self.time_s, self.delay_s, 1)[0])
        return self.sign * slope, float(np.ptp(self.delay_s - slope * self.time_s))


def _skew(kinds: list[_Delays]) -> float:
    """Most likely skew."""
    span_s = max(float(np.ptp(kind.time_s)) for kind in kinds)
    kinds = [kind for kind in kinds if np.ptp(kind.time_s) > 0.5 * span_s]
    if span_s <= 0.0:
        return 0.0
    # The line through the minima lies no further from that through all than delays spread.
    lines = [kind.line() for kind in kinds]
    low = min(0.0, *(slope - 4.0 * spread_s / span_s for slope, spread_s in lines))
    high = max(0.0, *(slope + 4.0 * spread_s / span_s for slope, spread_s in lines))
    best = 0.0
    for _ in range(ROUNDS):
        slopes = np.linspace(low, high, SLOPES)
        cost = SURPRISE * -np.expm1(-((slopes / USUAL_SKEW) ** 2) / (2.0 * SURPRISE))
        for kind in kinds:
            cost += kind.weight * len(kind.time_s) * np.log(kind.width(slopes) + kind.grain_s)
        k = int(np.argmin(cost))
        best, step = float(slopes[k]), float(slopes[1] - slopes[0])
        low, high = best - step, best + step
    return best
