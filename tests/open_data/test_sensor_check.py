"""The sensor check on recorded walks whose sensors' places are known.

Walks of 13 adults with sensors on both feet and the low back (C. Voisard et al., Image Processing
On Line 2023, article 497) and one with sensors on shanks and pelvis (L. Sy et al., IEEE
Transactions on Biomedical Engineering 2021). In 4-1 and 4-2, both of one person, the low back
turns against the feet as in no other walk, to the left instead of the right: either they were
exchanged or this person walks so. In 17-1 and 17-2 the walk begins with the first sample.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from imujump.capture.check_words import CheckItem, CheckSamples, Verdict
from imujump.capture.sensor_check import check_sensors
from imujump.model import Placement, SampleSource

from .walking import walk_feet_lowback_events, walk_pelvis_shanks_vicon

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS
OTHER_SIDE = {"4-1", "4-2"}


def samples_of(source: SampleSource) -> dict[Placement, CheckSamples]:
    parts: dict[Placement, list[np.ndarray]] = {}
    for batch in source.batches():
        time_s = batch.ticks * next(
            s.tick_s for s in source.info.sensors if s.placement is batch.placement
        )
        both = np.column_stack((time_s, batch.accel_mps2, batch.gyro_radps))
        parts.setdefault(batch.placement, []).append(both)
    found = {}
    for info in source.info.sensors:
        rows = np.vstack(parts[info.placement])
        found[info.placement] = CheckSamples(
            info, rows[:, 0], rows[:, 1:4].copy(), rows[:, 4:].copy()
        )
    return found


def verdict_on(
    samples: dict[Placement, CheckSamples], place: Placement, item: CheckItem
) -> Verdict:
    (judgement,) = (j for j in check_sensors(samples) if j.placement is place)
    (found,) = (f for f in judgement.findings if f.item is item)
    return found.verdict


def exchanged(
    samples: dict[Placement, CheckSamples], one: Placement, other: Placement
) -> dict[Placement, CheckSamples]:
    swap = {one: other, other: one}
    return {p: replace(samples[swap.get(p, p)], info=samples[p].info) for p in samples}


@pytest.mark.requires_shared("walk_feet_lowback_events")
def test_sides_of_seventy_four_walks(shared_data: Path) -> None:
    trials = sorted(p.stem for p in (shared_data / "walk_feet_lowback_events").glob("*.npz"))
    assert len(trials) == 74
    right, swapped = 0, 0
    for trial in trials:
        samples = samples_of(walk_feet_lowback_events(shared_data, trial)[0])
        verdict = verdict_on(samples, LEFT, CheckItem.SIDE)
        assert verdict_on(samples, PELVIS, CheckItem.PLACEMENT) is Verdict.GOOD, trial
        right += verdict is Verdict.GOOD
        if trial not in OTHER_SIDE:
            assert verdict is not Verdict.UNUSABLE, trial
        mirrored = exchanged(samples, LEFT, RIGHT)
        swapped += verdict_on(mirrored, LEFT, CheckItem.SIDE) is not Verdict.GOOD
    assert right >= 68
    assert swapped >= 72


@pytest.mark.requires_shared("walk_pelvis_shanks_vicon")
@pytest.mark.parametrize("shank", ["LowLeg", "LowLeg2"])
def test_shanks_and_pelvis(shared_data: Path, shank: str) -> None:
    samples = samples_of(walk_pelvis_shanks_vicon(shared_data, shank)[0])
    for place in (LEFT, RIGHT):
        assert verdict_on(samples, place, CheckItem.SIDE) is Verdict.GOOD
        assert verdict_on(samples, place, CheckItem.PLACEMENT) is Verdict.GOOD
    mirrored = exchanged(samples, LEFT, RIGHT)
    assert verdict_on(mirrored, LEFT, CheckItem.SIDE) is Verdict.UNUSABLE
    displaced = exchanged(samples, LEFT, PELVIS)
    for place in (LEFT, PELVIS):
        assert verdict_on(displaced, place, CheckItem.PLACEMENT) is Verdict.UNUSABLE
