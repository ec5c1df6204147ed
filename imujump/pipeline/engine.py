"""The engine: batches in, attempts out; live and offline are the same code.

``push`` takes batches of any size, sensors interleaved in any way, each sensor's own in order;
``finish`` ends the recording. Attempts depend on the samples and their recorded arrival alone,
never on how they were cut into batches.

When an action closes (:mod:`imujump.pipeline.action`), its whole window is analysed at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import (
    Analysis,
    Attempt,
    ClockReading,
    Mark,
    Placement,
    RecordingInfo,
    SampleBatch,
    SampleSource,
)
from imujump.pipeline.action import LONGEST_APPROACH_S, Action
from imujump.pipeline.attempt_motion import AttemptMotion
from imujump.pipeline.clock import SessionClock
from imujump.pipeline.feeding import feed
from imujump.pipeline.hopeless import why_hopeless
from imujump.pipeline.preview import as_preview
from imujump.pipeline.screening import (
    LOOK_S,
    SPAN_S,
    WEIGHTLESS_PELVIS_MPS2,
    WEIGHTLESS_SHANK_MPS2,
    Look,
    Looks,
    look,
)
from imujump.pipeline.sensor_followed import SensorFollowed
from imujump.pipeline.shared_instant import RestedSpells
from imujump.pipeline.streams import SensorStream
from imujump.pipeline.upkeep import Upkeep
from imujump.pipeline.windows import Found, Span, analyse_span

KEEP_S = 60.0
"""Samples are kept this long: a stand, a long action and the stand after it."""

OFFLINE_STRIDE_S = 20.0
"""Offline, looks are taken this often: fewer and larger steps, the same looks."""


class Engine:
    """Push batches, collect attempts.

    Parameters
    ----------
    info : RecordingInfo
        The head of the recording: which sensors there are.
    gravity_mps2 : float
        Local gravity.
    stride_s : float
        Least new stream of each sensor between two rounds of work; results do not depend on
        it.
    on_motion : callable, optional
        Told each attempt together with the motion behind it.
    around_s : float, optional
        Only the action about this instant is analysed; its attempts are those that are found
        without it, but for their numbers.

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
        on_motion: Callable[[Attempt, AttemptMotion], None] | None = None,
        around_s: float | None = None,
    ) -> None:
        self.info = info
        self.gravity_mps2 = gravity_mps2
        self._round_s = stride_s * len(info.sensors)
        self._on_motion, self._around_s = on_motion, around_s
        self._sensors = {
            s.placement: SensorFollowed(SensorStream(s), Looks(), Upkeep(s)) for s in info.sensors
        }
        self._clock = SessionClock(info.sensors)
        self._together = Looks()
        self._spells = RestedSpells()
        self._action = Action(self._together)
        self._claimed_until_s = -math.inf
        self._untouched_s = 0.0
        self._attempts: list[Attempt] = []
        self._warnings: dict[str, None] = {}
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
        before_s = sensor.stream.last_time_s
        sensor.stream.append(batch)
        after_s = sensor.stream.last_time_s
        if before_s is not None and after_s is not None:
            self._untouched_s += after_s - before_s
        if batch.arrival_s > sensor.horizon_s:
            sensor.horizon_s = batch.arrival_s
        return () if self._untouched_s < self._round_s else self._proceed(last=False)

    def read_clock(self, reading: ClockReading) -> None:
        """Take in a reading of a sensor's clock, before its packets that arrive later.

        Raises
        ------
        ValueError
            If the sensor is not in the recording's head or its readings are out of order.
        """
        if reading.placement not in self._sensors:
            raise ValueError(
                f"clock reading of {reading.placement}, which the recording does not list"
            )
        self._clock.read(reading)

    def advance(self, arrival_s: float) -> tuple[Attempt, ...]:
        """Say that all packets and readings that arrived until ``arrival_s`` have been pushed.

        Without it a sensor that falls silent holds up the others until the recording's end.
        """
        for sensor in self._sensors.values():
            sensor.horizon_s = max(sensor.horizon_s, arrival_s)
        return () if self._untouched_s < self._round_s else self._proceed(last=False)

    def finish(self) -> Analysis:
        """End the recording and return its analysis."""
        streams = self._streams()
        if not self._finished:
            for sensor in self._sensors.values():
                sensor.horizon_s = math.inf
            self._proceed(last=True)
            for placement, stream in streams.items():
                if placement not in self._clock.courses and len(stream):
                    self._clock.join(placement, stream)
            self._finished = True
        starts, ends = self._clock.starts_s(streams), self._clock.ends_s(streams)
        duration_s = max(ends.values(), default=0.0)
        reports = tuple(
            s.upkeep.report(ends.get(p), starts.get(p), duration_s)
            for p, s in self._sensors.items()
        )
        own = [w for s in self._sensors.values() for w in s.upkeep.warnings()]
        found = bool(self._attempts or self._warnings)
        own += why_hopeless(tuple(self._sensors), duration_s, found=found)
        return Analysis(
            self.info.started_utc,
            duration_s,
            reports,
            tuple(dict.fromkeys((*self.info.warnings, *own, *self._warnings))),
            tuple(self._attempts),
            tuple(
                Mark(self._clock.since_start_s(mark.time_s), mark.text) for mark in self.info.marks
            ),
        )

    @property
    def samples_held(self) -> int:
        """Number of samples in memory, all sensors together."""
        return sum(len(sensor.stream) for sensor in self._sensors.values())

    @property
    def looks_held(self) -> int:
        """Number of looks in memory, those of all sensors together included."""
        own = sum(len(s.looks) - s.looks.dropped for s in self._sensors.values())
        return own + len(self._together) - self._together.dropped

    def _streams(self) -> dict[Placement, SensorStream]:
        return {p: sensor.stream for p, sensor in self._sensors.items()}

    def _proceed(self, last: bool) -> tuple[Attempt, ...]:
        """Take all looks and decisions that the received samples allow."""
        self._untouched_s = 0.0
        for placement, sensor in self._sensors.items():
            received = sensor.stream.settle()
            if received is not None:
                sensor.upkeep.take(received)
                self._clock.take(placement, received)
        if not self._clock.courses:
            horizons = {p: sensor.horizon_s for p, sensor in self._sensors.items()}
            if not self._clock.start(self._streams(), horizons):
                return ()
        before = len(self._attempts)
        self._look()
        while self._decide_next(last):
            pass
        if last and self._action.first is not None:
            self._close(self._action.first, len(self._together) - 1)
        self._forget()
        return tuple(self._attempts[before:])

    def _look(self) -> None:
        for placement in self._clock.courses:
            sensor = self._sensors[placement]
            look(sensor.stream, sensor.looks, self._clock.follow(placement, sensor.stream))

    def _forget(self) -> None:
        """Drop samples and looks that no attempt to come can need."""
        decided = len(self._together)
        oldest_s = LOOK_S * decided - KEEP_S
        if self._action.first is not None:
            oldest_s = min(oldest_s, LOOK_S * self._action.first - LONGEST_APPROACH_S - 3.0)
        self._together.drop_before(round(oldest_s / LOOK_S))
        for placement, course in self._clock.courses.items():
            device_s = float(course.device_s(np.array((oldest_s,)))[0])
            self._sensors[placement].stream.drop_before(device_s)
            self._sensors[placement].looks.drop_before(decided)
            self._clock.forget(placement, device_s)

    def _decide_next(self, last: bool) -> bool:
        """Decide on the next look of all sensors together, if it is complete."""
        k = len(self._together)
        looks = [(p, s := self._sensors[p], s.looks.at(k)) for p in self._clock.courses]
        arrivals_s = [found.arrival_s for _, _, found in looks if found is not None]
        if not arrivals_s:
            return False
        arrival_s = min(arrivals_s)
        if not last and len(arrivals_s) < len(looks):
            awaited = [sensor for _, sensor, found in looks if found is None]
            if any(s.horizon_s <= s.waited_for_s(arrival_s) for s in awaited):
                return False
        if len(looks) < len(self._sensors):
            joined = self._let_join(k, arrival_s, last)
            if joined is not None:
                return joined
        seen = {}
        for placement, sensor, found in looks:
            if found is None:
                sensor.looks.add_unseen()
            if sensor.takes_part(found, arrival_s) and found is not None and found.seen:
                seen[placement] = found
        pelvis = seen.get(Placement.PELVIS)
        if pelvis is not None:
            force = pelvis.force_mps2
            weightless = force < WEIGHTLESS_PELVIS_MPS2
        else:
            force = min((found.force_mps2 for found in seen.values()), default=math.inf)
            weightless = force < WEIGHTLESS_SHANK_MPS2
        still = bool(seen) and all([found.still for found in seen.values()])
        # What is lost while somebody moves may have been a flight.
        if pelvis is None and Placement.PELVIS in self._clock.courses:
            weightless |= k > self._together.dropped and not self._together[k - 1].still
        self._together.add(Look(still, bool(seen), force, arrival_s))
        moved = self._spells.follow(still)
        if moved is not None:
            ends_s = (LOOK_S * moved, LOOK_S * k)
            waited_s = {p: s.waited_for_s(arrival_s) for p, s, _ in looks}
            self._clock.settle_between(self._streams(), *ends_s, arrival_s, waited_s)
        if self._action.follow(k, weightless):
            assert self._action.first is not None
            self._close(self._action.first, k)
        return True

    def _let_join(self, k: int, arrival_s: float, last: bool) -> bool | None:
        """Let late sensors in before look k, which was complete at ``arrival_s``.

        Returns
        -------
        bool or None
            True when one has joined, False when one may still join in time, None when look k
            can be decided without the rest.
        """
        for placement, late in self._sensors.items():
            if placement in self._clock.courses:
                continue
            joins_s = self._clock.joins_s(late.stream)
            if joins_s is None and not last and late.horizon_s < arrival_s:
                return False
            if joins_s is not None and joins_s < arrival_s:
                late.looks.skip_to(k)
                self._clock.join(placement, late.stream)
                self._look()
                return True
        return None

    def preview(self) -> Attempt | None:
        """Return the newest attempt of an action that is about to close, once for each flight.

        It is not final, depends on when it is asked for, and changes nothing that follows; see
        :mod:`imujump.pipeline.preview`.
        """
        k, first = len(self._together) - 1, self._action.first
        if first is None or not self._action.asks_for_preview(k):
            return None
        motions = self._analysed(first, k).motions
        if not motions:
            return None
        return as_preview(motions[-1].attempt(), len(self._attempts) + len(motions))

    @property
    def in_action(self) -> bool:
        """Whether there was a weightless moment whose window has not closed."""
        return self._action.first is not None

    def _close(self, first: int, k: int) -> None:
        """End the action that began with look ``first`` with look k."""
        self._action.end()
        found = self._analysed(first, k)
        for motion in found.motions:
            attempt = replace(motion.attempt(), number=len(self._attempts) + 1)
            self._attempts.append(attempt)
            self._claimed_until_s = attempt.landing_s
            if self._on_motion is not None:
                self._on_motion(attempt, motion)
        self._warnings |= dict.fromkeys(found.warnings)

    def _analysed(self, first: int, k: int) -> Found:
        """Analyse the action that begins with look ``first``, up to look k."""
        start_s, anchored = self._action.opening_s(first)
        end_s = k * LOOK_S
        arrival_s = self._together[k].arrival_s
        streams, lines = {}, self._clock.lines(arrival_s, self._streams())
        waited_s = {p: self._sensors[p].waited_for_s(arrival_s) for p in lines}
        span = Span(
            start_s,
            end_s,
            anchored,
            max(self._claimed_until_s, first * LOOK_S - 1.5),
            max(waited_s.values()),
            self.gravity_mps2,
        )
        if self._around_s is not None and not span.after_s <= self._around_s <= end_s:
            return Found((), ())
        # What arrives past the last look's span or too late may be here already, or not.
        for p, line in lines.items():
            whole = self._sensors[p].stream
            until_s = float(line.device_s(end_s + SPAN_S / 2))
            stream = whole.as_of(until_s, waited_s[p])
            if stream.last_time_s is not None and stream.last_time_s > line.device_s(start_s):
                streams[p] = stream
        return analyse_span(span, streams, lines) if streams else Found((), ())


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
    return analyse_with_motion(source, None, gravity_mps2)


def analyse_with_motion(
    source: SampleSource,
    on_motion: Callable[[Attempt, AttemptMotion], None] | None,
    gravity_mps2: float = STANDARD_GRAVITY_MPS2,
    around_s: float | None = None,
) -> Analysis:
    """Analyse a recording, as :func:`analyse`, and hand over each attempt's motion.

    With ``around_s`` only the action about that instant is analysed, which is quicker.
    """
    engine = Engine(source.info, gravity_mps2, OFFLINE_STRIDE_S, on_motion, around_s)
    feed(engine, source)
    # Some warnings and marks are known to a source only once it has been read to its end.
    engine.info = source.info
    return engine.finish()
