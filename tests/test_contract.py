"""The JSON document against the contract written out here key by key."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from importlib.metadata import version

import pytest
from analyses import analysis, missing, one_foot_attempt, run_through, two_foot_attempt

from imujump.contract import document, line, stated
from imujump.model import METRIC_NAMES, Estimate

E = {"value": float, "sigma": float, "reason": str, "method": str}

ATTEMPT = {
    "attempt": int,
    "start_s": float,
    "end_s": float,
    "take_off_style": str,
    "take_off_side": str,
    "valid": bool,
    "reasons": [str],
    "events": [{"kind": str, "side": str, "time_s": float, "sigma_s": float}],
    "steps": [
        {
            "n": int,
            "side": str,
            "strike_s": float,
            "length_m": E,
            "time_s": E,
            "contact_s": E,
            "speed_mps": E,
        }
    ],
    "metrics": dict.fromkeys(METRIC_NAMES, E),
}

DOCUMENT = {
    "imujump": str,
    "recording": {
        "path": str,
        "started_utc": str,
        "duration_s": float,
        "sensors": [
            {"placement": str, "rate_hz": float, "missing_s": float, "clipped_samples": int}
        ],
        "warnings": [str],
        "marks": [{"time_s": float, "text": str}],
    },
    "attempts": [ATTEMPT],
}
"""Keys in order and the type of each value; a list holds any number of its one element."""

NULLABLE = {"started_utc", "take_off_style", "take_off_side", "value", "sigma", "reason"}


def check(shape, value, key="document"):
    """Compare keys, their order and types; the JSON analogue of a strict schema."""
    if isinstance(shape, dict):
        assert list(value) == list(shape), key
        for name, inner in shape.items():
            check(inner, value[name], name)
    elif isinstance(shape, list):
        assert isinstance(value, list), key
        for item in value:
            check(shape[0], item, key)
    elif value is None:
        assert key in NULLABLE
    else:
        assert type(value) is shape, key


def parse(text):
    def refuse(word):
        raise AssertionError(f"{word} is not JSON (RFC 8259, section 6)")

    return json.loads(text, parse_constant=refuse)


@pytest.fixture
def full():
    return analysis(
        one_foot_attempt(), two_foot_attempt(), run_through(), warnings=("a battery ran low",)
    )


def test_document_has_exactly_the_keys_of_the_contract(full):
    check(DOCUMENT, parse(line(full, "a.tsv")))


def test_the_shape_check_sees_a_missing_key(full):
    told = document(full, "a.tsv")
    del told["attempts"][0]["metrics"]["flight_s"]
    with pytest.raises(AssertionError):
        check(DOCUMENT, told)


def test_metrics_come_in_the_order_of_the_contract(full):
    for attempt in parse(line(full, "a.tsv"))["attempts"]:
        assert tuple(attempt["metrics"]) == METRIC_NAMES


def test_values_of_one_recording():
    told = parse(line(analysis(one_foot_attempt()), "a.tsv"))
    assert told["imujump"] == version("imujump")
    assert told["recording"]["path"] == "a.tsv"
    assert told["recording"]["started_utc"] == "2026-03-14T09:26:53.589793Z"
    assert told["recording"]["duration_s"] == 120.005
    assert told["recording"]["sensors"][1] == {
        "placement": "right_shank",
        "rate_hz": 200.0,
        "missing_s": 0.06,
        "clipped_samples": 12,
    }
    (attempt,) = told["attempts"]
    assert attempt["take_off_style"] == "one_foot"
    assert attempt["take_off_side"] == "left"
    assert attempt["end_s"] == 69.123457
    assert attempt["events"][0] == {
        "kind": "foot_strike",
        "side": "left",
        "time_s": 67.012346,
        "sigma_s": 0.0041,
    }
    assert [step["n"] for step in attempt["steps"]] == [-2, -1]
    assert attempt["metrics"]["approach_speed_mps"] == {
        "value": 4.12346,
        "sigma": 0.051,
        "reason": None,
        "method": "invented",
    }
    assert attempt["metrics"]["plant_interval_s"]["value"] is None
    assert attempt["metrics"]["plant_interval_s"]["reason"] == "one-foot take-off"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_becomes_null_with_a_reason(value):
    told = stated(Estimate(value, 0.1, None, "invented"))
    assert told.value is None
    assert told.sigma is None
    assert told.reason


def test_a_sigma_that_is_not_finite_becomes_null():
    assert stated(Estimate(1.0, math.nan, None, "invented")).sigma is None


def test_a_reason_beside_a_missing_value_is_kept():
    assert stated(missing("no pelvis sensor")).reason == "no pelvis sensor"


def test_negative_zero_is_written_as_zero():
    assert math.copysign(1.0, stated(Estimate(-0.0, 0.1, None, "invented")).value) == 1.0


def test_recording_without_attempts_still_gives_a_line():
    told = parse(line(analysis(), "a.tsv"))
    check(DOCUMENT, told)
    assert told["attempts"] == []


def test_one_document_is_one_ascii_line_even_with_line_breaks_in_its_texts():
    text = line(analysis(warnings=("first\nsecond ±",)), "Übung\n1.tsv")
    assert text.isascii()
    assert text.count("\n") == 1
    assert text.endswith("\n")
    assert parse(text)["recording"]["path"] == "Übung\n1.tsv"


def test_a_start_in_another_time_zone_is_told_in_utc():
    tokyo = datetime(2026, 3, 14, 18, 0, tzinfo=timezone(timedelta(hours=9)))
    told = document(replace(analysis(), started_utc=tokyo), "a.tsv")
    assert told["recording"]["started_utc"] == "2026-03-14T09:00:00Z"
    utc = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
    assert document(replace(analysis(), started_utc=utc), "a.tsv") == told


def test_an_attempt_without_a_metric_is_a_fault_of_the_caller():
    attempt = one_foot_attempt()
    short = {name: attempt.metrics[name] for name in METRIC_NAMES[:-1]}
    with pytest.raises(KeyError, match=METRIC_NAMES[-1]):
        document(analysis(replace(attempt, metrics=short)), "a.tsv")
