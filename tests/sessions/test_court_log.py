"""A courtside log in the terms of the store; damaged and hostile lines do no harm."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from imujump.sessions.court_log import CourtLog, read_court_log
from imujump.sessions.records import NoteKind, Task
from imujump.sessions.session_log import EntryKind, SessionLog
from tests.sessions.invented import three_jumps

ATTEMPTS = three_jumps().attempts


def test_what_was_chosen_noted_and_marked_is_read(tmp_path):
    log = SessionLog(tmp_path / "a.log.jsonl")
    log.add(
        EntryKind.BEGIN,
        data={"athlete": "Ada", "task": "two_foot", "surface": "Track", "shoe": "Spikes"},
    )
    # The page numbered the jumps from 4 on: only their toe-offs tell which is which.
    log.add(EntryKind.ATTEMPT, 4, data={"attempt": 4, "toe_off_s": 20.01})
    log.add(EntryKind.CUE, 4, "hips low")
    log.add(EntryKind.ATTEMPT, 5, data={"attempt": 5, "toe_off_s": 50.0})
    log.add(EntryKind.INVALID, 5, "slipped")
    log.add(EntryKind.SEEN, 5, "arms late")
    log.undo()
    log.add(EntryKind.NEW_SET)
    log.add(EntryKind.PAIN, 5)
    read = read_court_log(SessionLog(log.path).entries(), ATTEMPTS)
    assert (read.athlete, read.task) == ("Ada", Task.TWO_FOOT)
    assert (read.surface, read.shoe) == ("Track", "Spikes")
    assert [(line.kind, line.text, line.attempt) for line in read.lines] == [
        (NoteKind.CUE, "hips low", 1),
        (NoteKind.NEW_SET, "", None),
        (NoteKind.PAIN, "", 2),
    ]
    assert read.invalid == {2: "slipped"}
    assert abs((datetime.now(UTC) - read.lines[0].noted_utc).total_seconds()) < 600


def test_without_toe_offs_the_numbers_count(tmp_path):
    log = SessionLog(tmp_path / "a.log.jsonl")
    log.add(EntryKind.CUE, 2, "quick")
    log.add(EntryKind.CUE, 9, "of a jump that is not there")
    read = read_court_log(log.entries(), ATTEMPTS)
    assert [line.attempt for line in read.lines] == [2, None]


GOOD = {"number": 1, "kind": "cue", "noted_utc": "2026-03-03T17:00:00Z", "text": "kept"}


@pytest.mark.parametrize(
    "line",
    [
        b"\xff\xfe no text",
        b"{",
        b"[1, 2]",
        b"[" * 100_000,
        json.dumps({**GOOD, "kind": "unheard of"}).encode(),
        json.dumps({**GOOD, "attempt": [1]}).encode(),
        json.dumps({**GOOD, "attempt": "1"}).encode(),
        json.dumps({**GOOD, "text": {"a": 1}}).encode(),
        json.dumps({**GOOD, "data": 7}).encode(),
        json.dumps({**GOOD, "noted_utc": 7}).encode(),
        json.dumps({**GOOD, "more": 7}).encode(),
    ],
)
def test_damaged_and_hostile_lines_are_passed_over(tmp_path, line):
    path = tmp_path / "a.log.jsonl"
    path.write_bytes(line + b"\n" + json.dumps(GOOD).encode() + b"\n")
    read = read_court_log(SessionLog(path).entries(), ATTEMPTS)
    assert [line.text for line in read.lines] == ["kept"]


def test_an_unknown_task_and_a_time_that_is_none_are_left_open(tmp_path):
    path = tmp_path / "a.log.jsonl"
    begin = {**GOOD, "kind": "begin", "data": {"task": ["x"], "shoe": 3}}
    path.write_text(
        "\n".join(json.dumps(line) for line in (begin, {**GOOD, "noted_utc": "yesterday"}))
    )
    read = read_court_log(SessionLog(path).entries(), ATTEMPTS)
    assert (read.task, read.shoe) == (None, "3")
    assert read.lines[0].noted_utc == datetime.fromtimestamp(0, UTC)
    assert read_court_log([], ATTEMPTS) == CourtLog()
