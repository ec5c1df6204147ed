"""The table of attempts and the sheet of every metric, read as a coach reads them."""

import re
from dataclasses import replace

import pytest
from analyses import analysis, missing, one_foot_attempt, run_through, two_foot_attempt

from imujump.display_units import (
    ASCII,
    CENTIMETRES,
    DEGREES,
    MILLISECONDS,
    UNICODE,
    clock_time,
    display_sigma,
    display_value,
    glyphs_for,
)
from imujump.model import METRIC_NAMES
from imujump.sheet import attempt_sheets
from imujump.table import attempts_table
from imujump.wording import FIRST_READ, METRICS, PHASES, step_name


@pytest.fixture
def recordings():
    full = analysis(
        one_foot_attempt(),
        two_foot_attempt(),
        run_through(),
        warnings=("the left shank sensor clipped 12 samples at ±157 m/s²",),
    )
    return [("tuesday.tsv", full), ("empty.tsv", analysis())]


def row(text, number):
    return next(line for line in text.splitlines() if re.match(rf"\s+{number}\s", line))


def test_one_line_shows_the_first_read_values_in_display_units(recordings):
    text = attempts_table(recordings, 120, UNICODE)
    told = re.sub(r"\s+", " ", row(text, 1)).strip()
    assert told == (
        "1 1:05.0 left 4.12 ± 0.05 182 ± 4 175 ± 4 0.96 ± 0.03 14.2 ± 0.8 214 ± 9 562 ± 10 "
        "38.8 ± 1.4"
    )


@pytest.mark.parametrize("width", [80, 100, 120])
@pytest.mark.parametrize("glyphs", [UNICODE, ASCII])
def test_no_line_is_longer_than_the_screen(recordings, width, glyphs):
    text = attempts_table(recordings, width, glyphs) + attempt_sheets(recordings, width, glyphs)
    assert [line for line in text.splitlines() if len(line) > width] == []


@pytest.mark.parametrize("width", [80, 100, 120])
def test_one_attempt_is_one_line_and_heads_stand_over_their_columns(recordings, width):
    lines = attempts_table([("a", analysis(one_foot_attempt()))], width, UNICODE).splitlines()
    first = next(i for i, line in enumerate(lines) if line == "a")
    units, values = lines[first - 1], lines[first + 1]
    assert lines[first + 2] == ""
    for column in re.finditer(r"m/s|cm|ms", units):
        assert values[column.end() - 1] != " "


def test_on_a_narrow_screen_each_uncertainty_stands_under_its_value(recordings):
    lines = attempts_table([("a", analysis(one_foot_attempt()))], 72, UNICODE).splitlines()
    at = lines.index("a")
    values = [m.end() for m in re.finditer(r"\S+", lines[at + 1])][2:]
    sigmas = [m.end() for m in re.finditer(r"\S+", lines[at + 2])]
    assert values == sigmas
    assert len(values) == len(FIRST_READ)


def test_reason_stands_under_what_is_missing_once_for_all_it_explains(recordings):
    text = attempts_table(recordings, 200, UNICODE)
    lines = text.splitlines()
    under = lines[lines.index(row(text, 2)) + 1].strip()
    assert under == (
        "Penultimate step length, last step length, last / penultimate length: the right shank "
        "sensor was not received from 82.10 s to 82.16 s."
    )


def test_an_attempt_that_does_not_count_says_why(recordings):
    text = attempts_table(recordings, 100, UNICODE)
    assert "Not counted: no flight followed the plant." in text


def test_a_value_in_doubt_is_marked_and_the_mark_explained(recordings):
    text = attempts_table(recordings, 100, UNICODE)
    assert "562±10*" in row(text, 2)
    assert "* in doubt" in text
    calm = attempts_table([("a", analysis(one_foot_attempt()))], 100, UNICODE)
    assert "*" not in calm


def test_warnings_stand_at_the_foot_with_their_recording(recordings):
    last = attempts_table(recordings, 200, UNICODE).splitlines()[-1]
    assert last == "tuesday.tsv: The left shank sensor clipped 12 samples at ±157 m/s²."


def test_recording_without_jumps_says_so():
    assert attempts_table([("a", analysis())], 80, UNICODE) == "a\n    no jump found\n"


def test_an_ascii_console_gets_only_ascii(recordings):
    text = attempts_table(recordings, 80, ASCII) + attempt_sheets(recordings, 80, ASCII)
    assert text.isascii()
    assert "+/-0.05" in text


def test_value_without_sigma_shows_a_question_mark():
    attempt = one_foot_attempt()
    flight = replace(attempt.metrics["flight_s"], sigma=None)
    told = replace(attempt, metrics={**attempt.metrics, "flight_s": flight})
    assert "562±?" in attempts_table([("a", analysis(told))], 100, UNICODE)


def test_sheet_lists_every_metric_under_its_phase(recordings):
    text = attempt_sheets([("a", analysis(one_foot_attempt()))], 100, UNICODE)
    lines = text.splitlines()
    places = {phase: lines.index(phase) for phase in PHASES}
    for name in METRIC_NAMES:
        wording = METRICS[name]
        (at,) = [i for i, line in enumerate(lines) if line.startswith(f"  {wording.label}  ")]
        above = max(place for place in places.values() if place < at)
        assert places[wording.phase] == above


def test_sheet_shows_value_method_reason_and_steps(recordings):
    text = attempt_sheets(recordings, 100, UNICODE)
    assert re.search(r"pelvis tilt at plant +-4.6 ± 1.1 ° +invented", text)
    assert re.search(r"plant interval +- +one-foot take-off", text)
    assert re.search(r"flight time +562 ± 10 ms +invented; in doubt: the landing", text)
    assert re.search(r"penultimate +right +1:06.6 +182±4 +438±6 +200±10 +4.20±0.05", text)
    assert "two-foot take-off, right foot plants first" in text
    assert "no step of an approach was found" in text


@pytest.mark.parametrize(
    ("value", "unit", "decimals", "shown"),
    [
        (0.5624, MILLISECONDS, 0, "562"),
        (0.14234, CENTIMETRES, 1, "14.2"),
        (-0.00001, CENTIMETRES, 1, "0.0"),
        (3.14159265358979, DEGREES, 0, "180"),
    ],
)
def test_display_units(value, unit, decimals, shown):
    assert display_value(value, unit, decimals) == shown


def test_a_small_uncertainty_is_never_shown_as_none():
    assert display_sigma(0.0001, MILLISECONDS, 0) == "1"
    assert display_sigma(0.0, MILLISECONDS, 0) == "0"
    assert display_sigma(0.0103, MILLISECONDS, 0) == "10"


def test_minutes_carry_over():
    assert clock_time(59.96) == "1:00.0"
    assert clock_time(3599.0) == "59:59.0"


@pytest.mark.parametrize(
    ("encoding", "glyphs"),
    [("utf-8", UNICODE), ("cp1252", UNICODE), ("ascii", ASCII), (None, ASCII), ("no-such", ASCII)],
)
def test_characters_follow_the_encoding(encoding, glyphs):
    assert glyphs_for(encoding) == glyphs


def test_every_metric_has_a_wording_and_no_other():
    assert tuple(METRICS) == METRIC_NAMES
    for wording in METRICS.values():
        assert wording.phase in PHASES
        assert len(wording.head.split(" ")) <= 2
        assert wording.meaning.endswith(".")
    assert len({wording.label for wording in METRICS.values()}) == len(METRICS)


def test_steps_have_the_names_of_the_trade():
    last = one_foot_attempt().steps[-1]
    names = [step_name(replace(last, number=-n)) for n in (1, 2, 3, 4)]
    assert names == ["last", "penultimate", "antepenultimate", "4 before plant"]


def test_attempt_with_nothing_measured_keeps_its_line(recordings):
    nothing = replace(
        one_foot_attempt(), metrics={name: missing("no sensor") for name in METRIC_NAMES}
    )
    for width in (80, 100, 120):
        assert row(attempts_table([("a", analysis(nothing))], width, UNICODE), 1)
