"""One action's span of samples to its attempts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import GaitEvent, IntArray, Placement, Side
from imujump.pipeline.attempt_motion import AttemptMotion, foot_events
from imujump.pipeline.body import Body, Window
from imujump.pipeline.calibration import calibrate, find_rests, quietest
from imujump.pipeline.clock_apart import clocks_apart
from imujump.pipeline.clock_course import ClockLine
from imujump.pipeline.contacts import Contact, find_contacts
from imujump.pipeline.dark_spells import blind_s
from imujump.pipeline.flights import pelvis_flights, pick_attempts, shank_flights
from imujump.pipeline.gap_filling import has_long_gaps, refilled
from imujump.pipeline.kinematics import pelvis_height
from imujump.pipeline.linkage import LinkedBody
from imujump.pipeline.rests import pivot_levers, still_samples
from imujump.pipeline.streams import Samples, SensorStream
from imujump.pipeline.support import stance_spells
from imujump.pipeline.swings import rests_between_swings
from imujump.pipeline.vectors import UP, cross, turned
from imujump.pipeline.worn import not_worn

PRESENT_SHARE = 0.7
"""A sensor with fewer of the span's samples than this is left out of it (own choice)."""

SETTLING_ROUNDS = 3
"""Where nobody stood, drift is too large to be linear at once: so often it is removed and looked
at anew (own choice)."""

WEIGHTLESS: Mapping[float, float] = {0.25: 4.0, 0.35: 6.0}
"""Length of time, s, over which the mean specific force of the pelvis, m/s², is below this in a
jump and not while running (own choice)."""

REFILLS = 2
"""So often a long gap is bridged anew and the motion found again: the second changes it by a tenth
of the first (own choice)."""

FILTER_DELAY_SAMPLES = 0.56
"""Signals lag the movement by the delay of the sensor's own low-pass at 0.4 of its rate
(second-order Butterworth): sqrt(2) / (2 pi 0.4) = 0.563 samples. All is worked out in signal
time; what is told is movement time."""


@dataclass(frozen=True, slots=True)
class Span:
    """Part of a recording to analyse, session time.

    ``anchored`` tells whether it begins with a stand; attempts whose toe-off lies before
    ``after_s`` belong to an earlier span; samples that arrived after ``arrived_by_s`` are
    lost.
    """

    start_s: float
    end_s: float
    anchored: bool
    after_s: float
    arrived_by_s: float
    gravity_mps2: float


@dataclass(frozen=True, slots=True)
class Found:
    """Attempts of a span with their motion, and sentences on what stood in the way."""

    motions: tuple[AttemptMotion, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Footfalls:
    """Foot contacts of a span and the motion behind them; sample 0 is at ``start_s``."""

    start_s: float
    body: Body
    contacts: tuple[Contact, ...]

    def events(self) -> tuple[GaitEvent, ...]:
        """All foot strikes and toe-offs in order."""
        return foot_events(self.contacts, self.start_s, self.body.step_s)


def analyse_span(
    span: Span, streams: Mapping[Placement, SensorStream], lines: Mapping[Placement, ClockLine]
) -> Found:
    """Find and measure the attempts of a span.

    Parameters
    ----------
    span : Span
        What to look at.
    streams : mapping of Placement to SensorStream
        Samples.
    lines : mapping of Placement to ClockLine
        Device time to session time.
    """
    step_s = 1.0 / max(stream.info.rate_hz for stream in streams.values())
    samples = _gather(span, streams, lines, step_s)
    if not samples:
        return Found((), ())
    rests = find_rests(samples, step_s)
    if not span.anchored or not rests or rests[0][0] * step_s > 0.6:
        if not _weightless_pelvis(samples, step_s):
            return Found((), ())
        return Found(
            (),
            (
                f"{_clock(span.start_s)}: a possible jump could not be measured because nobody "
                "stood still before it; stand still for 3 s before each run-up.",
            ),
        )
    window, start_s, warnings = _from_first_rest(span, streams, samples, rests, step_s)
    if not window.sensors:
        return Found((), tuple(warnings))
    linked, body, contacts = _motion(window)
    flights = pelvis_flights(body)
    height = np.zeros(window.samples)
    if Placement.PELVIS in body.paths:
        height = pelvis_height(body)
    elif len(body.paths) == 2:
        flights = shank_flights(contacts, step_s)
    if not any(f.high for f in flights) and _weightless_pelvis(samples, step_s):
        warnings.append(
            f"{_clock(span.start_s)}: a possible jump could not be measured: the motion found does "
            f"not fit it, {_why_unfit(window)}."
        )
    seen = [f for f in flights if not blind_s(window, window.sensors, f.start, f.end)]
    if any(flight.high for flight in seen):
        flights = seen  # a flight in the dark may be none
    apart = clocks_apart(_lateness(window, linked))
    sigma_s = {p: math.hypot(line.sigma_s, apart.sigma_s[p]) for p, line in lines.items()}
    motions: list[AttemptMotion] = []
    for flight in pick_attempts(flights, height, step_s):
        if start_s + flight.start * step_s < span.after_s:
            continue
        reason = not_worn(window, body, flight)
        if reason is not None:
            warnings.append(f"{_clock(start_s + flight.start * step_s)}: {reason}.")
            continue
        motions.append(AttemptMotion(window, body, flight, contacts, start_s, sigma_s))
    if not motions:
        return Found((), tuple(warnings))
    warnings.extend(f"{_clock(start_s)}: {text}." for text in apart.warnings)
    warnings.extend(_mounting(body, contacts))
    return Found(tuple(motions), tuple(warnings))


def _why_unfit(window: Window) -> str:
    """What makes the motion of a window unfit, and the remedy."""
    lost_s = _lost_s(window)
    worst = max(lost_s, key=lambda p: lost_s[p])
    if lost_s[worst]:
        return (
            f"for {lost_s[worst]:.2f} s of the {worst.words} sensor are missing; keep the sensors "
            "within reach of the receiver"
        )
    return "as when nobody stood still before; stand still for 3 s before each run-up"


def _lateness(window: Window, linked: LinkedBody) -> dict[Side, float]:
    """How late the shanks are, s, told by legs whose both ends were received throughout."""
    lost_s = _lost_s(window)
    if lost_s.get(Placement.PELVIS):
        return {}
    return {side: late_s for side, late_s in linked.lateness().items() if not lost_s[side.shank]}


def _lost_s(window: Window) -> dict[Placement, float]:
    """Longest gap of each sensor, s; 0 where none is long enough to hide a contact."""
    return {p: blind_s(window, (p,), 0, window.samples) for p in window.sensors}


def footfalls(
    span: Span, streams: Mapping[Placement, SensorStream], lines: Mapping[Placement, ClockLine]
) -> Footfalls | None:
    """Foot contacts from the first stand of a span to its end, whether anyone jumps or not.

    Without a stand it begins with the quietest moment of the first second and a half and
    leaves the pelvis out. None when no shank sensor was worn, or too little was received.
    """
    step_s = 1.0 / max(stream.info.rate_hz for stream in streams.values())
    samples = _gather(span, streams, lines, step_s)
    if not samples:
        return None
    rests = find_rests(samples, step_s)
    stood = bool(rests)
    if not stood:
        rests = [quietest(samples, step_s)]
    window, start_s, _ = _from_first_rest(span, streams, samples, rests, step_s)
    if not any(side.shank in window.sensors for side in Side):
        return None
    still = None
    if not stood:
        # A pelvis that never stood cannot be placed; feet find their rest at every step.
        shanks = [side.shank for side in Side if side.shank in window.sensors]
        window = replace(window, sensors={p: window.sensors[p] for p in shanks})
        still = rests_between_swings(window)
        for _ in range(SETTLING_ROUNDS):
            window = _settled(window, LinkedBody(window).solve(still))
    _, body, contacts = _motion(window, still)
    return Footfalls(start_s, body, contacts)


def _settled(window: Window, body: Body) -> Window:
    """The window with the vertical and gyroscope bias that the feet's rests have shown."""
    sensors = {
        p: replace(
            sensor,
            gyro_radps=body.paths[p].gyro_radps,
            up=body.paths[p].rot[0, 2] / np.linalg.norm(body.paths[p].rot[0, 2]),
        )
        for p, sensor in window.sensors.items()
    }
    return replace(window, sensors=sensors)


def _from_first_rest(
    span: Span,
    streams: Mapping[Placement, SensorStream],
    samples: Mapping[Placement, Samples],
    rests: list[tuple[int, int]],
    step_s: float,
) -> tuple[Window, float, list[str]]:
    """Calibrated window that begins with the first stand, its start time, and warnings."""
    cut = rests[0][0]
    kept = {
        p: Samples(s.accel_mps2[cut:], s.gyro_radps[cut:], s.missing[cut:])
        for p, s in samples.items()
    }
    start_s = span.start_s + (cut - FILTER_DELAY_SAMPLES) * step_s
    ranges = {p: streams[p].info.accel_range_mps2 for p in kept}
    shifted = [(first - cut, last - cut) for first, last in rests]
    ready = calibrate(kept, ranges, step_s, shifted, span.gravity_mps2)
    warnings = [f"{p.words}: {text}." for p, text in ready.unusable.items()]
    return ready.window, start_s, warnings


def _clock(time_s: float) -> str:
    return f"at {int(time_s // 60)}:{time_s % 60:04.1f} min"


def _gather(
    span: Span,
    streams: Mapping[Placement, SensorStream],
    lines: Mapping[Placement, ClockLine],
    step_s: float,
) -> dict[Placement, Samples]:
    """All sensors that were present, on one grid."""
    count = round((span.end_s - span.start_s) / step_s) + 1
    found = {}
    for p, stream in streams.items():
        own_start_s = float(lines[p].device_s(span.start_s))
        own_step_s = step_s * lines[p].device_per_session
        sensor = stream.on_grid(own_start_s, own_step_s, count, span.arrived_by_s)
        if np.count_nonzero(~sensor.missing) >= PRESENT_SHARE * count:
            found[p] = sensor
    return found


def _weightless_pelvis(samples: Mapping[Placement, Samples], step_s: float) -> bool:
    """Whether a pelvis sensor was weightless for the length of a jump."""
    if Placement.PELVIS not in samples:
        return False
    force = np.linalg.norm(samples[Placement.PELVIS].accel_mps2, axis=1)
    for length_s, limit_mps2 in WEIGHTLESS.items():
        width = max(1, round(length_s / step_s))
        if (np.convolve(force, np.full(width, 1.0 / width), "valid") < limit_mps2).any():
            return True
    return False


def _motion(
    window: Window, still: Mapping[Side, IntArray] | None = None
) -> tuple[LinkedBody, Body, tuple[Contact, ...]]:
    """Motion and contacts, each refined by the other twice; ``still`` are first rests."""
    linked = LinkedBody(window)
    body = linked.solve()
    if has_long_gaps(window):
        for _ in range(REFILLS):
            window = refilled(window, body)
            linked = LinkedBody(window)
            body = linked.solve()
    if not any(side.shank in window.sensors for side in Side):
        return linked, body, ()
    if still is None:
        still = still_samples(body, stance_spells(body, near_floor=False))
    body = linked.solve(still)
    spells = stance_spells(body, near_floor=True)
    body = linked.solve(still_samples(body, spells), pivot_levers(body, spells))
    return linked, body, find_contacts(body)


def _mounting(body: Body, contacts: tuple[Contact, ...]) -> list[str]:
    """Sentences on sensors that seem to be worn the wrong way."""
    told = [
        f"{p.words}: the sensor is worn upside down; the results allow for it."
        for p, up in body.up.items()
        if up[2] < -0.5
    ]
    if _legs_swapped(body, contacts):
        told.append(
            "left and right shank sensors seem to be swapped; swap them back, or read left as "
            "right in these results."
        )
    return told


def _legs_swapped(body: Body, contacts: tuple[Contact, ...]) -> bool:
    """Whether the pelvis is pushed outward over each foot instead of inward.

    A runner's foot stands beside the body's midline, so the floor pushes the body towards the
    other side. The push is averaged over each contact of the run-up.
    """
    if Placement.PELVIS not in body.paths or body.forward is None:
        return False
    path = body.paths[Placement.PELVIS]
    left = cross(UP, turned(path.rot, body.forward))
    push = np.sum(path.accel_mps2 * left, axis=1)
    votes: dict[Side, list[float]] = {side: [] for side in Side}
    for contact in contacts:
        if contact.strike is None or contact.toe_off is None:
            continue
        first, last = int(contact.strike), int(contact.toe_off)
        if 0.08 < (last - first) * body.step_s < 0.5:
            votes[contact.side].append(float(push[first : last + 1].mean()))
    if min(len(v) for v in votes.values()) < 2:
        return False
    apart = np.mean(votes[Side.LEFT]) - np.mean(votes[Side.RIGHT])
    spread = np.std(votes[Side.LEFT]) + np.std(votes[Side.RIGHT])
    return bool(apart > 0.5 and apart > spread)
