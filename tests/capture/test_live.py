"""A live session gives what the analysis of its recording gives, to the last character."""

from __future__ import annotations

import asyncio
import random
import time
from dataclasses import replace
from pathlib import Path

import pytest

from imujump import contract
from imujump.capture.events import CapturedPacket
from imujump.live import EVENTS_KEPT, LiveSession
from imujump.model import Placement
from imujump.pipeline.engine import Engine, analyse
from imujump.pipeline.revision import SAME_EVENT_S, Standing
from imujump.recording.files import open_recording
from imujump.recording.keeper import RecordingKeeper
from imujump.replay import Replay

from .jumps import session, write_session

MOST_APART_MPS = 0.5
"""Early from final speed: 0.2 m/s when the clocks agree, and at 3 to 4 m/s² of setting off some
0.08 s by which the shuffled packets' delays set pelvis and foot apart."""


@pytest.fixture(scope="module")
def source_file(tmp_path_factory) -> Path:
    return write_session(tmp_path_factory.mktemp("live") / "source.imujump")


class Shuffled:
    """A replay whose packets come in another order between the sensors, with other stamps."""

    def __init__(self, replay: Replay, chance: random.Random) -> None:
        self.recorded_sensors, self.states = replay.recorded_sensors, ()
        self._replay, self._chance = replay, chance

    async def __aiter__(self):
        delay_s = {place: self._chance.uniform(0.0, 0.08) for place in Placement}
        latest_s = dict.fromkeys(Placement, 0.0)
        events = []
        async for event in self._replay:
            assert isinstance(event, CapturedPacket)
            place = event.placement
            came_s = event.arrival_s + delay_s[place] + self._chance.expovariate(1 / 0.02)
            latest_s[place] = max(latest_s[place] + 1e-6, came_s)
            events.append(replace(event, arrival_s=latest_s[place]))
        stamp_us = 0
        for event in sorted(events, key=lambda e: e.arrival_s):
            stamp_us = max(stamp_us + 1, round(event.arrival_s * 1e6))
            if self._chance.random() < 0.02:
                await asyncio.sleep(self._chance.uniform(0.0, 0.003))
            yield replace(event, arrival_s=stamp_us / 1e6)


def run_live(source, path: Path):
    async def run():
        told = []
        with RecordingKeeper(path, source.recorded_sensors) as keeper:
            async with LiveSession(source, keeper) as live:

                async def watch():
                    async for update in live.updates():
                        told.extend(update.events)

                watcher = asyncio.create_task(watch())
                analysis = await live.follow()
                await watcher
                return analysis, told, live.snapshot()

    return asyncio.run(run())


@pytest.mark.parametrize("seed", [1, 2])
def test_live_equals_the_analysis_of_the_file_made(source_file, tmp_path, monkeypatch, seed):
    """Other interleaving, other timing of the engine's thread: the same document."""
    chance = random.Random(seed)
    push = Engine.push

    def slow_push(engine, batch):
        if chance.random() < 0.03:
            time.sleep(chance.uniform(0.0, 0.004))
        return push(engine, batch)

    monkeypatch.setattr(Engine, "push", slow_push)
    with Replay(source_file, speed=None) as replay:
        source = Shuffled(replay, random.Random(seed))
        analysis, told, snapshot = run_live(source, tmp_path / "made.imujump")
    monkeypatch.undo()
    offline = analyse(open_recording(tmp_path / "made.imujump"))
    assert contract.line(analysis, "made") == contract.line(offline, "made")
    assert len(analysis.attempts) == 2
    assert snapshot.finished
    assert snapshot.attempts == analysis.attempts

    # What subscribers know of an attempt's events in the end is what the attempt says.
    last = {each.known.number: each.known for each in told}
    for attempt in analysis.attempts:
        final = [k.event for k in last.values() if k.attempt == attempt.number]
        kept = [
            k.event
            for k in last.values()
            if k.attempt == attempt.number and k.standing is Standing.FINAL
        ]
        assert sorted(kept, key=lambda e: e.time_s) == list(attempt.events)
        assert len(final) >= len(kept)
    # Told once early and revised at most once.
    tellings = [each.known.number for each in told if each.known.speed_mps is None]
    assert max(map(tellings.count, tellings)) <= 2
    # Speeds are told with early strikes only, and near what the attempt says in the end.
    sped = [each.known for each in told if each.known.speed_mps is not None]
    assert all(k.standing is Standing.EARLY for k in sped)
    steps = [step for attempt in analysis.attempts for step in attempt.steps]
    apart_mps = [
        k.speed_mps - step.speed_mps.value
        for k in sped
        for step in steps
        if step.side is k.event.side and abs(step.strike_s - k.event.time_s) < SAME_EVENT_S
    ]
    assert len(apart_mps) > 0.7 * len(steps)
    assert max(map(abs, apart_mps)) < MOST_APART_MPS
    first = [each for each in told if each.early is not None]
    assert all(each.known.standing is Standing.EARLY for each in first)
    assert len(first) > 0.7 * sum(len(attempt.events) for attempt in analysis.attempts)


def test_a_plain_replay_equals_the_recording_replayed(source_file, tmp_path):
    with Replay(source_file, speed=None) as replay:
        analysis, _, snapshot = run_live(replay, tmp_path / "copy.imujump")
    assert contract.line(analysis, "x") == contract.line(analyse(open_recording(source_file)), "x")
    for state in snapshot.sensors:
        assert state.rate_hz == pytest.approx(200.0, rel=0.05)
        assert state.linked


def test_a_subscriber_that_lags_gets_the_newest_and_a_count(source_file, tmp_path):
    async def run():
        with Replay(source_file, speed=None) as replay:
            async with LiveSession(replay) as live:
                slow = live.updates()
                first = await anext(slow)
                await live.follow()
                # Nothing was kept for the slow one but what everyone shares.
                second = await anext(slow)
                with pytest.raises(StopAsyncIteration):
                    await anext(slow)
                return first, second

    first, second = asyncio.run(run())
    assert first.snapshot.version < second.snapshot.version
    assert second.snapshot.finished
    assert len(second.events) <= EVENTS_KEPT
    assert second.missed == 0
    assert len(second.events) > 30


def test_more_events_than_are_kept_are_counted_as_missed(source_file, monkeypatch):
    monkeypatch.setattr("imujump.live.EVENTS_KEPT", 10)

    async def run():
        with Replay(source_file, speed=None) as replay:
            async with LiveSession(replay) as live:
                slow = live.updates()
                await anext(slow)
                await live.follow()
                return await anext(slow)

    update = asyncio.run(run())
    assert len(update.events) == 10
    assert update.missed > 20


def test_a_fault_of_the_analysis_does_not_end_the_recording(source_file, tmp_path, monkeypatch):
    def broken(engine, batch):
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(Engine, "push", broken)
    with Replay(source_file, speed=None) as replay:
        _, _, snapshot = run_live(replay, tmp_path / "kept.imujump")
    monkeypatch.undo()
    assert any("the recording goes on" in text for text in snapshot.warnings)
    assert len(analyse(open_recording(tmp_path / "kept.imujump")).attempts) == 2


def test_marks_are_recorded(source_file, tmp_path):
    async def run():
        with (
            Replay(source_file, speed=None) as replay,
            RecordingKeeper(tmp_path / "m.imujump", replay.recorded_sensors) as keeper,
        ):
            async with LiveSession(replay, keeper) as live:
                live.mark("warm")
                await live.follow()
                return live.snapshot(), live.analysis

    snapshot, analysis = asyncio.run(run())
    assert snapshot.marks == 1
    assert [mark.text for mark in analysis.marks] == ["warm"]
    assert analyse(open_recording(tmp_path / "m.imujump")).marks == analysis.marks


def test_a_replay_keeps_its_pace(source_file):
    """20 s replayed at 40 times real time last half a second."""

    async def run():
        with Replay(source_file, speed=40.0) as replay:
            begin = time.perf_counter()
            count = 0
            async for _ in replay:
                count += 1
            return count, time.perf_counter() - begin

    recording, _ = session()
    count, took_s = asyncio.run(run())
    assert count == len(recording.packets)
    span_s = recording.packets[-1].arrival_s - recording.packets[0].arrival_s
    assert took_s == pytest.approx(span_s / 40.0, abs=0.3)
