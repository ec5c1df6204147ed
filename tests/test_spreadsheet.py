"""Rows for a spreadsheet, read back with Python's csv module (RFC 4180 line ends and quotes)."""

import csv
import io

from analyses import VALUES, analysis, one_foot_attempt, two_foot_attempt

from imujump.model import METRIC_NAMES
from imujump.spreadsheet import COLUMNS, header, rows, sigma_column


def read(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_one_row_an_attempt_with_value_sigma_and_reason():
    attempts = analysis(one_foot_attempt(), two_foot_attempt()).attempts
    first, second = read(header() + rows("a.tsv", attempts))
    assert first["recording"] == "a.tsv"
    assert (first["take_off_style"], first["take_off_side"]) == ("one_foot", "left")
    assert first["valid"] == "yes"
    for name, (value, sigma) in VALUES.items():
        assert abs(float(first[name]) - value) <= 1e-5 * abs(value)
        assert float(first[sigma_column(name)]) == sigma
        assert first[f"{name}_reason"] == ""
    assert first["plant_interval_s"] == first["plant_interval_sigma_s"] == ""
    assert first["plant_interval_s_reason"] == "one-foot take-off"
    assert second["turn_rad"] == second["turn_sigma_rad"] == ""
    assert second["turn_rad_reason"]


def test_columns_are_unique_and_hold_three_for_each_metric():
    assert len(set(COLUMNS)) == len(COLUMNS)
    for name in METRIC_NAMES:
        at = COLUMNS.index(name)
        assert COLUMNS[at + 1 : at + 3] == (sigma_column(name), f"{name}_reason")
    assert sigma_column("last_step_m") == "last_step_sigma_m"
    assert sigma_column("landing_peak_left_mps2") == "landing_peak_left_sigma_mps2"


def test_line_ends_and_quotes_follow_rfc_4180():
    path = 'the "good", one\n.tsv'
    text = header() + rows(path, [one_foot_attempt()])
    assert '"the ""good"", one\n.tsv"' in text
    assert text.endswith("\r\n")
    assert header().count("\r\n") == 1
    assert read(text)[0]["recording"] == path


def test_no_text_is_taken_for_a_formula_and_numbers_stay_numbers():
    for name in ("=1+1.tsv", "+a.tsv", "-a.tsv", "@a.tsv", "\ta.tsv", "\ra.tsv", " =a.tsv"):
        (row,) = read(header() + rows(name, [one_foot_attempt()]))
        assert row["recording"] == f"'{name}"
    assert row["pelvis_tilt_rad"] == "-0.08"
