"""How long the analysis of an hour of three sensors takes, and how much memory.

Usage: python tests/benchmarks/run.py

Prints analysis time as samples a second, against real time, and as a ratio to one
``scipy.signal.sosfiltfilt`` over the same 18 channels in the same run; and the peak memory
of the analysis of 20 and of 60 minutes, which should be the same. One core.
"""

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

# Only the standard library is imported here: a child's peak memory starts from its parent's.

SHORT_MINUTES, LONG_MINUTES = 20, 60
REPEATS = 3
ONE_CORE = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def peak_mib() -> float:
    """Give this process's peak resident memory."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1024 / (1024 if sys.platform == "darwin" else 1)


def measure(minutes: int, repeats: int) -> dict[str, float]:
    """Analyse in this process and report times (the best of the repeats) and memory."""
    from hour import BLOCK_SAMPLES, RepeatedBlock, training_block
    from scipy.signal import butter, sosfiltfilt

    from imujump.pipeline.engine import analyse

    block = training_block()
    recording = RepeatedBlock(block, minutes // 2)
    analyse(RepeatedBlock(block, 1))  # imports and caches are not the analysis
    started = time.perf_counter()
    for _ in recording.batches():
        pass
    reading_s = time.perf_counter() - started
    before_mib = peak_mib()
    analysis_s, filter_s = [], []
    attempts, after_mib = 0, 0.0
    for repeat in range(repeats):
        started = time.perf_counter()
        attempts = len(analyse(recording).attempts)
        analysis_s.append(time.perf_counter() - started)
        if repeat == 0:
            after_mib = peak_mib()
    channels = recording.channels()
    lowpass = butter(4, 20.0, fs=200.0, output="sos")
    for _ in range(repeats):
        started = time.perf_counter()
        sosfiltfilt(lowpass, channels, axis=0)
        filter_s.append(time.perf_counter() - started)
    return {
        "minutes": minutes,
        "samples": 3 * recording.repeats * BLOCK_SAMPLES,
        "attempts": attempts,
        "reading_s": reading_s,
        "analysis_s": min(analysis_s),
        "filter_s": min(filter_s),
        "before_mib": before_mib,
        "after_mib": after_mib,
    }


def in_child(minutes: int, repeats: int) -> dict[str, float]:
    """Measure in a process of its own, on one core."""
    told = subprocess.run(
        [sys.executable, __file__, str(minutes), str(repeats)],
        env={**os.environ, **dict.fromkeys(ONE_CORE, "1")},
        stdout=subprocess.PIPE,
        check=True,
    )
    measured: dict[str, float] = json.loads(told.stdout)
    return measured


def report() -> str:
    """Measure the short and the long recording and say how they compare."""
    short, long = in_child(SHORT_MINUTES, 1), in_child(LONG_MINUTES, REPEATS)
    seconds = 60 * long["minutes"]
    return "\n".join(
        [
            f"{long['minutes']} min of three sensors at 200 Hz, {long['samples']} samples, "
            f"{long['attempts']} jumps found; one core, best of {REPEATS}",
            f"analysis            {long['analysis_s']:.2f} s, of which handing over the samples "
            f"{long['reading_s']:.2f} s",
            f"                    {long['samples'] / long['analysis_s'] / 1e6:.2f} million samples "
            f"a second, {seconds / long['analysis_s']:.0f} times real time",
            f"one sosfiltfilt     {long['filter_s']:.2f} s (Butterworth, order 4, 18 channels)",
            f"ratio               {long['analysis_s'] / long['filter_s']:.1f}",
            *(
                f"memory, {row['minutes']} min      {row['after_mib']:.0f} MiB at its peak, "
                f"{row['after_mib'] - row['before_mib']:.0f} MiB above the process before"
                for row in (short, long)
            ),
            f"memory, 60 / 20 min {long['after_mib'] / short['after_mib']:.2f}",
        ]
    )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        if hasattr(os, "sched_setaffinity"):
            os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        sys.path.insert(0, str(Path(__file__).resolve().parent))
        sys.stdout.write(json.dumps(measure(int(sys.argv[1]), int(sys.argv[2]))))
    else:
        sys.stdout.write(report() + "\n")
