"""The engine: batches in, attempts out; live and offline are the same code.

``push`` takes batches of any size, sensors interleaved in any way, each sensor's own in order;
``finish`` ends the recording. Attempts depend on the samples and their recorded arrival alone,
never on how they were cut into batches.

An attempt's window opens at the last stand before a weightless moment and closes at the next
stand of a second, or four seconds after the last weightless moment. Then the whole window is
analysed at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import (
    Analysis,
    Attempt,
    Placement,
    RecordingInfo,
    SampleBatch,
    SampleSource,
)
from imujump.pipeline.screening import (
    LOOK_S,
    SPAN_S,
    WEIGHTLESS_PELVIS_MPS2,
    WEIGHTLESS_SHANK_MPS2,
    Looks,
    look,
)
from imujump.pipeline.streams import SensorStream, clock_offsets_s
from imujump.pipeline.upkeep import Upkeep
from imujump.pipeline.windows import Span, analyse_span

FIRST_CLOCK_S = 10.0
"""Stream from which the sensors' clocks are first set against each other."""

KEEP_S = 60.0
"""Samples are kept this long: a stand, a long action and the stand after it."""

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

LATE_S = 3.0
"""Samples that arrive this much later than the other sensors' count as lost (own choice:
reconnecting and replaying takes a second or two)."""

OFFLINE_STRIDE_S = 1.0
"""Offline, looks are taken this often: fewer and larger steps, the same looks."""


@dataclass(slots=True)
class _Sensor:
    stream: SensorStream
    looks: Looks
    upkeep: Upkeep
    horizon_s: float = -float("inf")


class Engine:
    """Push batches, collect attempts.

    Parameters
    ----------
    info : RecordingInfo
        The head of the recording: which sensors there are.
    gravity_mps2 : float
        Local gravity.
    stride_s : float
        Least new stream between two rounds of work; results do not depend on it.

    Examples
    --------
    >>> from imujump.model import SensorInfo
    >>> sensor = SensorInfo(Placement.PELVIS, "P1", rate_hz=100.0, tick_s=0.01)
    >>> engine = Engine(RecordingInfo((sensor,)))
    >>> engine.finish().attempts
    ()
    """

    def __init__(
        self,
        info: RecordingInfo,
        gravity_mps2: float = STANDARD_GRAVITY_MPS2,
        stride_s: float = 0.0,
    ) -> None:
        self.info = info
        self.gravity_mps2 = gravity_mps2
        self._stride_s = stride_s
        self._sensors = {
            s.placement: _Sensor(SensorStream(s), Looks(), Upkeep(s)) for s in info.sensors
        }
        self._shift_s: dict[Placement, float] | None = None
        self._still: list[bool] = []
        self._arrival_s: list[float] = []
        self._action: tuple[int, int] | None = None
        self._claimed_until_s = -float("inf")
        self._worked_until_s = -float("inf")
        self._attempts: list[Attempt] = []
        self._warnings: list[str] = []
        self._finished = False

    def push(self, batch: SampleBatch) -> tuple[Attempt, ...]:
        """Take in a batch and return the attempts that it completes.

        Raises
        ------
        ValueError
            If the sensor is not in the recording's head, its batches are out of order, or
            the engine has finished.
        """
        if self._finished:
            raise ValueError("push after finish: start a new Engine for another recording")
        sensor = self._sensors.get(batch.placement)
        if sensor is None:
            raise ValueError(f"batch of {batch.placement}, which the recording does not list")
        sensor.stream.append(batch)
        sensor.upkeep.take(batch)
        sensor.horizon_s = max(sensor.horizon_s, batch.arrival_s)
        return self._proceed(last=False)

    def advance(self, arrival_s: float) -> tuple[Attempt, ...]:
        """Say that all packets that arrived until ``arrival_s`` have been pushed."""
        for sensor in self._sensors.values():
            sensor.horizon_s = max(sensor.horizon_s, arrival_s)
        return self._proceed(last=False)

    def finish(self) -> Analysis:
        """End the recording and return its analysis."""
        if not self._finished:
            for sensor in self._sensors.values():
                sensor.horizon_s = float("inf")
            self._proceed(last=True)
            self._finished = True
        ends = self._ends_s()
        duration_s = max(ends.values(), default=0.0)
        reports = tuple(
            s.upkeep.report(ends.get(p), self._starts_s().get(p), duration_s)
            for p, s in self._sensors.items()
        )
        own = [w for s in self._sensors.values() for w in s.upkeep.warnings(duration_s)]
        return Analysis(
            self.info.started_utc,
            duration_s,
            reports,
            tuple(dict.fromkeys((*self.info.warnings, *own, *self._warnings))),
            tuple(self._attempts),
        )

    def _starts_s(self) -> dict[Placement, float]:
        shift = self._shift_s or {}
        return {
            p: s.stream.first_time_s + shift.get(p, 0.0)
            for p, s in self._sensors.items()
            if s.stream.first_time_s is not None
        }

    def _ends_s(self) -> dict[Placement, float]:
        """Session time of each sensor's last sample."""
        shift = self._shift_s or {}
        return {
            p: s.stream.last_time_s + shift.get(p, 0.0)
            for p, s in self._sensors.items()
            if s.stream.last_time_s is not None
        }

    def _start_clock(self, last: bool) -> bool:
        """Set the sensors' clocks against each other once enough has been received."""
        live = {p: s for p, s in self._sensors.items() if s.stream.first_time_s is not None}
        if not live:
            return False
        begins = {p: s.stream.first_time_s or 0.0 for p, s in live.items()}
        if not last:
            ready = all(
                (s.stream.last_time_s or 0.0) >= begins[p] + FIRST_CLOCK_S for p, s in live.items()
            )
            silent = [s for p, s in self._sensors.items() if p not in live]
            # A sensor that stays silent must not hold up the others for ever.
            if not ready or any(s.horizon_s < FIRST_CLOCK_S + LATE_S for s in silent):
                return False
        streams = {p: s.stream for p, s in live.items()}
        offsets = clock_offsets_s(streams, {p: t + FIRST_CLOCK_S for p, t in begins.items()})
        zero = min(begins[p] + offsets[p] for p in live)
        self._shift_s = {p: offsets[p] - zero for p in live}
        return True

    def _proceed(self, last: bool) -> tuple[Attempt, ...]:
        """Take all looks and decisions that the received samples allow."""
        if self._shift_s is None and not self._start_clock(last):
            return ()
        assert self._shift_s is not None
        ends = {p: t for p, t in self._ends_s().items() if p in self._shift_s}
        reach = min(ends.values()) if not last else max(ends.values())
        if not last and reach < self._worked_until_s + self._stride_s:
            return ()
        self._worked_until_s = reach
        before = len(self._attempts)
        for p in self._shift_s:
            sensor = self._sensors[p]
            assert sensor.stream.last_time_s is not None
            look(sensor.stream, sensor.looks, -self._shift_s[p], sensor.stream.last_time_s)
        while self._decide_next(last):
            pass
        if last and self._action is not None:
            self._close(len(self._still) - 1)
        oldest_s = LOOK_S * len(self._still) - KEEP_S
        if self._action is not None:
            oldest_s = min(oldest_s, LOOK_S * self._action[0] - LONGEST_APPROACH_S - 3.0)
        for p, shift in self._shift_s.items():
            self._sensors[p].stream.drop_before(oldest_s - shift)
        return tuple(self._attempts[before:])

    def _decide_next(self, last: bool) -> bool:
        """Decide on the next look of all sensors together, if it is complete."""
        assert self._shift_s is not None
        k = len(self._still)
        sensors = {p: self._sensors[p] for p in self._shift_s}
        at_hand = [s for s in sensors.values() if len(s.looks) > k]
        if not at_hand:
            return False
        arrival_s = min((s.looks.arrival_s[k] for s in at_hand if s.looks.seen[k]), default=None)
        for sensor in sensors.values():
            if len(sensor.looks) > k:
                continue
            waited_s = arrival_s if arrival_s is not None else float("inf")
            if not last and sensor.horizon_s <= waited_s + LATE_S:
                return False
            sensor.looks.add_unseen()
        if arrival_s is None:
            self._still.append(False)
            self._arrival_s.append(self._arrival_s[-1] if self._arrival_s else 0.0)
            return True
        seen = {
            p: s.looks
            for p, s in sensors.items()
            if s.looks.seen[k] and s.looks.arrival_s[k] <= arrival_s + LATE_S
        }
        self._still.append(all(looks.still[k] for looks in seen.values()))
        self._arrival_s.append(arrival_s)
        if Placement.PELVIS in seen:
            weightless = seen[Placement.PELVIS].force_mps2[k] < WEIGHTLESS_PELVIS_MPS2
        else:
            weightless = any(s.force_mps2[k] < WEIGHTLESS_SHANK_MPS2 for s in seen.values())
        self._follow_action(k, weightless)
        return True

    def _follow_action(self, k: int, weightless: bool) -> None:
        if self._action is None:
            if weightless:
                self._action = (k, k)
            return
        first, latest = self._action
        if weightless:
            latest = k
            self._action = (first, latest)
        stand = round(CLOSING_STAND_S / LOOK_S)
        rested = k - latest >= stand and all(self._still[k - stand + 1 : k + 1])
        if (
            rested
            or (k - latest) * LOOK_S >= CLOSING_WAIT_S
            or (k - first) * LOOK_S >= LONGEST_ACTION_S
        ):
            self._close(k)

    def _close(self, k: int) -> None:
        """Analyse the action that ends with look k."""
        assert self._action is not None
        assert self._shift_s is not None
        first, _ = self._action
        self._action = None
        start_s, anchored = self._opening_s(first)
        end_s = k * LOOK_S
        span = Span(
            start_s,
            end_s,
            anchored,
            max(self._claimed_until_s, first * LOOK_S - 1.5),
            self._arrival_s[k] + LATE_S,
            self.gravity_mps2,
        )
        streams = {p: self._sensors[p].stream for p in self._shift_s}
        found = analyse_span(span, streams, self._shift_s)
        for attempt in found.attempts:
            self._attempts.append(replace(attempt, number=len(self._attempts) + 1))
            self._claimed_until_s = attempt.landing_s
        self._warnings.extend(found.warnings)

    def _opening_s(self, first: int) -> tuple[float, bool]:
        """Start of the window before look ``first``, and whether it is a stand."""
        need = round(OPENING_STAND_S / LOOK_S)
        oldest = max(0, first - round(LONGEST_APPROACH_S / LOOK_S))
        run = 0
        for k in range(first - 1, oldest - 1, -1):
            run = run + 1 if self._still[k] else 0
            if run == need:
                begin = k
                while begin > oldest and self._still[begin - 1] and k - begin < 12:
                    begin -= 1
                return max(begin * LOOK_S - SPAN_S / 2, 0.0), True
        return max(first * LOOK_S - UNANCHORED_S, 0.0), False


def analyse(source: SampleSource, gravity_mps2: float = STANDARD_GRAVITY_MPS2) -> Analysis:
    """Analyse a whole recording.

    Parameters
    ----------
    source : SampleSource
        Read once from front to back, batches in order of arrival.
    gravity_mps2 : float
        Local gravity; see :func:`imujump.constants.normal_gravity_mps2`.

    Returns
    -------
    Analysis
        Attempts, sensor reports and warnings.
    """
    engine = Engine(source.info, gravity_mps2, OFFLINE_STRIDE_S)
    for batch in source.batches():
        engine.push(batch)
        engine.advance(batch.arrival_s)
    # Some warnings are known to a source only once it has been read to its end.
    engine.info = source.info
    return engine.finish()
