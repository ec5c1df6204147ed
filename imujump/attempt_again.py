"""Opens an attempt's recording again: its signals, and its metrics from events set by hand."""

from __future__ import annotations

import base64
import contextlib
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from imujump.errors import RecordingError
from imujump.model import Attempt, BoolArray, FloatArray, GaitEvent, Placement
from imujump.pipeline.attempt_motion import AttemptMotion
from imujump.pipeline.by_hand import HAND_SIGMA_S as HAND_SIGMA_S
from imujump.pipeline.by_hand import measured_by_hand
from imujump.pipeline.engine import analyse_with_motion
from imujump.pipeline_version import pipeline_version
from imujump.recording.content_hash import holds_content
from imujump.recording.files import open_recording
from imujump.sessions.plain_text import path_of
from imujump.sessions.records import StoredAttempt, StoredRecording
from imujump.sessions.store import SessionStore

SAME_S = 0.5
"""The attempt that is meant has its toe-off this near (as when results are stored)."""

BEFORE_S, AFTER_S = 1.0, 1.5
"""Signals shown before an attempt begins and after it ends (own choice)."""

LONGEST_S = 30.0
"""Longer stretches of signals are cut at their beginning (own choice: the longest run-ups)."""

HELD = 6
"""Motions held in memory for who looks again (own choice: a few megabytes each)."""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """An attempt as the recording gives it now, and the motion behind it."""

    attempt: Attempt
    motion: AttemptMotion


_held: OrderedDict[tuple[str, int], Found] = OrderedDict()
_lock = threading.Lock()


def found_again(store: SessionStore, stored: StoredAttempt) -> Found:
    """Find a stored attempt in its recording.

    Raises
    ------
    RecordingError
        If the file is gone, has become another one, cannot be read, or no longer gives this
        attempt; the sentence says what to do.
    """
    return found_in(store.recording(stored.recording_id), stored.toe_off_s)


def found_in(recording: StoredRecording, toe_off_s: float) -> Found:
    """Find the attempt of a recording that takes off at an instant; raises as the above."""
    key = recording.sha256, round(toe_off_s / SAME_S)
    _check(recording)
    with _lock:
        held = _held.get(key)
        if held is not None and _apart(held, toe_off_s) <= SAME_S:
            _held.move_to_end(key)
            return held
    kept: list[Found] = []
    source = open_recording(path_of(recording.path), column_text=recording.column_map)
    with contextlib.ExitStack() as stack:
        if close := getattr(source, "close", None):
            stack.callback(close)
        analyse_with_motion(source, lambda a, m: kept.append(Found(a, m)), around_s=toe_off_s)
    near = [found for found in kept if _apart(found, toe_off_s) <= SAME_S]
    if not near:
        raise RecordingError(
            path_of(recording.path),
            "this program no longer finds the attempt in it",
            "add the recording again with imujump add, and compare",
        )
    found = min(near, key=lambda each: _apart(each, toe_off_s))
    with _lock:
        _held[key] = found
        while len(_held) > HELD:
            _held.popitem(last=False)
    return found


def _apart(found: Found, toe_off_s: float) -> float:
    return abs(found.attempt.toe_off_s - toe_off_s)


def measure_by_hand(
    store: SessionStore, attempt_id: int, events: Sequence[GaitEvent]
) -> StoredAttempt:
    """Measure an attempt from events that the coach has set, and keep and show the result.

    Parameters
    ----------
    store : SessionStore
        Written to.
    attempt_id : int
        Which attempt.
    events : sequence of GaitEvent
        All events that the attempt is to have.

    Raises
    ------
    RecordingError
        If its recording cannot be used.
    ValueError
        If the events cannot be; the sentence says where.
    """
    found = found_again(store, store.attempt(attempt_id))
    again = measured_by_hand(found.motion, found.attempt, events)
    return store.keep_by_hand(attempt_id, again, pipeline_version())


def drawn_again(store: SessionStore, attempt_id: int) -> Mapping[str, Any]:
    """Give an attempt's signals, speed and height as plain data.

    Returns
    -------
    dict
        ``start_s`` and ``step_s`` of the samples; ``signals`` by placement, each six channels
        (accelerometer x, y, z in m/s², gyroscope in °/s) and ``missing`` stretches as pairs of
        sample numbers; ``course`` with ``start_s``, ``speed_mps`` and ``height_m``, or ``None``
        without a pelvis sensor. Channels are base64 of little-endian 32-bit floats.

    Raises
    ------
    RecordingError
        If the recording cannot be used.
    """
    stored = store.attempt(attempt_id)
    motion = found_again(store, stored).motion
    h, zero_s = motion.window.step_s, motion.start_s
    first = max(0, int((stored.start_s - BEFORE_S - zero_s) / h))
    last = min(motion.window.samples, int((stored.end_s + AFTER_S - zero_s) / h) + 1)
    first = max(first, last - round(LONGEST_S / h))
    signals = {}
    for placement in Placement:
        sensor = motion.window.sensors.get(placement)
        if sensor is None:
            continue
        channels = np.hstack([sensor.accel_mps2, np.rad2deg(sensor.gyro_radps)])[first:last]
        signals[str(placement)] = {
            "channels": [_packed(channel) for channel in channels.T],
            "missing": _stretches(sensor.missing[first:last]),
        }
    courses = motion.courses()
    course = None
    if courses is not None:
        course = {
            "start_s": float(courses.time_s[0]),
            "speed_mps": _packed(courses.speed_mps),
            "height_m": _packed(courses.height_m),
        }
    return {"start_s": zero_s + first * h, "step_s": h, "signals": signals, "course": course}


def _check(recording: StoredRecording) -> None:
    path = path_of(recording.path)
    try:
        same = holds_content(path, recording.sha256)
    except OSError:
        raise RecordingError(
            path,
            "the recording's file is not there any more, so signals cannot be shown",
            "put it back, or add it again from where it is now with imujump add",
        ) from None
    if not same:
        raise RecordingError(
            path,
            "another file has taken the recording's place, so signals cannot be shown",
            "put the recording back, or add it again from where it is now with imujump add",
        )


def _packed(values: FloatArray) -> str:
    return base64.b64encode(np.asarray(values, dtype="<f4").tobytes()).decode("ascii")


def _stretches(flags: BoolArray) -> list[list[int]]:
    """First sample and the one after the last of each run of true flags."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return np.reshape(edges, (-1, 2)).tolist()
