"""What belongs to a jump: run-up, plant, flight, landing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import BoolArray, FloatArray, Placement, Side, TakeOffStyle
from imujump.pipeline.body import Body, Window
from imujump.pipeline.contacts import Contact
from imujump.pipeline.dark_spells import blind_s, hidden
from imujump.pipeline.flights import Flight
from imujump.pipeline.touchdown import SECOND_FOOT_S

PELVIS_TIMED_S = 0.02
"""Standard deviation of toe-off and landing as the pelvis tells them (own choice)."""

TOE_OFF_AGREES_S, LANDING_AGREES_S = 0.12, 0.3
"""A foot leaves and comes down this near the flight that the pelvis tells (own choice; within 0.05
and 0.19 s in recorded and simulated jumps)."""

LONGEST_PLANT_S = 0.45
"""Longest time from a plant's first touchdown to toe-off (own choice: slow two-foot plants)."""

APPROACH_S = 4.0
"""A gap further than this before toe-off lies before the run-up (own choice)."""

LOW_M, HIDDEN_JUMP_S = 0.2, 2.0
"""A flight lower than this may be a long running step, with the jump to follow within this time
(own choice: some steps, a plant and a flight)."""

PUSH_S, CLIPPED_S, NEAR_FLOOR_M, OFF_FLOOR_M = 0.05, 0.2, 0.05, 0.25
"""A foot nearer to the floor than 5 cm in the last 0.05 s before the flight, after an impact in the
last 0.2 s, may push: a free leg is up by then. One told to push 25 cm off the floor is told wrong
(own choice; recorded and simulated plants come within 4 cm of the standing height, and within 16 cm
after impacts beyond the range)."""

BRIEFEST_PLANT_S = 0.07
"""No plant is briefer (own choice: contacts of sprinters last 0.08 s and more, from memory)."""

NO_STEP_S = 0.12
"""Touchdowns of two feet so near each other are no step (own choice: the steps of sprinters
take 0.2 s, from memory)."""

STEP_LIMIT_S = 0.9
"""Longest time between two touchdowns of one run-up (own choice: slow walking is 0.7 s)."""


@dataclass(frozen=True, slots=True)
class Jump:
    """One attempt in sample numbers.

    ``toe_off`` and ``landing`` bound the flight with their standard deviations (s).
    ``plant`` holds the contacts pushed off from, first touchdown first: one or two, none
    when no shank tells. ``run_up`` are the contacts before it whose touchdown was seen,
    oldest first. ``landings`` are the first contacts after the flight, in order. An instant is
    ``hidden`` when no sensor was received there; ``unseen`` says why style and plant are unknown,
    ``motion_lost`` why no path leads through the attempt.
    """

    toe_off: float
    toe_off_sigma_s: float
    landing: float
    landing_sigma_s: float
    style: TakeOffStyle | None
    plant: tuple[Contact, ...]
    run_up: tuple[Contact, ...]
    landings: tuple[Contact, ...]
    pelvis_timed: bool
    toe_off_hidden: bool = False
    landing_hidden: bool = False
    unseen: str | None = None
    motion_lost: str | None = None

    @property
    def plant_strike(self) -> float | None:
        """First touchdown of the plant.

        None when the jump began from standing, and when a shank without a sensor leaves it
        open which foot planted first.
        """
        return self.plant[0].strike if self.plant and self.style is not None else None


def build_jump(window: Window, body: Body, flight: Flight, contacts: tuple[Contact, ...]) -> Jump:
    """Assemble an attempt around a flight.

    Parameters
    ----------
    window : Window
        Samples: where some are missing, events are hidden.
    body : Body
        Corrected motion.
    flight : Flight
        The flight.
    contacts : tuple of Contact
        All foot contacts of the window, in order.
    """
    h = body.step_s
    shanks = tuple(side.shank for side in Side if side.shank in body.paths)
    both = len(shanks) == 2
    seen_by_pelvis = Placement.PELVIS in body.paths
    leaving = _leaving(contacts, flight, h)
    landings = _landings(contacts, flight, h)
    unseen = _unseen(window, contacts, flight) or _beyond_range(window, body, leaving, flight)
    at_flight = bool(leaving) and (
        not seen_by_pelvis or abs((leaving[0].toe_off or 0.0) - flight.start) * h < TOE_OFF_AGREES_S
    )
    if both and leaving and not at_flight and unseen is None:
        unseen = "no foot was seen to leave the floor when the pelvis began to fly"
    style = None
    plant: tuple[Contact, ...] = ()
    if both and leaving and unseen is None:
        plant = _plant(leaving, h)
        style = TakeOffStyle.TWO_FOOT if len(plant) == 2 else TakeOffStyle.ONE_FOOT
    elif not both and at_flight:
        plant = (leaving[0],)
    by_feet = both or not seen_by_pelvis

    def told_by(side: Side, index: float) -> bool:
        # The pelvis steps in where the foot's event is hidden.
        return by_feet and not (seen_by_pelvis and hidden(window, side.shank, index))

    if landings and seen_by_pelvis:
        apart_s = abs((landings[0].strike or 0.0) - flight.end) * h
        landings = landings if apart_s < LANDING_AGREES_S else ()

    toe_off, toe_off_sigma_s, toe_off_by = flight.start, PELVIS_TIMED_S, Placement.PELVIS
    last = max(plant, key=lambda c: c.toe_off or 0.0, default=None)
    if last is not None and last.toe_off is not None and told_by(last.side, last.toe_off):
        toe_off, toe_off_sigma_s = last.toe_off, last.toe_off_sigma_s
        toe_off_by = last.side.shank
    landing, landing_sigma_s, landing_by = flight.end, PELVIS_TIMED_S, Placement.PELVIS
    first = next(iter(landings), None)
    if first is not None and first.strike is not None and told_by(first.side, first.strike):
        landing, landing_sigma_s = first.strike, first.strike_sigma_s
        landing_by = first.side.shank
    run_up = _run_up(contacts, plant, h) if both else ()
    return Jump(
        toe_off,
        toe_off_sigma_s,
        landing,
        landing_sigma_s,
        style,
        plant,
        run_up,
        landings,
        Placement.PELVIS in (toe_off_by, landing_by) and seen_by_pelvis,
        toe_off_by in body.paths and hidden(window, toe_off_by, toe_off),
        landing_by in body.paths and hidden(window, landing_by, landing),
        unseen,
        _motion_lost(window, flight, toe_off, landing),
    )


def _unseen(window: Window, contacts: tuple[Contact, ...], flight: Flight) -> str | None:
    """Reason when lost samples of a shank may hide a contact of the plant.

    A foot whose samples were lost earlier in the run-up is trusted again once it was seen to stand.
    """
    longest, approach = LONGEST_PLANT_S / window.step_s, APPROACH_S / window.step_s
    for side in Side:
        if side.shank not in window.sensors:
            continue
        gone_s = blind_s(window, (side.shank,), flight.start - longest, flight.start)
        if gone_s:
            return f"{gone_s:.2f} s of the {side.shank.words} sensor are missing around the plant"
        strikes = [c.strike for c in contacts if c.side is side and c.strike is not None]
        stood = max((s for s in strikes if s < flight.start), default=-np.inf)
        gone_s = blind_s(window, (side.shank,), max(stood, flight.start - approach), flight.start)
        if gone_s:
            return (
                f"{gone_s:.2f} s of the {side.shank.words} sensor are missing, and the foot was "
                "not seen to stand after that"
            )
    return None


def _beyond_range(window: Window, body: Body, leaving: list[Contact], flight: Flight) -> str | None:
    """Reason when an impact beyond a shank sensor's range hides the plant.

    The path behind it can be so far off that the foot seems to plant in the air, or not at all.
    """
    h, end = body.step_s, int(flight.start) + 1
    push, plant = (slice(max(end - round(span_s / h), 0), end) for span_s in (PUSH_S, CLIPPED_S))
    lasting = [
        (c.toe_off or 0.0) - (c.strike or 0.0)
        for c in leaving
        if (c.toe_off or 0.0) > end - TOE_OFF_AGREES_S / h
    ]
    brief = bool(lasting) and max(lasting) * h < BRIEFEST_PLANT_S
    for side in Side:
        if side.shank not in body.paths:
            continue
        clipped = window.sensors[side.shank].clipped
        height_m = body.joint_position(side.shank)[:, 2]
        height_m = np.abs(height_m - height_m[0])
        down = [c for c in leaving if c.side is side and (c.toe_off or 0.0) > plant.start]
        lost = any(_told_wrong(c, brief, height_m, clipped, h) for c in down)
        if not down:
            lost = bool(height_m[push].min() < NEAR_FLOOR_M and clipped[plant].any())
        if lost:
            return (
                f"the {side.shank.words} sensor left its range at a strike and its path is lost; "
                "set a wider range"
            )
    return None


def _told_wrong(
    contact: Contact, brief: bool, height_m: FloatArray, clipped: BoolArray, step_s: float
) -> bool:
    """Whether a contact contradicts the impacts beyond its sensor's range.

    It lies in the air, or the whole plant is briefer than any.
    """
    strike, off = int(contact.strike or 0.0), int(contact.toe_off or 0.0)
    in_the_air = height_m[strike : off + 1].min() > OFF_FLOOR_M
    run_up = clipped[max(off - round(APPROACH_S / step_s), 0) : off + 1]
    return bool((in_the_air or brief) and run_up.any())


def _motion_lost(window: Window, flight: Flight, toe_off: float, landing: float) -> str | None:
    """Reason when pelvis and a leg were lost together for so long that no path leads through.

    After a low flight it is looked for on: the jump itself may be hidden there.
    """
    if Placement.PELVIS not in window.sensors:
        return None
    begin, end = toe_off - APPROACH_S / window.step_s, landing + HIDDEN_JUMP_S / window.step_s
    spans = [(begin, landing, "of the attempt")]
    if flight.rise_m < LOW_M:
        spans.append((landing, end, "after a low flight; the jump itself may lie there"))
    for first, last, when in spans:
        for side in Side:
            if side.shank in window.sensors:
                gone_s = blind_s(window, (Placement.PELVIS, side.shank), first, last)
                if gone_s:
                    return f"pelvis and {side} shank are missing for {gone_s:.2f} s {when}"
    return None


def _leaving(contacts: tuple[Contact, ...], flight: Flight, step_s: float) -> list[Contact]:
    """Last contact of each foot that ends before the flight's middle, latest toe-off first."""
    found: dict[Side, Contact] = {}
    for contact in contacts:
        if contact.toe_off is not None and contact.toe_off < flight.apex:
            found[contact.side] = contact
    recent = [c for c in found.values() if (flight.apex - (c.toe_off or 0.0)) * step_s < 1.5]
    return sorted(recent, key=lambda c: -(c.toe_off or 0.0))


def _landings(contacts: tuple[Contact, ...], flight: Flight, step_s: float) -> tuple[Contact, ...]:
    """First contact of each foot after the flight's middle."""
    found: dict[Side, Contact] = {}
    for contact in contacts:
        if contact.strike is not None and contact.strike > flight.apex:
            found.setdefault(contact.side, contact)
    near = [c for c in found.values() if ((c.strike or 0.0) - flight.apex) * step_s < 1.0]
    return tuple(sorted(near, key=lambda c: c.strike or 0.0))


def _plant(leaving: list[Contact], step_s: float) -> tuple[Contact, ...]:
    """Contacts pushed off from.

    Both feet if the second came down too early to be a step of its own, or if they shared the floor
    for longer than one then stayed alone; for twice as long where the second came down late enough
    to be a step (own choice).
    """
    last = leaving[0]
    if len(leaving) < 2:
        return (last,)
    other = leaving[1]
    assert last.toe_off is not None
    assert other.toe_off is not None
    start_last = last.strike if last.strike is not None else -np.inf
    start_other = other.strike if other.strike is not None else -np.inf
    shared = min(last.toe_off, other.toe_off) - max(start_last, start_other)
    alone = last.toe_off - other.toe_off
    apart_s = abs(start_last - start_other) * step_s
    if apart_s > SECOND_FOOT_S:
        alone *= 2.0
    if alone >= shared and apart_s > NO_STEP_S:
        return (last,)
    return tuple(sorted((last, other), key=lambda c: -np.inf if c.strike is None else c.strike))


def _run_up(
    contacts: tuple[Contact, ...], plant: tuple[Contact, ...], step_s: float
) -> tuple[Contact, ...]:
    """Contacts before the plant, as far back as touchdowns follow each other."""
    if not plant or plant[0].strike is None:
        return ()
    next_strike = plant[0].strike
    chain: list[Contact] = []
    for contact in sorted(
        (c for c in contacts if c.strike is not None), key=lambda c: -(c.strike or 0.0)
    ):
        assert contact.strike is not None
        if contact in plant or contact.strike >= next_strike:
            continue
        if (next_strike - contact.strike) * step_s > STEP_LIMIT_S:
            break
        chain.append(contact)
        next_strike = contact.strike
    return tuple(reversed(chain))
