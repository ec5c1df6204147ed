"""How near early step speeds are to the final ones.

    python -m tests.capture_runs.speed_score FOLDER ...

Every recording file and Motion-BIDS table below the folders is played through the early steps
and through the engine. The final speed is no truth of its own; README says how near it is to one.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

from imujump.model import SampleBatch
from imujump.pipeline.early import EarlySpeed, EarlySteps
from imujump.pipeline.engine import analyse
from imujump.pipeline.feeding import entries
from imujump.pipeline.revision import SAME_EVENT_S
from imujump.recording.files import open_recording


def early_speeds(path: Path) -> list[EarlySpeed]:
    source = open_recording(path)
    early = EarlySteps(source.info)
    for entry in entries(source):
        if isinstance(entry, SampleBatch):
            early.push(entry)
            early.advance(math.nextafter(entry.arrival_s, -math.inf))
    early.finish()
    return early.new_speeds()


def line(folder: Path) -> str:
    apart, steps = [], 0
    for path in sorted((*folder.rglob("*.imujump"), *folder.rglob("*_motion.tsv"))):
        early = early_speeds(path)
        for attempt in analyse(open_recording(path)).attempts:
            for step in attempt.steps:
                if step.speed_mps.value is None:
                    continue
                steps += 1
                same = [
                    each.speed_mps - step.speed_mps.value
                    for each in early
                    if each.strike.side is step.side
                    and abs(each.strike.time_s - step.strike_s) < SAME_EVENT_S
                ]
                apart += same[:1]
    if not apart:
        return f"{folder.name}: none of {steps} steps"
    size = np.abs(apart)
    rms, most = np.sqrt(np.mean(size**2)), np.quantile(size, 0.95)
    return (
        f"{folder.name}: {len(apart)} of {steps} steps, bias {np.mean(apart):+.3f}, "
        f"root mean square {rms:.3f}, 95 % within {most:.3f} m/s"
    )


if __name__ == "__main__":
    for name in sys.argv[1:]:
        print(line(Path(name)), flush=True)  # noqa: T201
