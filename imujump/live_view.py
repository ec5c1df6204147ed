"""What viewers of a running session are told: snapshots and foot events as plain JSON values.

Terminal and page draw the same messages, whether they run in the capture's process or another.
"""

from __future__ import annotations

from typing import Any

from imujump.capture.events import SensorState
from imujump.contract import attempt_document
from imujump.live import Snapshot, Told
from imujump.pipeline.revision import KnownEvent

ATTEMPTS_TOLD = 5
"""Attempts in a message (own choice: it is sent many times a second)."""


def state_message(snapshot: Snapshot) -> dict[str, Any]:
    """Return the session's state; times in seconds of the session, all else in SI units."""
    recording = snapshot.recording
    return {
        "version": snapshot.version,
        "time_s": round(snapshot.time_s, 3),
        "recording": None
        if recording is None
        else {
            "path": str(recording.path),
            "packets": recording.packets,
            "waiting": recording.waiting_packets,
            "lost": recording.lost_packets,
            "sentence": recording.sentence,
        },
        "sensors": [_sensor(state) for state in snapshot.sensors],
        "events": [event_values(event) for event in snapshot.events],
        "attempts": [_attempt(attempt_document(a)) for a in snapshot.attempts[-ATTEMPTS_TOLD:]],
        "attempt_count": snapshot.attempt_count,
        "marks": snapshot.marks,
        "warnings": list(snapshot.warnings),
        "finished": snapshot.finished,
    }


def event_message(told: Told) -> dict[str, Any]:
    """Return a foot event as it was told, with what it took to know it, if it was early."""
    message = event_values(told.known)
    if told.early is not None:
        message["look_ahead_s"] = round(told.early.look_ahead_s, 4)
        message["held_s"] = told.early.held_s
    if told.published_s is not None:
        message["published_s"] = round(told.published_s, 6)
    return message


def event_values(known: KnownEvent) -> dict[str, Any]:
    """Return number, kind, side, time, standing and, if early known, step speed of an event."""
    return {
        "number": known.number,
        "kind": str(known.event.kind),
        "side": str(known.event.side),
        "time_s": round(known.event.time_s, 4),
        "sigma_s": round(known.event.sigma_s, 4),
        "standing": str(known.standing),
        "attempt": known.attempt,
        "speed_mps": None if known.speed_mps is None else round(known.speed_mps, 2),
    }


def _sensor(state: SensorState) -> dict[str, Any]:
    return {
        "placement": str(state.placement),
        "serial": state.serial,
        "name": state.name,
        "linked": state.linked,
        "rate_hz": None if state.rate_hz is None else round(state.rate_hz, 1),
        "battery_percent": state.battery_percent,
        "rssi_dbm": state.rssi_dbm,
        "packets": state.packets,
        "lost": state.lost,
        "recovered": state.recovered,
        "sentence": state.sentence,
    }


def _attempt(document: dict[str, Any]) -> dict[str, Any]:
    """Leave out of an attempt's document what is long and not looked at between two jumps."""
    metrics = {
        name: {key: estimate[key] for key in ("value", "sigma", "reason")}
        for name, estimate in document["metrics"].items()
    }
    kept = {key: document[key] for key in document if key not in ("events", "steps", "metrics")}
    return {**kept, "metrics": metrics}
