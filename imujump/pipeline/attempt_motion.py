"""One attempt with the motion behind it: measured, drawn, or measured again from other contacts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imujump.model import Attempt, EventKind, FloatArray, GaitEvent, Placement
from imujump.pipeline.attempts import Jump, build_jump
from imujump.pipeline.body import Body, Window
from imujump.pipeline.clock_spread import with_clock_spread
from imujump.pipeline.contacts import Contact
from imujump.pipeline.flights import Flight
from imujump.pipeline.kinematics import pelvis_height, pelvis_speed
from imujump.pipeline.metrics import measure

RUN_UP_S, PUSH_S, AFTER_S = 1.2, 1.0, 1.0
"""An attempt begins so long before the first touchdown of its run-up, or before toe-off, and ends
so long after landing (own choice)."""

EVENTS_AFTER_S = 2.0
"""Foot events are told until so long after landing (own choice: a step or two out of it)."""


@dataclass(frozen=True, slots=True, eq=False)
class Courses:
    """What the pelvis did through an attempt: (n,) arrays over session time."""

    time_s: FloatArray
    speed_mps: FloatArray
    height_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class AttemptMotion:
    """A flight in a window whose motion has been found.

    ``contacts`` are all of the window; ``start_s`` is the session time of its first sample;
    ``clock_sigma_s`` each sensor's part of the standard deviation between two clocks.
    """

    window: Window
    body: Body
    flight: Flight
    contacts: tuple[Contact, ...]
    start_s: float
    clock_sigma_s: Mapping[Placement, float]

    def jump(self, contacts: tuple[Contact, ...]) -> Jump:
        """Assemble the attempt from contacts."""
        return build_jump(self.window, self.body, self.flight, contacts)

    def attempt(self) -> Attempt:
        """Measure it; its number is 0."""
        return self.attempt_with(self.contacts)

    def attempt_with(self, contacts: tuple[Contact, ...]) -> Attempt:
        """Measure it as if these had been the window's contacts."""
        h, start_s = self.window.step_s, self.start_s
        jump = self.jump(contacts)
        metrics, steps = measure(self.window, self.body, jump, start_s)
        first, last = _span(jump, h)
        events = [
            e
            for e in foot_events(contacts, start_s, h)
            if start_s + first * h <= e.time_s <= start_s + last * h
        ]
        reasons = []
        if jump.style is None:
            reasons.append(jump.unseen or "take-off foot not seen: shank sensors missing")
        if jump.motion_lost is not None:
            reasons.append(jump.motion_lost)
        end = min(jump.landing + AFTER_S / h, self.window.samples - 1.0)
        found = Attempt(
            number=0,
            start_s=start_s + max(first, 0.0) * h,
            end_s=start_s + end * h,
            toe_off_s=start_s + jump.toe_off * h,
            landing_s=start_s + jump.landing * h,
            take_off_style=jump.style,
            take_off_side=jump.plant[0].side if jump.plant else None,
            valid=jump.motion_lost is None,
            reasons=tuple(reasons),
            events=tuple(events),
            steps=steps,
            metrics=metrics,
        )
        gravity_mps2 = self.window.gravity_mps2
        return with_clock_spread(found, self.body, jump, self.clock_sigma_s, gravity_mps2)

    def courses(self) -> Courses | None:
        """Speed of mid hip and height of the pelvis sensor over standing; None without it."""
        if Placement.PELVIS not in self.body.paths:
            return None
        h = self.window.step_s
        jump = self.jump(self.contacts)
        first, last = _span(jump, h)
        low, high = max(round(first), 0), min(round(last), self.window.samples - 1)
        index = np.arange(low, high + 1)
        return Courses(
            np.asarray(self.start_s + h * index, dtype=np.float64),
            pelvis_speed(self.body)[index],
            pelvis_height(self.body)[index],
        )


def foot_events(
    contacts: tuple[Contact, ...], start_s: float, step_s: float
) -> tuple[GaitEvent, ...]:
    """Strikes and toe-offs of contacts, in order; sample 0 is at ``start_s``."""
    events = []
    for contact in contacts:
        for kind, index, sigma_s in (
            (EventKind.FOOT_STRIKE, contact.strike, contact.strike_sigma_s),
            (EventKind.TOE_OFF, contact.toe_off, contact.toe_off_sigma_s),
        ):
            if index is not None:
                events.append(GaitEvent(kind, contact.side, start_s + index * step_s, sigma_s))
    return tuple(sorted(events, key=lambda e: e.time_s))


def _span(jump: Jump, step_s: float) -> tuple[float, float]:
    """First sample of an attempt and the last whose events are told."""
    begin = next(iter(jump.run_up), None) or next(iter(jump.plant), None)
    first = jump.toe_off - PUSH_S / step_s
    if begin is not None and begin.strike is not None:
        first = min(first, begin.strike - RUN_UP_S / step_s)
    return first, jump.landing + EVENTS_AFTER_S / step_s
