"""Truth files and pairing: what is found, missed and invented is counted as it is."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from imujump.errors import RecordingError
from imujump.model import METRIC_NAMES, Analysis, EventKind, TakeOffStyle
from imujump.pipeline.engine import analyse
from imujump.validation import protocol
from imujump.validation.folder import with_truth
from imujump.validation.pairing import Tally
from imujump.validation.truths import Truth, parse_truth, read_truth, truth_file

DEMOS = Path(__file__).resolve().parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def jump() -> protocol.Simulated:
    return next(iter(protocol.recordings(1)))


@pytest.fixture(scope="module")
def measured(jump: protocol.Simulated) -> Analysis:
    return analyse(jump.recording)


def test_the_protocol_is_the_same_each_time(jump: protocol.Simulated) -> None:
    again = next(iter(protocol.recordings(1)))
    assert again.name == jump.name
    assert again.truth == jump.truth
    one, two = jump.recording.packets[7], again.recording.packets[7]
    assert one.accel_mps2.tobytes() == two.accel_mps2.tobytes()


def test_a_found_jump_gives_a_pair_for_every_true_metric(
    jump: protocol.Simulated, measured: Analysis
) -> None:
    tally = Tally()
    tally.add(jump.name, measured, jump.truth)
    assert (tally.attempts_true, tally.attempts_found, tally.attempts_invented) == (1, 1, 0)
    (true,) = jump.truth.attempts
    assert set(true.metrics) == set(tally.pairs) | set(tally.left_out)
    for name, (pair,) in tally.pairs.items():
        estimate = measured.attempts[0].metrics[name]
        assert (pair.value, pair.sigma) == (estimate.value, estimate.sigma)
        assert pair.truth == true.metrics[name]
    # The athlete goes on to step after an attempt has ended.
    strikes = sum(
        e.kind is EventKind.FOOT_STRIKE and e.time_s <= measured.attempts[0].end_s
        for e in true.events
    )
    assert tally.strikes_true == strikes >= tally.strikes_found > strikes / 2


def test_what_is_not_true_is_counted_as_invented(
    jump: protocol.Simulated, measured: Analysis
) -> None:
    tally = Tally()
    tally.add("nothing happened", measured, Truth((), whole=True))
    assert (tally.attempts_found, tally.attempts_invented, tally.pairs) == (0, 1, {})


def test_what_is_not_found_is_counted_as_missed(
    jump: protocol.Simulated, measured: Analysis
) -> None:
    tally = Tally()
    tally.add("missed", replace(measured, attempts=()), jump.truth)
    assert (tally.attempts_true, tally.attempts_found, tally.attempts_invented) == (1, 0, 0)
    assert tally.strikes_found == 0 < tally.strikes_true
    late = replace(jump.truth.attempts[0], toe_off_s=jump.truth.attempts[0].toe_off_s + 5.0)
    tally.add("elsewhere", measured, Truth((late,), whole=True))
    assert (tally.attempts_found, tally.attempts_invented) == (0, 1)


def test_demo_truths_are_read() -> None:
    paths = with_truth(DEMOS)
    assert len(paths) == 6
    truth = read_truth(truth_file(DEMOS / "two_foot.imujump"))
    (attempt,) = truth.attempts
    assert attempt.style is TakeOffStyle.TWO_FOOT
    assert set(attempt.metrics) < set(METRIC_NAMES)
    assert attempt.metrics["flight_s"] > 0.3


@pytest.mark.requires_shared("virtual_recordings")
def test_open_truths_are_read(shared_data: Path) -> None:
    folder = shared_data / "virtual_recordings" / "physics"
    paths = with_truth(folder)
    assert len(paths) == 9
    for path in paths:
        (attempt,) = read_truth(truth_file(path)).attempts
        record = json.loads(truth_file(path).read_text(encoding="utf-8"))
        assert attempt.metrics["flight_s"] == record["take_off"]["flight_s"]
        assert attempt.metrics["last_step_m"] == record["last_step_m"]
        heights = record["pelvis_height"]["sensor_point"]
        assert attempt.metrics["plant_lowering_m"] == pytest.approx(
            heights["standing_m"] - heights["at_plant_touchdown_m"]
        )


def test_a_recording_without_a_jump_has_no_true_attempt() -> None:
    assert parse_truth({"take_off": None, "events": []}).attempts == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("not json", "cannot be read"),
        ('{"attempts": [{"take_off": {}}]}', "lacks a field"),
        ('{"attempts": 3}', "holds a wrong one"),
        ("[]", "holds a wrong one"),
    ],
)
def test_a_bad_truth_file_is_told(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "x_truth.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RecordingError, match=told):
        read_truth(path)


def test_a_folder_without_truth_is_told(tmp_path: Path) -> None:
    (tmp_path / "x.imujump").write_bytes(b"")
    with pytest.raises(RecordingError, match="truth file beside it"):
        with_truth(tmp_path)
