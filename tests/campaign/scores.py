"""Errors of analyses against the truth, gathered over the jumps of a condition."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from imujump.model import Analysis, Attempt, EventKind, Side
from imujump.validation.pairing import nearest_pairs
from tests.pipeline.comparing import other_leg

from .conditions import Condition
from .subjects import Subject

SAME_JUMP_S = 0.25
"""An attempt is the true jump when it leaves the ground within this of it (own choice)."""

SAME_STRIKE_S = 0.050
"""A found strike is a true one when it lies within this of it (own choice)."""

COVERED_SIGMAS = 1.96
"""A normal error stays within this many standard deviations in 95 of 100 cases."""

TOLD_SIGMAS = 3.0
"""Values further off than this are listed one by one: 3 of 1000 by chance."""

MAIN = {
    "take_off_contact_s": ("contact", 1e3, "ms"),
    "flight_s": ("flight", 1e3, "ms"),
    "plant_speed_mps": ("plant", 100.0, "%"),
    "last_step_m": ("step", 100.0, "cm"),
    "lowering_m": ("lower", 100.0, "cm"),
}
"""Main outputs (plant: speed at touchdown, step: last step): heading, factor to the display unit,
unit. The speed's error is a share."""


@dataclass(slots=True)
class Score:
    """What a condition came to. ``failures`` has a line for all that went wrong."""

    condition: Condition
    jumps: int = 0
    found: int = 0
    invented: int = 0
    warned: int = 0
    strikes_asked: int = 0
    strikes_missed: int = 0
    strikes_invented: int = 0
    strike_errors_s: list[float] = field(default_factory=list)
    errors: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in MAIN})
    given: int = 0
    true: int = 0
    covered: int = 0
    failures: list[str] = field(default_factory=list)

    def crash(self, subject: Subject, error: Exception) -> None:
        """Count a jump whose analysis raised an error."""
        self.jumps += 1
        self.failures.append(f"{subject.name}: {type(error).__name__}: {error}")

    def add(self, subject: Subject, analysis: Analysis) -> None:
        """Compare one analysis with its truth."""
        self.jumps += 1
        told: list[str] = []
        near = [a for a in analysis.attempts if abs(a.toe_off_s - subject.toe_off_s) < SAME_JUMP_S]
        for other in analysis.attempts:
            if other not in near[:1]:
                self.invented += other.valid
                kind = "false attempt" if other.valid else "attempt marked as not valid"
                told.append(f"{kind} at {other.toe_off_s:.2f} s")
        self._warnings(analysis, told)
        if near:
            self.found += 1
            self._attempt(subject, near[0], told)
        else:
            told.insert(0, "not found")
        if told:
            self.failures.append(f"{subject.name}: {'; '.join(told)}")

    def _warnings(self, analysis: Analysis, told: list[str]) -> None:
        asked = self.condition.warning
        if asked is not None and any(asked in w for w in analysis.warnings):
            self.warned += 1
        elif asked is not None:
            told.append(f"no warning of '{asked}'")
        told.extend(f"warns: {w}" for w in analysis.warnings if asked is None or asked not in w)

    def _attempt(self, subject: Subject, attempt: Attempt, told: list[str]) -> None:
        swapped = self.condition.wearing.swapped
        if not self.condition.unseen_plant:
            side = subject.side.other if swapped else subject.side
            if attempt.take_off_style is not subject.style:
                told.append(f"style told {attempt.take_off_style}")
            if attempt.take_off_side is not side:
                told.append(f"side told {attempt.take_off_side}")
        self._strikes(subject, attempt, swapped)
        worst: list[tuple[float, str]] = []
        missing: list[str] = []
        for name, estimate in attempt.metrics.items():
            true = subject.metrics[other_leg(name) if swapped else name]
            if true is None:
                continue
            self.true += 1
            if estimate.value is None or estimate.sigma is None:
                missing.append(name)
                continue
            self.given += 1
            error = estimate.value - true
            if estimate.sigma <= 0.0:
                told.append(f"{name} has sigma {estimate.sigma}")
            off = error / estimate.sigma if estimate.sigma > 0.0 else math.inf
            self.covered += abs(off) <= COVERED_SIGMAS
            if name in MAIN:
                share = true if name.endswith("_mps") else 1.0
                self.errors[name].append(error / share)
            if abs(off) > TOLD_SIGMAS:
                worst.append((abs(off), f"{name} {error:+.3g} ({off:+.1f}σ)"))
        told.extend(text for _, text in sorted(worst, reverse=True))
        if missing and not self.condition.unseen_plant:
            told.append(f"empty: {', '.join(missing)}")

    def _strikes(self, subject: Subject, attempt: Attempt, swapped: bool) -> None:
        """Match strikes of the run-up and up to the first landing contact."""
        kind = EventKind.FOOT_STRIKE
        real = [(e.side, e.time_s) for e in subject.events if e.kind is kind]
        got = [
            (e.side.other if swapped else e.side, e.time_s)
            for e in attempt.events
            if e.kind is kind
        ]
        asked = [r for r in real if r[1] <= subject.landing_s + 1e-3]
        pairs: dict[int, int] = {}
        for side in Side:
            rows = [i for i, r in enumerate(real) if r[0] is side]
            columns = [j for j, g in enumerate(got) if g[0] is side]
            real_s = np.array([real[i][1] for i in rows])
            got_s = np.array([got[j][1] for j in columns])
            for a, b in zip(*nearest_pairs(real_s, got_s, SAME_STRIKE_S), strict=True):
                pairs[rows[a]] = columns[b]
        self.strikes_asked += len(asked)
        for i, (_, time_s) in enumerate(real):
            if time_s > subject.landing_s + 1e-3:
                continue
            if i in pairs:
                self.strike_errors_s.append(got[pairs[i]][1] - time_s)
            else:
                self.strikes_missed += 1
        used = set(pairs.values())
        first_s = min(r[1] for r in real) - SAME_STRIKE_S
        self.strikes_invented += sum(
            j not in used and first_s <= g[1] <= subject.landing_s - SAME_STRIKE_S
            for j, g in enumerate(got)
        )

    @property
    def coverage(self) -> float:
        """Share of given values whose truth lies within 1.96 sigma; NaN without values."""
        return self.covered / self.given if self.given else math.nan

    @property
    def given_share(self) -> float:
        """Share of values with a truth that were given; NaN when nothing was found."""
        return self.given / self.true if self.true else math.nan


def bias_rmse(errors: list[float]) -> tuple[float, float]:
    """Bias and root mean square error; NaN without errors."""
    if not errors:
        return math.nan, math.nan
    return float(np.mean(errors)), float(np.sqrt(np.mean(np.square(errors))))
