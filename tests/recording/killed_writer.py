"""Run as a program: forks writers, kills them at random instants, reports what they knew.

    killed_writer.py FOLDER RUNS SEED [keeper]

Prints a JSON line per run: the folder of its files, and for each file the age in seconds, at
the kill, of every packet whose append had returned.
"""

from __future__ import annotations

import json
import mmap
import os
import random
import signal
import struct
import sys
import time
from pathlib import Path

from imujump.recording.captured import CapturedPacket
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.writer import RecordingWriter
from recording.made_up import quiet_packets, sensors

SLOT = struct.Struct("<Id")  # file number, monotonic time of the return from append
ROOM = 1 << 20


def appending(writer):
    """The way to append a packet, of a writer and of a keeper."""
    if isinstance(writer, RecordingKeeper):
        return lambda *packet: writer.append(CapturedPacket(*packet))
    return writer.append_packet


def write_until_killed(folder: Path, memory: mmap.mmap, closing: bool) -> None:
    profile, _, packets = PREPARED
    slot = 4
    number = 0
    while True:
        with WRITER(folder / f"{number}.imujump", sensors(profile)) as writer:
            append = appending(writer)
            for at, packet in enumerate(packets):
                append(*packet)
                memory[slot : slot + SLOT.size] = SLOT.pack(number, time.monotonic())
                slot += SLOT.size
                memory[:4] = ((slot - 4) // SLOT.size).to_bytes(4, "little")
                time.sleep(0.0004)
                if closing and at == 60:
                    break
        number += 1


def run(folder: Path, closing: bool, delay_s: float) -> dict[str, object]:
    folder.mkdir()
    memory = mmap.mmap(-1, ROOM)
    child = os.fork()
    if child == 0:
        write_until_killed(folder, memory, closing)
    time.sleep(delay_s)
    killed_s = time.monotonic()
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    count = int.from_bytes(memory[:4], "little")
    ages: dict[int, list[float]] = {}
    for slot in range(count):
        number, returned_s = SLOT.unpack_from(memory, 4 + slot * SLOT.size)
        ages.setdefault(number, []).append(killed_s - returned_s)
    memory.close()
    return {"folder": str(folder), "ages": ages}


if __name__ == "__main__":
    root, runs, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    random.seed(seed)
    WRITER = RecordingKeeper if sys.argv[4:] == ["keeper"] else RecordingWriter
    PREPARED = quiet_packets(seconds=60.0)
    for index in range(runs):
        result = run(root / str(index), index % 2 == 1, random.uniform(0.01, 0.32))
        sys.stdout.write(json.dumps(result) + "\n")
        sys.stdout.flush()
