"""What must not matter does not: mounting, the clock's zero, which leg is which."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imujump.model import Attempt, FloatArray, Placement, Side
from imujump.pipeline.engine import analyse
from imujump.simulate.athlete import ApproachJump

from .comparing import apart, only_attempt, worst
from .recordings import ONE_FOOT, TWO_FOOT, Packets, recorded, streams, turned

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS
JUMPS = pytest.mark.parametrize("jump", [ONE_FOOT, TWO_FOOT], ids=["one_foot", "two_foot"])

ROUNDING = 1e-3
"""Where only the order of rounding differs, values agree to this part of a sigma."""


@cache
def plain(jump: ApproachJump) -> Attempt:
    return only_attempt(analyse(recorded(jump)))


def about_segment(angle_deg: float) -> FloatArray:
    """Rotation about the segment's long axis, the sensor's z at perfect mounting."""
    return np.asarray(Rotation.from_euler("z", angle_deg, degrees=True).as_matrix())


@JUMPS
@pytest.mark.parametrize(
    ("left_deg", "right_deg", "pelvis_deg"), [(45.0, 45.0, 20.0), (-45.0, 45.0, -20.0)]
)
def test_turned_mountings_change_less_than_a_sigma(
    jump: ApproachJump, left_deg: float, right_deg: float, pelvis_deg: float
) -> None:
    turns = {
        LEFT: about_segment(left_deg),
        RIGHT: about_segment(right_deg),
        PELVIS: about_segment(pelvis_deg),
    }
    attempt = only_attempt(analyse(turned(recorded(jump), turns)))
    assert attempt.take_off_side is plain(jump).take_off_side
    assert worst(apart(plain(jump), attempt)) < 1.0


@settings(max_examples=3, deadline=None)
@given(left_deg=st.floats(-180.0, 180.0), right_deg=st.floats(-180.0, 180.0))
def test_how_a_shank_sensor_is_turned_about_the_leg_does_not_matter(
    left_deg: float, right_deg: float
) -> None:
    turns = {LEFT: about_segment(left_deg), RIGHT: about_segment(right_deg)}
    attempt = only_attempt(analyse(turned(recorded(ONE_FOOT), turns)))
    assert worst(apart(plain(ONE_FOOT), attempt)) < ROUNDING


@pytest.mark.parametrize(
    ("jump", "which"),
    [(ONE_FOOT, (PELVIS,)), (ONE_FOOT, (LEFT,)), (TWO_FOOT, tuple(Placement))],
    ids=["pelvis", "left shank", "all"],
)
def test_an_upside_down_sensor_is_told_and_allowed_for(
    jump: ApproachJump, which: tuple[Placement, ...]
) -> None:
    about_forward = np.diag((1.0, -1.0, -1.0))
    analysis = analyse(turned(recorded(jump), dict.fromkeys(which, about_forward)))
    told = [w for w in analysis.warnings if "upside down" in w]
    assert {w.split(":")[0] for w in told} == {str(p).replace("_", " ") for p in which}
    assert worst(apart(plain(jump), only_attempt(analysis))) < ROUNDING


def test_a_pelvis_sensor_upside_down_and_back_to_front() -> None:
    about_left = np.diag((-1.0, 1.0, -1.0))
    analysis = analyse(turned(recorded(ONE_FOOT), {PELVIS: about_left}))
    assert any("upside down" in w for w in analysis.warnings)
    assert worst(apart(plain(ONE_FOOT), only_attempt(analysis))) < 1.0


@settings(max_examples=3, deadline=None)
@given(
    ticks=st.integers(-(2**40), 2**40),
    arrival_s=st.floats(-1e5, 1e5, allow_nan=False),
)
def test_the_clocks_zero_does_not_matter(ticks: int, arrival_s: float) -> None:
    """All sensors' ticks and all arrivals moved: the recording's first sample stays at 0 s."""
    recording = recorded(ONE_FOOT)
    moved = tuple(
        replace(b, ticks=b.ticks + ticks, arrival_s=b.arrival_s + arrival_s)
        for b in recording.batches()
    )
    attempt = only_attempt(analyse(Packets(recording.info, moved)))
    assert worst(apart(plain(ONE_FOOT), attempt)) < ROUNDING
    # A clock's rate is sought in steps and bent towards its nominal one: some microseconds.
    assert attempt.toe_off_s == pytest.approx(plain(ONE_FOOT).toe_off_s, abs=2e-5)
    assert attempt.start_s == pytest.approx(plain(ONE_FOOT).start_s, abs=2e-5)


@pytest.mark.parametrize("cut_s", [0.5, 0.9])
def test_a_recording_begun_later_shifts_times_only(cut_s: float) -> None:
    """Less of the stand: the same attempt earlier in the recording, values as good as equal."""
    recording = recorded(ONE_FOOT)
    kept = Packets(recording.info, tuple(b for b in recording.batches() if b.arrival_s > cut_s))
    begun = [
        (streams(kept)[p][0].ticks[0] - streams(recording)[p][0].ticks[0]) * 1e-6 for p in Placement
    ]
    shift_s = float(min(begun))
    assert shift_s > cut_s - 0.2
    attempt, whole = only_attempt(analyse(kept)), plain(ONE_FOOT)
    # The stand's mean is taken over other samples: a small part of what sigma allows for it.
    assert worst(apart(whole, attempt)) < 0.3
    for event, twin in zip(whole.events, attempt.events, strict=True):
        assert (event.kind, event.side) == (twin.kind, twin.side)
        # Contacts are looked for every 10 ms, at other instants: a small part of sigma.
        assert twin.time_s == pytest.approx(event.time_s - shift_s, abs=1e-3)
    assert attempt.landing_s == pytest.approx(whole.landing_s - shift_s, abs=1e-3)


@JUMPS
def test_a_mirrored_recording_swaps_sides_and_nothing_else(jump: ApproachJump) -> None:
    """Mirror at the sagittal plane: forces change sign across it, turning rates along it."""
    across = np.array((1.0, -1.0, 1.0))
    swap = {LEFT: RIGHT, RIGHT: LEFT, PELVIS: PELVIS}
    recording = recorded(jump)
    mirrored = Packets(
        recording.info,
        tuple(
            replace(
                b,
                placement=swap[b.placement],
                accel_mps2=b.accel_mps2 * across,
                gyro_radps=b.gyro_radps * -across,
            )
            for b in recording.batches()
        ),
    )
    analysis, base = analyse(mirrored), plain(jump)
    attempt = only_attempt(analysis)
    assert analysis.warnings == analyse(recording).warnings
    assert base.take_off_side is not None
    assert attempt.take_off_side is base.take_off_side.other
    assert attempt.take_off_style is base.take_off_style
    differences = apart(base, attempt, mirrored=True)
    assert worst(differences) < ROUNDING
    assert [(e.kind, e.side.other) for e in attempt.events] == [
        (e.kind, e.side) for e in base.events
    ]
    assert [s.side.other for s in attempt.steps] == [s.side for s in base.steps]
    assert {s.side for s in base.steps} == set(Side)
