"""Kill a writing process at fifty random instants: every file opens, at most 0.2 s is lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from imujump.recording.packing import pack_file
from recording.made_up import quiet_packets
from recording.test_recording_file import drain, stored

RUNS = 50
PROMISED_S = 0.2


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork to kill many writers quickly")
@pytest.mark.parametrize("which", ["writer", "keeper"])
def test_fifty_kills(tmp_path, which):
    tests = Path(__file__).resolve().parent.parent
    done = subprocess.run(
        [
            sys.executable,
            str(tests / "recording/killed_writer.py"),
            str(tmp_path),
            str(RUNS),
            "3",
            which,
        ],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tests), str(tests.parent)])},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    _, _, packets = quiet_packets(seconds=60.0)
    runs = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(runs) == RUNS
    unpacked = lost = 0
    for run in runs:
        folder = Path(run["folder"])
        for number, ages in run["ages"].items():
            path = folder / f"{number}.imujump"
            read = stored(path)
            assert read == packets[: len(read)]
            due = sum(age > PROMISED_S for age in ages)
            assert len(read) >= due, f"{path}: {len(read)} packets, {due} were due"
            lost = max(lost, len(ages) - len(read))
            if path.with_name(path.name + "-wal").exists():
                unpacked += 1
                batches, _ = drain(path)
                assert len(batches) == len(read)
                pack_file(path)
                assert stored(path) == read
        # Whatever else lies there under a recording's name opens too.
        for path in folder.glob("*.imujump"):
            drain(path)
    # Otherwise the kills did not hit writers at work and the test would prove nothing.
    assert unpacked > RUNS // 3
    assert lost > 0
