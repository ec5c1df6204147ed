"""How early foot events meet the truth: ``python -m tests.capture_runs.early_score [SET ...]``.

Sets: kinematic, physics, mocap (open virtual recordings), walk (people, optical truth), simulated
(the package's own athletes), runner (the independent one); simulated@30260 or runner@15000 draws
the last two from another seed. An event counts as found within 30 ms of the truth and the truth's
own uncertainty. Run-up and plant: from the first touchdown of the approach to the last toe-off;
landing: the first touchdown after it. Blends of the open recordings in which feet slide are left
out, as their README asks.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from imujump.model import EventKind, SampleSource, Side, TakeOffStyle
from imujump.pipeline.early import EarlyEvent, EarlySteps
from imujump.recording.files import open_recording
from imujump.validation import protocol
from tests.conftest import SHARED
from tests.open_data import walking
from tests.truth.fresh_draws import source_of
from tests.truth.runner import Fall, runner_recording

TOLERANCE_S = 0.030

SETS = ("kinematic", "physics", "mocap", "walk", "simulated", "runner")


@dataclass(frozen=True, slots=True)
class Case:
    """A recording, its true events (kind, side, time, uncertainty) and what is scored."""

    name: str
    source: SampleSource
    truth: tuple[tuple[EventKind, Side, float, float], ...]
    from_s: float
    until_s: float
    not_scored: tuple[tuple[float, float], ...] = ()


@dataclass(slots=True)
class Score:
    """Counts and errors of one kind of event."""

    true: int = 0
    told: int = 0
    found: int = 0
    errors_s: list[float] = field(default_factory=list)
    look_ahead_s: list[float] = field(default_factory=list)

    @property
    def recall(self) -> float:
        return self.found / self.true if self.true else math.nan

    @property
    def precision(self) -> float:
        return self.found / self.told if self.told else math.nan

    @property
    def bias_s(self) -> float:
        return float(np.mean(self.errors_s)) if self.errors_s else math.nan

    @property
    def sd_s(self) -> float:
        return float(np.std(self.errors_s)) if self.errors_s else math.nan


def early_events(source: SampleSource) -> list[EarlyEvent]:
    """All early events of a recording."""
    early = EarlySteps(source.info)
    found = []
    for batch in source.batches():
        found += early.push(batch)
        found += early.advance(math.nextafter(batch.arrival_s, -math.inf))
    return found + early.finish()


def add(case: Case, scores: dict[EventKind, Score]) -> None:
    """Score one recording."""
    told = early_events(case.source)
    for kind in EventKind:
        score = scores.setdefault(kind, Score())
        for side in Side:
            truth = [
                (t, sigma)
                for k, s, t, sigma in case.truth
                if (k, s) == (kind, side) and _counts(case, t)
            ]
            mine = [
                each
                for each in told
                if (each.event.kind, each.event.side) == (kind, side)
                and _counts(case, each.event.time_s, 0.05)
            ]
            score.true += len(truth)
            score.told += len(mine)
            for k, j in _pairs(truth, [each.event.time_s for each in mine]):
                score.found += 1
                score.errors_s.append(mine[j].event.time_s - truth[k][0])
                score.look_ahead_s.append(mine[j].look_ahead_s)


def _counts(case: Case, time_s: float, margin_s: float = 0.0) -> bool:
    if not case.from_s <= time_s <= case.until_s:
        return False
    return not any(a - margin_s <= time_s <= b + margin_s for a, b in case.not_scored)


def _pairs(
    truth: Sequence[tuple[float, float]], told_s: Sequence[float]
) -> Iterator[tuple[int, int]]:
    if not truth or not told_s:
        return
    apart = np.abs(np.array([t for t, _ in truth])[:, None] - np.array(told_s)[None, :])
    # A programmed instant's millisecond does not widen the tolerance.
    limit = np.array([TOLERANCE_S + (s if s > 0.003 else 0.0) for _, s in truth])[:, None]
    cost = np.where(apart <= limit, apart, 10.0)
    for k, j in zip(*linear_sum_assignment(cost), strict=True):
        if apart[k, j] <= limit[k, 0]:
            yield int(k), int(j)


def cases(name: str, first: int = 0, most: int | None = None) -> Iterator[Case]:
    """The recordings of a set, at most so many from one on."""
    yield from islice(_all_cases(name), first, None if most is None else first + most)


def _all_cases(name: str) -> Iterator[Case]:
    if name in ("kinematic", "physics", "mocap"):
        folder = SHARED / "data" / "virtual_recordings" / name
        for path in sorted(folder.rglob("*_motion.tsv")):
            truth = json.loads(_truth_of(path).read_text(encoding="utf-8"))
            if truth.get("take_off"):
                yield _run_up(path.name.split("_")[0], open_recording(path), truth)
    elif name == "walk":
        for shank in ("LowLeg", "LowLeg2"):
            source, truth = walking.walk_pelvis_shanks_vicon(SHARED / "data", shank)
            events = [(e.kind, e.side, e.time_s, e.sigma_s) for e in truth.events]
            sure = [event for event in events if event[3] < 0.05]
            last_s = max(t for _, _, t, _ in sure) + 0.1
            yield Case(f"walk {shank}", source, tuple(sure), 0.0, last_s)
    elif name.startswith("simulated"):
        for jump in protocol.recordings(24, seed=_seed(name, 20_260)):
            (attempt,) = jump.truth.attempts
            events = [(e.kind, e.side, e.time_s, e.sigma_s) for e in attempt.events]
            yield _window(jump.name, jump.recording, events, attempt.toe_off_s)
    elif name.startswith("runner"):
        first = _seed(name, 12_000)
        for seed in range(first, first + 24):
            style = (TakeOffStyle.TWO_FOOT, TakeOffStyle.ONE_FOOT)[seed % 2]
            try:
                made = runner_recording(seed, style)
            except Fall:
                continue
            yield _run_up(f"runner {seed}", source_of(made), made.truth)
    else:
        raise ValueError(f"set is {name}, must be one of {', '.join(SETS)}")


def _seed(name: str, usual: int) -> int:
    """Seed of a drawn set, after the @ of its name."""
    return int(name.partition("@")[2] or usual)


def _truth_of(path: Path) -> Path:
    return path.with_name(path.name.replace("_motion.tsv", "_truth.json"))


def _run_up(name: str, source: SampleSource, truth: Any) -> Case:
    events = [
        (EventKind(e["kind"]), Side(e["side"]), e["time_s"], e.get("uncertainty_s") or 0.0)
        for e in truth["events"]
        if e.get("scored", True)
    ]
    blends = tuple((s["start_s"], s["end_s"]) for s in truth.get("not_scored_intervals_s") or ())
    return _window(name, source, events, truth["take_off"]["toe_off_s"], blends)


def _window(
    name: str,
    source: SampleSource,
    events: Sequence[tuple[EventKind, Side, float, float]],
    toe_off_s: float,
    blends: tuple[tuple[float, float], ...] = (),
) -> Case:
    """From the first touchdown to the last toe-off."""
    strikes = [t for kind, _, t, _ in events if kind is EventKind.FOOT_STRIKE]
    first_s = min(strikes) - 0.04
    return Case(name, source, tuple(events), first_s, toe_off_s + 0.04, blends)


def table(names: Sequence[str] = SETS) -> str:
    """Lines of figures."""
    head = (
        f"{'set':<11}{'event':<13}{'n':>5}{'recall':>8}{'precision':>11}{'bias ms':>9}{'SD ms':>7}"
    )
    lines = [head + f"{'look-ahead ms, median and 95 %':>33}"]
    for name in names:
        scores: dict[EventKind, Score] = {}
        for case in cases(name):
            add(case, scores)
        for kind, score in scores.items():
            ahead = np.percentile(score.look_ahead_s, [50, 95]) * 1e3 if score.found else (0, 0)
            lines.append(
                f"{name:<11}{kind:<13}{score.true:>5}{score.recall:>8.3f}{score.precision:>11.3f}"
                f"{score.bias_s * 1e3:>9.1f}{score.sd_s * 1e3:>7.1f}"
                f"{ahead[0]:>24.0f}{ahead[1]:>9.0f}"
            )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(sys.argv[1:] or SETS))  # noqa: T201
