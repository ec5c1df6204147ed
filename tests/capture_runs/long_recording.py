"""A long session through the recorder: memory stays flat and no packet is lost.

    python -m tests.capture_runs.long_recording --hours 2 --rate 400

Three sensors' packets are appended faster than in life (``--speed`` times), then the file is
closed and packed. Prints a JSON line: packets, lost, memory (resident, MB) while recording and
while packing, time and size.
"""

from __future__ import annotations

import json
import sys
import tempfile
import threading
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import click
import numpy as np

from imujump.model import Placement
from imujump.recording.captured import CapturedPacket
from imujump.recording.content import RecordingContent
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.packets import encode_packets
from imujump.recording.profiles import PacketProfile, compact_profile
from imujump.recording.row_file import RecordedSensor

PER_PACKET = 10
PLACEMENTS = tuple(Placement)
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class LongRun:
    """What a run showed; memory in megabytes."""

    hours: float
    rate_hz: float
    packets: int
    lost: int
    memory_first_mb: float
    memory_recording_mb: float
    memory_packing_mb: float
    packing_s: float
    file_mb: float


def resident_mb() -> float:
    """Memory of this process that is in RAM now."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise OSError("the system does not tell resident memory")


def minute_of_packets(profile: PacketProfile, minute: int, seed: int) -> list[bytes]:
    """One sensor's packets of a minute: a shaken sensor with white noise, counters running on."""
    rng = np.random.default_rng((seed, minute))
    count = round(MINUTE_S * profile.rate_hz / PER_PACKET)
    first = minute * count
    samples = first * PER_PACKET + np.arange(count * PER_PACKET)
    values = rng.normal(scale=0.05, size=(len(samples), 6))
    values[:, :3] += 3.0 * np.sin(2 * np.pi * 2.0 * samples / profile.rate_hz)[:, np.newaxis]
    values[:, 2] += 9.81
    ticks = np.rint(samples * profile.ticks_per_sample).astype(np.int64)
    data = encode_packets(
        profile,
        ticks.reshape(count, PER_PACKET),
        first + np.arange(count),
        values.reshape(count, PER_PACKET, 6),
    )
    return [row.tobytes() for row in data]


class PeakMemory:
    """Samples resident memory in a thread until stopped."""

    def __init__(self) -> None:
        self.peak_mb = resident_mb()
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def stop(self) -> float:
        self._done.set()
        self._thread.join()
        return self.peak_mb

    def _watch(self) -> None:
        while not self._done.wait(0.02):
            self.peak_mb = max(self.peak_mb, resident_mb())


def run(folder: Path, hours: float, rate_hz: float, speed: float) -> LongRun:
    """Record a session in ``folder`` at ``speed`` times the speed of life."""
    profile = compact_profile(rate_hz)
    path = folder / "long.imujump"
    sensors = [RecordedSensor(place, f"S{n}", profile) for n, place in enumerate(PLACEMENTS)]
    kept = RecordingKeeper(path, sensors)
    appended, first_mb, highest_mb = 0, 0.0, 0.0
    started_s = time.monotonic()
    period_s = PER_PACKET / rate_hz
    for minute in range(round(hours * 60)):
        streams = [minute_of_packets(profile, minute, n) for n in range(len(PLACEMENTS))]
        for at, packets in enumerate(zip(*streams, strict=True)):
            for number, data in enumerate(packets):
                arrival_s = minute * MINUTE_S + (at + 1) * period_s + number * 1e-3
                kept.append(CapturedPacket(PLACEMENTS[number], round(arrival_s, 6), data))
                appended += 1
            ahead_s = (minute * MINUTE_S + at * period_s) / speed
            if ahead_s > time.monotonic() - started_s:
                time.sleep(0.01)
        highest_mb = max(highest_mb, resident_mb())
        if minute == min(4, round(hours * 60) - 1):
            first_mb = resident_mb()
    began_s = time.monotonic()
    memory = PeakMemory()
    kept.close()
    packing_mb = memory.stop()
    packing_s = time.monotonic() - began_s
    content = RecordingContent(path)
    try:
        held = sum(len(chunk.sensors) for chunk in content.chunks())
    finally:
        content.close()
    return LongRun(
        hours,
        rate_hz,
        appended,
        appended - held,
        round(first_mb, 1),
        round(highest_mb, 1),
        round(packing_mb, 1),
        round(packing_s, 1),
        round(path.stat().st_size / 1e6, 1),
    )


@click.command()
@click.option("--hours", default=2.0, show_default=True, help="Length of the session.")
@click.option("--rate", default=400.0, show_default=True, help="Samples a second.")
@click.option("--speed", default=60.0, show_default=True, help="Times the speed of life.")
def main(hours: float, rate: float, speed: float) -> None:
    """Record a long session of three sensors and print what it took."""
    with tempfile.TemporaryDirectory() as folder:
        found = run(Path(folder), hours, rate, speed)
    sys.stdout.write(json.dumps(asdict(found)) + "\n")


if __name__ == "__main__":
    main()
