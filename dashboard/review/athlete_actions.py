"""What the athlete's page may change: facts of a person, dated body measures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any

from imujump.model import Side
from imujump.sessions.records import BodyMeasure
from imujump.sessions.store import SessionStore

LONGEST_TEXT = 200
CENTIMETRES = 100.0

Action = Mapping[str, Any]


def _add_athlete(store: SessionStore, action: Action) -> str:
    added = store.add_athlete(_text(_facts(action), "name"))
    return f"{added.name} was added."


def _change_athlete(store: SessionStore, action: Action) -> str:
    told = _facts(action)
    side, born = _text(told, "side"), _number(told, "born", "Birth year: give a year, as 2009.")
    if side not in ("", *(str(each) for each in Side)):
        raise ValueError("Choose left, right or nothing as take-off foot.")
    if born is not None and born != int(born):
        raise ValueError("Birth year: give a year, as 2009.")
    changed = store.change_athlete(
        _id(action),
        name=_text(told, "name"),
        birth_year=None if born is None else int(born),
        stature_m=_metres(told, "stature", "Stature: give centimetres, as 172."),
        leg_length_m=_metres(told, "leg", "Leg length: give centimetres, as 88."),
        take_off_side=Side(side) if side else None,
        guardian_consent_on=_day(told, "consent"),
    )
    return f"What is noted of {changed.name} was changed."


def _add_measure(store: SessionStore, action: Action) -> str:
    told = _facts(action)
    mass = _number(told, "mass", "Body mass: give kilograms, as 63.5.")
    if mass is None:
        raise ValueError("Body mass: give kilograms, as 63.5.")
    on = _day(told, "on") or datetime.now().astimezone().date()
    stature = _metres(told, "stature", "Stature: give centimetres, as 172.")
    store.add_body_measure(_id(action), BodyMeasure(on, mass, stature))
    return f"Body measure of {on} was noted."


def _remove_measure(store: SessionStore, action: Action) -> str:
    on = _day({"on": action.get("on")}, "on")
    if on is None:
        raise ValueError("The page asked for something unknown. Reload it.")
    store.remove_body_measure(_id(action), on)
    return f"Body measure of {on} was removed."


ACTIONS: Mapping[str, Callable[[SessionStore, Action], str]] = {
    "add_athlete": _add_athlete,
    "change_athlete": _change_athlete,
    "add_measure": _add_measure,
    "remove_measure": _remove_measure,
}
"""By the name that a page says; each returns what was done, in words."""


def _facts(action: Action) -> Mapping[str, Any]:
    told = action.get("facts")
    if not isinstance(told, dict):
        raise ValueError("The page sent no facts. Reload it.")
    return told


def _id(action: Action) -> int:
    found = action.get("athlete")
    if not isinstance(found, int) or isinstance(found, bool) or not 0 < found < 2**31:
        raise ValueError("The page asked for something unknown. Reload it.")
    return found


def _text(told: Mapping[str, Any], name: str) -> str:
    text = " ".join(str(told.get(name) or "").split())
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"Keep it under {LONGEST_TEXT} characters.")
    return text


def _number(told: Mapping[str, Any], name: str, remedy: str) -> float | None:
    """Read a number with a point or a comma."""
    text = _text(told, name).replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise ValueError(remedy) from None


def _metres(told: Mapping[str, Any], name: str, remedy: str) -> float | None:
    value = _number(told, name, remedy)
    return None if value is None else value / CENTIMETRES


def _day(told: Mapping[str, Any], name: str) -> date | None:
    text = _text(told, name)
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError("Give the day as year-month-day, as 2026-03-31.") from None
