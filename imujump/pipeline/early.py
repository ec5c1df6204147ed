"""Foot strikes and toe-offs told while the athlete runs, as soon as they are certain.

Like the engine it takes batches in any cut and depends on the samples and their recorded arrival
alone: packets are worked on in the order of their arrival, each sensor's path sample by sample,
and what another sensor knew at that arrival is all that counts. It is a separate stage beside the
engine, which later replaces its events by those of the whole attempt; see
:mod:`imujump.pipeline.revision`.
"""

from __future__ import annotations

import heapq
import math
from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import (
    EventKind,
    GaitEvent,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
    Side,
)
from imujump.pipeline.early_foot import Foot, FootEvent
from imujump.pipeline.early_path import GRID_S, Instant, ShankPath
from imujump.pipeline.early_speed import HipPath
from imujump.pipeline.windows import FILTER_DELAY_SAMPLES

SETTING_S = 60.0
"""Span over which the shortest delay between a sample and its arrival sets a sensor's clock, as
offline before the clocks have been read."""

KEPT_LOADS = 20_000
"""Grid instants of the pelvis that are kept: 100 s, longer than any batch (own choice)."""

LOAD_WAIT_S = 0.015
"""A foot waits this long for the pelvis's samples of the same time, which may come in a later
packet; then it goes on without them (own choice: about what a strike's look-ahead takes)."""

LATEST_S = 0.055
"""An event that took longer to know is not told early but with its attempt: it would come more than
a packet too late (own choice: packets of 10 samples at 200 Hz last 50 ms)."""

HELD_STEPS = 3
"""So many grid steps beyond the last sample of the pelvis its last value stands (own choice: 15
ms, less than a flight or contact lasts)."""

SILENT_S = 0.25
"""A pelvis sensor that has sent nothing for this long is not waited for (own choice)."""

SHORTEST_STEP_S, LONGEST_STEP_S = 0.12, 0.65
"""Touchdowns of both feet that are one step apart (own choice: from a sprint to a walk, shorter
than from the plant to the landing)."""

KEPT_PACKETS = 40
"""Packets whose arrival is remembered, to tell which one held an event."""


@dataclass(frozen=True, slots=True)
class EarlyEvent:
    """A foot event and what it took to know it.

    Attributes
    ----------
    event : GaitEvent
        In seconds since the first sample of the first sensor.
    held_s : float
        Arrival of the packet that holds the event's sample.
    known_s : float
        Arrival of the packet that made it certain: as much later as the detector's look-ahead
        reaches into further packets.
    look_ahead_s : float
        From the event to the last sample that was needed.
    """

    event: GaitEvent
    held_s: float
    known_s: float
    look_ahead_s: float


@dataclass(frozen=True, slots=True)
class EarlySpeed:
    """Mean horizontal speed of the hips over the step from one strike to the next."""

    begin: GaitEvent
    strike: GaitEvent
    speed_mps: float


class _Track:
    """One sensor: its clock against the host's, its path, its packets."""

    def __init__(self, info: SensorInfo) -> None:
        self.info = info
        self.path = ShankPath(info.rate_hz)
        self.delay_s: float | None = None
        self.horizon_s = -math.inf
        self.packets: deque[tuple[float, float]] = deque(maxlen=KEPT_PACKETS)
        self._segment = 0
        self._delays: deque[tuple[float, float]] = deque()

    def time_of(self, tick: int) -> float:
        return tick * self.info.tick_s

    def enter(self, batch: SampleBatch) -> bool:
        """Enter a packet's times; return whether the sensor has just restarted."""
        restarted = batch.segment != self._segment
        if restarted:
            self._segment = batch.segment
            self._delays.clear()
            self.packets.clear()
            self.path = ShankPath(self.info.rate_hz)
        last_s = self.time_of(int(batch.ticks[-1]))
        delay_s = batch.arrival_s - last_s
        while self._delays and self._delays[-1][1] >= delay_s:
            self._delays.pop()
        self._delays.append((last_s, delay_s))
        while self._delays[0][0] < last_s - SETTING_S:
            self._delays.popleft()
        self.delay_s = self._delays[0][1]
        self.packets.append((last_s, batch.arrival_s))
        return restarted

    def arrival_of(self, device_s: float) -> float:
        """Arrival of the packet that holds a device time."""
        for last_s, arrival_s in self.packets:
            if device_s <= last_s:
                return arrival_s
        return self.packets[-1][1]


class EarlySteps:
    """Push batches, collect foot events.

    Parameters
    ----------
    info : RecordingInfo
        The head of the recording: which sensors there are.

    Notes
    -----
    ``push`` takes each sensor's batches in order; a batch is worked on once no other sensor can
    bring one that arrived before it. :meth:`advance` says so when nothing else does.
    """

    def __init__(self, info: RecordingInfo) -> None:
        self._tracks = {sensor.placement: _Track(sensor) for sensor in info.sensors}
        # Of packets that came at once, the pelvis's are looked at first: feet ask for its load.
        by_need = sorted(self._tracks, key=lambda placement: placement.side is not None)
        self._order = {placement: n for n, placement in enumerate(by_need)}
        self._waiting: list[tuple[float, int, int, SampleBatch]] = []
        self._entered = 0
        self._zero_s: float | None = None
        pelvis = self._tracks.get(Placement.PELVIS)
        self._hips = None if pelvis is None else HipPath(pelvis.info.rate_hz)
        self._last_strike: GaitEvent | None = None
        self._open_steps: deque[tuple[GaitEvent, GaitEvent, float]] = deque()
        self._speeds: list[EarlySpeed] = []
        self._loads: list[float] = []
        self._load_number = 0
        self._last_force = math.nan
        self._feet = {side: self._foot(side) for side in Side if side.shank in self._tracks}
        self._ahead: dict[Side, deque[tuple[Instant | None, float]]] = {
            side: deque() for side in self._feet
        }

    def push(self, batch: SampleBatch) -> list[EarlyEvent]:
        """Take in a batch and return the events that have become certain, in order.

        Raises
        ------
        ValueError
            If the recording does not list the sensor.
        """
        track = self._tracks.get(batch.placement)
        if track is None:
            raise ValueError(f"batch of {batch.placement}, which the recording does not list")
        if len(batch.ticks):
            place = self._order[batch.placement]
            heapq.heappush(self._waiting, (batch.arrival_s, place, self._entered, batch))
            self._entered += 1
        track.horizon_s = max(track.horizon_s, batch.arrival_s)
        return self._proceed(min(each.horizon_s for each in self._tracks.values()))

    def advance(self, arrival_s: float) -> list[EarlyEvent]:
        """Say that all packets that arrived until ``arrival_s`` have been pushed."""
        for track in self._tracks.values():
            track.horizon_s = max(track.horizon_s, arrival_s)
        return self._proceed(math.nextafter(arrival_s, math.inf))

    def finish(self) -> list[EarlyEvent]:
        """End the recording."""
        return self._proceed(math.inf)

    def new_speeds(self) -> list[EarlySpeed]:
        """Return the speeds that have become known since the last call, each after its strike."""
        speeds, self._speeds = self._speeds, []
        return speeds

    def _proceed(self, before_s: float) -> list[EarlyEvent]:
        """Work on all packets that arrived before an instant."""
        found: list[EarlyEvent] = []
        ended = 0
        while self._waiting and self._waiting[0][0] < before_s:
            packet = [heapq.heappop(self._waiting)]
            while self._waiting and self._waiting[0][:2] == packet[0][:2]:
                packet.append(heapq.heappop(self._waiting))
            self._work(_joined([batch for *_, batch in packet]), found)
            if not self._waiting or self._waiting[0][0] > packet[0][0]:
                for early in sorted(found[ended:], key=lambda each: each.event.time_s):
                    self._end_step(early.event, packet[0][0])
                self._find_speeds(packet[0][0])
                ended = len(found)
        return found

    def _work(self, batch: SampleBatch, found: list[EarlyEvent]) -> None:
        track = self._tracks[batch.placement]
        side = batch.placement.side
        if track.enter(batch):
            self._enter(side, None, batch.arrival_s)
            if side is None:
                self._hips = HipPath(track.info.rate_hz)
        if self._zero_s is None:
            self._zero_s = track.time_of(int(batch.ticks[0])) + (track.delay_s or 0.0)
        accel, gyro = batch.accel_mps2.tolist(), batch.gyro_radps.tolist()
        for tick, force, rate in zip(batch.ticks.tolist(), accel, gyro, strict=True):
            row = (*force, *rate)
            if not all(map(math.isfinite, row)):
                continue
            if side is None and self._hips is not None:
                self._hips.take(track.time_of(tick), row)
            instants = track.path.take(track.time_of(tick), row)
            if instants is None:
                self._enter(side, None, batch.arrival_s)
                continue
            for instant in instants:
                self._enter(side, instant, batch.arrival_s)
        for each in self._feet:
            self._follow(each, batch.arrival_s, found)

    def _end_step(self, event: GaitEvent, now_s: float) -> None:
        """Note the step that a strike ends."""
        if event.kind is not EventKind.FOOT_STRIKE:
            return
        before, self._last_strike = self._last_strike, event
        if before is None or before.side is event.side:
            return
        if SHORTEST_STEP_S < event.time_s - before.time_s < LONGEST_STEP_S:
            self._open_steps.append((before, event, now_s))

    def _find_speeds(self, now_s: float) -> None:
        """Tell the speed of each step once the pelvis is known until its end."""
        if self._hips is None:
            return
        late_s = (self._zero_s or 0.0) - (self._tracks[Placement.PELVIS].delay_s or 0.0)
        while self._open_steps:
            begin, end, since_s = self._open_steps[0]
            if self._hips.known_until_s < end.time_s + late_s and now_s - since_s < SILENT_S:
                return
            self._open_steps.popleft()
            speed_mps = self._hips.speed_mps(begin.time_s + late_s, end.time_s + late_s)
            if speed_mps is not None:
                self._speeds.append(EarlySpeed(begin, end, speed_mps))

    def _enter(self, side: Side | None, instant: Instant | None, arrival_s: float) -> None:
        """Take up an instant of the pelvis, or queue one of a foot; None when a sensor was lost."""
        if side is not None:
            self._ahead[side].append((instant, arrival_s))
        elif instant is None:
            self._loads.clear()
            self._last_force = math.nan
        else:
            self._enter_load(instant)

    def _follow(self, side: Side, now_s: float, found: list[EarlyEvent]) -> None:
        """Take a foot as far as the pelvis is known, or need not be waited for."""
        foot, ahead = self._feet[side], self._ahead[side]
        pelvis = self._tracks.get(Placement.PELVIS)
        waits = pelvis is not None and bool(pelvis.packets)
        if waits and pelvis is not None:
            waits = now_s - pelvis.packets[-1][1] < SILENT_S
        while ahead:
            instant, arrival_s = ahead[0]
            if instant is None:
                foot.lose()
            elif waits and now_s - arrival_s < LOAD_WAIT_S and self._load_ahead(side, instant):
                return
            else:
                event = foot.take(instant)
                if event is not None and event.seen_until_s - event.time_s <= LATEST_S:
                    found.append(self._told(side, event, now_s))
            ahead.popleft()

    def _load_ahead(self, side: Side, instant: Instant) -> bool:
        """Whether the pelvis's samples of an instant have not come yet."""
        return self._back(side, instant.number) < -HELD_STEPS

    def _back(self, side: Side, number: int) -> int:
        """How many grid steps before the pelvis's last an instant of a foot's time lies."""
        track, pelvis = self._tracks[side.shank], self._tracks[Placement.PELVIS]
        apart_s = (track.delay_s or 0.0) - (pelvis.delay_s or 0.0)
        return self._load_number - number - round(apart_s / GRID_S)

    def _enter_load(self, instant: Instant) -> None:
        """Keep the pelvis's specific force, as the mean of two grid steps."""
        before, self._last_force = self._last_force, instant.force_mps2
        if math.isnan(before):
            before = instant.force_mps2
        self._loads.append(0.5 * (before + instant.force_mps2))
        if len(self._loads) > 2 * KEPT_LOADS:
            del self._loads[:KEPT_LOADS]
        self._load_number = instant.number

    def _foot(self, side: Side) -> Foot:
        pelvis = self._tracks.get(Placement.PELVIS)

        def load(number: int) -> float | None:
            if pelvis is None or not self._loads:
                return None
            back = self._back(side, number)
            if -HELD_STEPS <= back < 0:
                back = 0
            return self._loads[-1 - back] if 0 <= back < len(self._loads) else None

        return Foot(load)

    def _told(self, side: Side, event: FootEvent, known_s: float) -> EarlyEvent:
        track = self._tracks[side.shank]
        signal_s = event.time_s + FILTER_DELAY_SAMPLES / track.info.rate_hz
        time_s = event.time_s + (track.delay_s or 0.0) - (self._zero_s or 0.0)
        return EarlyEvent(
            GaitEvent(event.kind, side, time_s, event.sigma_s),
            track.arrival_of(signal_s),
            known_s,
            event.seen_until_s - event.time_s,
        )


def _joined(pieces: list[SampleBatch]) -> SampleBatch:
    """The packet that was handed over in pieces."""
    if len(pieces) == 1:
        return pieces[0]
    return replace(
        pieces[0],
        ticks=np.concatenate([piece.ticks for piece in pieces]),
        accel_mps2=np.concatenate([piece.accel_mps2 for piece in pieces]),
        gyro_radps=np.concatenate([piece.gyro_radps for piece in pieces]),
    )
