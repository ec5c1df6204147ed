"""An attempt's recording opened again: the same attempt, its signals, and events set by hand."""

from __future__ import annotations

import base64
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from imujump.attempt_again import HAND_SIGMA_S, drawn_again, found_again, measure_by_hand
from imujump.bookkeeping import add_recording
from imujump.errors import RecordingError
from imujump.model import EventKind
from imujump.sessions.store import SessionStore, open_store

DEMO = Path(__file__).resolve().parent.parent / "recordings_demo" / "speed_ladder.imujump"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[SessionStore, Path]]:
    folder = tmp_path_factory.mktemp("again")
    path = folder / "ladder.imujump"
    shutil.copy(DEMO, path)
    with open_store(folder / "store.sqlite") as store:
        add_recording(store, path, store.add_athlete("Ada Bell").athlete_id)
        yield store, path


def unpacked(text: str) -> np.ndarray:
    return np.frombuffer(base64.b64decode(text), dtype="<f4")


def test_one_attempt_alone_is_the_same_as_among_all(kept: tuple[SessionStore, Path]) -> None:
    store, _ = kept
    stored = store.attempt(4)
    found = found_again(store, stored)
    assert found.attempt.metrics == stored.metrics
    assert found.attempt.events == stored.events
    assert found.attempt.steps == stored.steps
    assert found_again(store, stored) is found, "held for who looks again"


def test_signals_lie_on_the_same_time_as_the_events(kept: tuple[SessionStore, Path]) -> None:
    store, _ = kept
    stored, told = store.attempt(4), drawn_again(store, 4)
    assert set(told["signals"]) == {"left_shank", "right_shank", "pelvis"}
    pelvis = [unpacked(each) for each in told["signals"]["pelvis"]["channels"]]
    assert len(pelvis) == 6
    time_s = told["start_s"] + told["step_s"] * np.arange(len(pelvis[0]))
    assert time_s[0] <= stored.start_s
    assert time_s[-1] >= stored.end_s
    force = np.sqrt(sum(channel.astype(float) ** 2 for channel in pelvis[:3]))
    flying = (time_s > stored.toe_off_s + 0.03) & (time_s < stored.landing_s - 0.03)
    # In free flight an accelerometer shows only how the body turns about its centre.
    assert np.median(force[flying]) < 4.0
    assert np.median(force[time_s < stored.start_s]) == pytest.approx(9.8, abs=0.5)
    course = told["course"]
    height_m = unpacked(course["height_m"])
    at_s = course["start_s"] + told["step_s"] * np.arange(len(height_m))
    rise = height_m[(at_s > stored.toe_off_s) & (at_s < stored.landing_s)].max()
    assert rise == pytest.approx(stored.metrics["pelvis_rise_m"].value, abs=1e-3)


def test_a_moved_event_moves_the_metrics_and_is_kept_beside(
    kept: tuple[SessionStore, Path],
) -> None:
    store, _ = kept
    stored = store.attempt(2)
    events = [
        replace(e, time_s=e.time_s - 0.01, sigma_s=HAND_SIGMA_S)
        if e.kind is EventKind.TOE_OFF and abs(e.time_s - stored.toe_off_s) < 1e-6
        else e
        for e in stored.events
    ]
    again = measure_by_hand(store, 2, events)
    before, after = stored.metrics["flight_s"].value, again.metrics["flight_s"].value
    assert before is not None
    assert after == pytest.approx(before + 0.01, abs=1e-6)
    assert again.hand_events
    assert store.attempt(2) == again
    assert store.show_measured(2) == stored
    assert [each.hand_events for each in store.results(2)] == [False, True]
    with pytest.raises(ValueError, match="add or remove an event"):
        measure_by_hand(store, 2, stored.events[:1] * 2)


def test_a_recording_that_is_gone_or_replaced_is_told(kept: tuple[SessionStore, Path]) -> None:
    store, path = kept
    away = path.with_suffix(".away")
    path.rename(away)
    with pytest.raises(RecordingError, match="not there any more"):
        drawn_again(store, 1)
    path.write_bytes(b"something else")
    with pytest.raises(RecordingError, match="another file"):
        drawn_again(store, 1)
    away.replace(path)
    assert drawn_again(store, 1)["signals"]
