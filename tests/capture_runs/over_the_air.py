"""Three emulated sensors captured over a real Bluetooth stack, links dropped at random.

    python -m tests.capture_runs.over_the_air --minutes 10 --rate 400 --drops 20

The sensors run in a process of their own and number their samples. The capture records to a
file, which is then read back: every sample is looked for. Prints a JSON document.
"""

from __future__ import annotations

import asyncio
import json
import random
import sys
import tempfile
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import click
import numpy as np

from imujump.capture.crew import Crew
from imujump.capture.emulated.control import SensorControl, SensorFacts
from imujump.capture.emulated.far_rig import emulated_process
from imujump.capture.emulated.rig import Rig
from imujump.capture.events import CapturedPacket, HostClock, SensorState, StatusChange, StatusKind
from imujump.capture.finding import Radio, find_sensors
from imujump.capture.link_profile import LinkProfile
from imujump.model import Placement, SampleBatch
from imujump.recording.in_order import number_range
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.reader import RecordingReader

WARM_UP_S = 5.0
SHORTEST_S, LONGEST_S = 1.0, 10.0
APART_S = 16.0
"""Two drops of one sensor lie at least this far apart, so that each is a reconnect of its own."""


@dataclass(frozen=True, slots=True)
class Drop:
    """A link that is lost at a moment of the run, and out of reach for a while."""

    placement: Placement
    time_s: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class SensorRun:
    """What became of one sensor's samples; ``unexplained`` ones are neither there nor in a gap."""

    samples: int
    unexplained_samples: int
    doubled_samples: int
    gap_packets: int
    packets: int
    recovered_packets: int
    doubled_packets: int
    reconnects: int
    latency_p50_ms: float
    latency_p95_ms: float
    latency_p99_ms: float
    latency_max_ms: float


@dataclass(frozen=True, slots=True)
class AirRun:
    """What a run showed."""

    minutes: float
    rate_hz: float
    drops: int
    central_cpu_ratio: float
    reconnect_p50_s: float | None
    reconnect_max_s: float | None
    recovery_max_s: float | None
    clock_readings: int
    sensors: Mapping[Placement, SensorRun]


def draw_drops(count: int, length_s: float, longest_s: float, chance: random.Random) -> list[Drop]:
    """Draw drops over the run, those of one sensor well apart."""
    drops: list[Drop] = []
    for _ in range(100_000):
        if len(drops) == count:
            return sorted(drops, key=lambda drop: drop.time_s)
        drop = Drop(
            chance.choice(list(Placement)),
            chance.uniform(WARM_UP_S, length_s - longest_s - 3.0),
            chance.uniform(SHORTEST_S, longest_s),
        )
        if all(
            d.placement is not drop.placement or abs(d.time_s - drop.time_s) > APART_S
            for d in drops
        ):
            drops.append(drop)
    raise ValueError(f"drops is {count}, too many for {length_s} s")


class Watcher:
    """Notes what is needed of each event while the capture runs."""

    def __init__(self, profile: LinkProfile) -> None:
        self._tick_at = 2
        self._profile = profile
        self.live: dict[Placement, list[tuple[float, int]]] = {p: [] for p in Placement}
        self.rows: list[StatusChange] = []
        self.readings = 0

    def note(self, event: object) -> None:
        if isinstance(event, CapturedPacket):
            if not event.data[7] & 1:  # not replayed
                tick = int.from_bytes(event.data[2:6], "little")
                samples = event.data[6]
                last = tick + round((samples - 1) * self._profile.packet.ticks_per_sample)
                self.live[event.placement].append((event.arrival_s, last))
        elif isinstance(event, StatusChange):
            self.rows.append(event)
        else:
            self.readings += 1


async def capture(
    rig: Rig[SensorControl], path: Path, length_s: float, drops: list[Drop]
) -> tuple[Watcher, HostClock, tuple[SensorState, ...], dict[Placement, SensorFacts], float]:
    """Capture to a file for a while; return what was seen and the share of a core it took."""
    radio = Radio(rig.scanner_factory, rig.client_factory)
    found = await find_sensors([rig.profile], {}, radio, enough=len(rig.sensors))
    worn = {(await s.facts()).serial: place for place, s in rig.sensors.items()}
    crew_of = [replace(sensor, placement=worn[sensor.serial]) for sensor in found]
    clock = HostClock(time.monotonic_ns)
    watcher = Watcher(rig.profile)
    async with Crew(crew_of, rig.profile.packet.rate_hz, radio, clock) as crew:
        with RecordingKeeper(path, crew.recorded_sensors) as kept:
            loop = asyncio.get_running_loop()
            timers = [
                loop.call_later(d.time_s, rig.sensor(d.placement).drop_link, d.duration_s)
                for d in drops
            ]
            timers.append(loop.call_later(length_s, crew.end))
            began_s, began_cpu_s = time.monotonic(), time.process_time()
            async for event in crew:
                kept.append(event)
                watcher.note(event)
            cpu = (time.process_time() - began_cpu_s) / (time.monotonic() - began_s)
            states = crew.states
            for timer in timers:
                timer.cancel()
    facts = {place: await sensor.facts() for place, sensor in rig.sensors.items()}
    return watcher, clock, states, facts, cpu


def sample_numbers(path: Path, profile: LinkProfile) -> dict[Placement, list[np.ndarray]]:
    """Read the sample numbers (16 bits) back from the first channel, in order of measurement."""
    found: dict[Placement, list[np.ndarray]] = {place: [] for place in Placement}
    with RecordingReader(path) as reader:
        for batch in reader.batches():
            assert isinstance(batch, SampleBatch)
            raw = np.rint(batch.accel_mps2[:, 0] / profile.packet.factors[0]).astype(np.int64)
            found[batch.placement].append(raw & 0xFFFF)
    return found


def judge(
    path: Path,
    profile: LinkProfile,
    watcher: Watcher,
    clock: HostClock,
    states: tuple[SensorState, ...],
    facts: Mapping[Placement, SensorFacts],
) -> dict[Placement, SensorRun]:
    """Look for every sample in the recording."""
    numbers = sample_numbers(path, profile)
    runs = {}
    for state in states:
        place = state.placement
        seen = np.concatenate(numbers[place])
        steps = np.diff(seen) & 0xFFFF
        # The last sample made must be the last one there; what is missing must be a gap.
        end = (facts[place].samples_made - 1 - int(seen[-1])) & 0xFFFF
        missing = int(np.sum(steps[(steps > 1) & (steps < 0x8000)] - 1)) + end
        gaps = [
            number_range(row.detail)
            for row in watcher.rows
            if row.kind is StatusKind.GAP and row.placement is place
        ]
        gap_packets = sum(last - first + 1 for first, last in (g for g in gaps if g))
        per_packet = round(np.median([len(batch) for batch in numbers[place]]))
        live = np.array(watcher.live[place])
        taken_s = np.array([facts[place].clock.time_s(int(tick)) for tick in live[:, 1]])
        latency_ms = (live[:, 0] + clock.start_ns / 1e9 - taken_s) * 1e3
        p50, p95, p99 = np.percentile(latency_ms, [50, 95, 99])
        runs[place] = SensorRun(
            samples=len(seen),
            unexplained_samples=missing - gap_packets * per_packet,
            doubled_samples=int(np.sum((steps == 0) | (steps >= 0x8000))),
            gap_packets=gap_packets,
            packets=state.packets,
            recovered_packets=state.recovered,
            doubled_packets=state.doubled,
            reconnects=state.reconnects,
            latency_p50_ms=round(float(p50), 2),
            latency_p95_ms=round(float(p95), 2),
            latency_p99_ms=round(float(p99), 2),
            latency_max_ms=round(float(latency_ms.max()), 1),
        )
    return runs


def times_after(
    drops: list[Drop], rows: list[StatusChange], kind: StatusKind, detail: str
) -> list[float]:
    """From the end of each drop to the sensor's next row of that kind."""
    found = []
    for drop in drops:
        back_s = drop.time_s + drop.duration_s
        after = [
            row.time_s
            for row in rows
            if row.placement is drop.placement
            and row.kind is kind
            and row.detail.startswith(detail)
            and row.time_s >= drop.time_s
        ]
        if after:
            found.append(min(after) - back_s)
    return found


async def run(
    folder: Path,
    minutes: float,
    rate_hz: float,
    drops: int,
    buffer_s: float = 60.0,
    interval_s: float = 0.015,
    seed: int = 1,
    longest_s: float = LONGEST_S,
) -> AirRun:
    """Run sensors in a process of their own, capture them, and judge the recording."""
    length_s = minutes * 60.0
    planned = draw_drops(drops, length_s, longest_s, random.Random(seed))
    path = folder / "over_the_air.imujump"
    async with emulated_process(
        rate_hz=rate_hz,
        number_samples=True,
        buffer_s=buffer_s,
        interval_s=interval_s,
        seed=seed,
        skew_ppm={Placement.LEFT_SHANK: 20.0, Placement.RIGHT_SHANK: -30.0},
    ) as rig:
        watcher, clock, states, facts, cpu = await capture(rig, path, length_s, planned)
        profile = rig.profile
    runs = judge(path, profile, watcher, clock, states, facts)
    # Timers run from the crew's start, a moment after the session's.
    back = times_after(planned, watcher.rows, StatusKind.CONNECT, "boot=")
    whole = times_after(planned, watcher.rows, StatusKind.REPLAY, "recovered=")
    return AirRun(
        minutes,
        rate_hz,
        drops,
        round(cpu, 4),
        round(float(np.median(back)), 2) if back else None,
        round(max(back), 2) if back else None,
        round(max(whole), 2) if whole else None,
        watcher.readings,
        runs,
    )


@click.command()
@click.option("--minutes", default=10.0, show_default=True, help="Length of the capture.")
@click.option("--rate", default=400.0, show_default=True, help="Samples a second.")
@click.option("--drops", default=20, show_default=True, help="Links lost for 1 to 10 s.")
@click.option("--buffer-s", default=60.0, show_default=True, help="What a sensor's buffer holds.")
@click.option("--interval-s", default=0.015, show_default=True, help="Connection interval.")
@click.option("--seed", default=1, show_default=True, help="For other drops.")
def main(
    minutes: float, rate: float, drops: int, buffer_s: float, interval_s: float, seed: int
) -> None:
    """Capture three emulated sensors and say what was lost, doubled, recovered, and how late."""
    with tempfile.TemporaryDirectory() as folder, suppress(KeyboardInterrupt):
        found = asyncio.run(run(Path(folder), minutes, rate, drops, buffer_s, interval_s, seed))
        sys.stdout.write(json.dumps(asdict(found), indent=1) + "\n")


if __name__ == "__main__":
    main()
