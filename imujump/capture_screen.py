"""A running session on a terminal: drawn anew in place, or as plain lines without a terminal.

Both draw the messages of :mod:`imujump.live_view`, so a viewer in another process sees the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from imujump.display_units import UNICODE, Glyphs, clock_time, value_and_sigma
from imujump.model import Estimate, Placement
from imujump.wording import FIRST_READ, METRICS, PLACEMENTS

STEPS_SHOWN = 8
"""Foot events shown in a line (own choice: two steps on each side, strike and toe-off)."""

ROOMY = 110
"""Characters of a line from which tables are set with room (own choice: what they need)."""

STEPS_HEAD = "Steps  "

Message = Mapping[str, Any]


def screen(
    state: Message, glyphs: Glyphs = UNICODE, below: str = "", width: int = 80
) -> RenderableType:
    """Draw a session's state.

    Parameters
    ----------
    state : mapping
        As made by :func:`imujump.live_view.state_message`.
    glyphs : Glyphs
        The characters that the terminal can show.
    below : str
        The last line: what keys do, or what is being typed.
    width : int
        Characters of a line; as many of the last steps are shown as fit into one.
    """
    parts: list[RenderableType] = [_head(state), _sensors(state["sensors"], width)]
    steps = step_line(state["events"], width - len(STEPS_HEAD))
    parts.append(Text(STEPS_HEAD + (steps or "none yet"), no_wrap=True))
    if state["attempts"]:
        parts.append(_attempts(state["attempts"], glyphs, width))
    else:
        parts.append(Text("No jump yet."))
    told = [sensor["sentence"] for sensor in state["sensors"] if sensor["sentence"]]
    if state["recording"] and state["recording"]["sentence"]:
        told.append(state["recording"]["sentence"])
    told += state["warnings"]
    parts += [Text(text, style="yellow") for text in told]
    parts.append(Text(below, style="dim"))
    return Group(*parts)


def _head(state: Message) -> Text:
    recording = state["recording"]
    where = f"recording to {recording['path']}" if recording else "not recorded"
    count = state["marks"]
    marks = f", {count} mark{'s' if count > 1 else ''}" if count else ""
    return Text(f"{clock_time(state['time_s'])}  {where}{marks}", style="bold")


def _sensors(sensors: Sequence[Message], width: int) -> Table:
    table = _table(width)
    for head, justify in (
        ("sensor", "left"),
        ("serial", "left"),
        ("link", "left"),
        ("rate", "right"),
        ("battery", "right"),
        ("signal", "right"),
        ("packets", "right"),
        ("lost", "right"),
        ("recovered", "right"),
    ):
        table.add_column(head, justify="right" if justify == "right" else "left", no_wrap=True)
    order = list(Placement)
    for sensor in sorted(sensors, key=lambda each: order.index(Placement(each["placement"]))):
        table.add_row(*sensor_cells(sensor))
    return table


def sensor_cells(sensor: Message) -> tuple[str, ...]:
    """Place, serial, link, rate, battery, signal, packets, lost and recovered as texts."""
    return (
        PLACEMENTS[Placement(sensor["placement"])],
        sensor["serial"],
        "linked" if sensor["linked"] else "away",
        _with_unit(sensor["rate_hz"], "Hz", 0),
        _with_unit(sensor["battery_percent"], "%", 0),
        _with_unit(sensor["rssi_dbm"], "dBm", 0),
        str(sensor["packets"]),
        str(sensor["lost"]),
        str(sensor["recovered"]),
    )


def _with_unit(value: float | None, unit: str, decimals: int) -> str:
    return "-" if value is None else f"{value:.{decimals}f} {unit}"


def step_line(events: Sequence[Message], width: int = 80) -> str:
    """The last foot events in a line, each with the seconds since the one before it.

    >>> step_line([
    ...     {"kind": "foot_strike", "side": "left", "time_s": 1.0, "standing": "early"},
    ...     {"kind": "toe_off", "side": "left", "time_s": 1.21, "standing": "final"}])
    'left down   left off +0.21'
    >>> step_line([])
    ''
    """
    shown: list[str] = []
    before: Message | None = None
    for event in events:
        verb = "down" if event["kind"] == "foot_strike" else "off"
        since = "" if before is None else f" +{event['time_s'] - before['time_s']:.2f}"
        shown.append(f"{event['side']} {verb}{since}")
        before = event
    shown = shown[-STEPS_SHOWN:]
    while len(shown) > 1 and len("   ".join(shown)) > width:
        del shown[0]
    return "   ".join(shown)


def _attempts(attempts: Sequence[Message], glyphs: Glyphs, width: int) -> Table:
    table = _table(width)
    table.add_column("no.", justify="right")
    table.add_column("start")
    table.add_column("foot")
    for name in FIRST_READ:
        wording = METRICS[name]
        head = [*wording.head.split(" "), wording.unit.symbol]
        table.add_column(glyphs.written("\n".join(head)), justify="right", no_wrap=True)
    # On a narrow terminal the uncertainty goes under its value.
    between = "" if width >= ROOMY else "\n"
    for attempt in reversed(attempts):
        cells = [metric_text(attempt, name, glyphs, between) for name in FIRST_READ]
        table.add_row(
            str(attempt["attempt"]), clock_time(attempt["start_s"]), take_off(attempt), *cells
        )
    return table


def _table(width: int) -> Table:
    return Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1) if width >= ROOMY else (0, 0))


def take_off(attempt: Message) -> str:
    """From which foot or feet, in a word."""
    if attempt["take_off_style"] == "two_foot":
        return "both"
    return str(attempt["take_off_side"] or "-")


def metric_text(attempt: Message, name: str, glyphs: Glyphs, between: str = "") -> str:
    """A metric as value and standard deviation in its display unit."""
    told, wording = attempt["metrics"][name], METRICS[name]
    estimate = Estimate(told["value"], told["sigma"], told["reason"], "")
    value, sigma = value_and_sigma(estimate, wording.unit, wording.decimals)
    return f"{value}{between}{glyphs.plus_minus}{sigma}" if sigma else value


def attempt_line(attempt: Message, glyphs: Glyphs = UNICODE) -> str:
    """An attempt as one line of text."""
    told = []
    for name in FIRST_READ:
        wording = METRICS[name]
        text = f"{wording.label} {metric_text(attempt, name, glyphs)} {wording.unit.symbol}"
        told.append(glyphs.written(text.strip()))
    head = f"jump {attempt['attempt']} at {clock_time(attempt['start_s'])}, {take_off(attempt)}"
    return f"{head}: {', '.join(told)}"


class PlainLines:
    """What is new in a session, as lines for an output that is no terminal."""

    def __init__(self, glyphs: Glyphs = UNICODE) -> None:
        self._glyphs = glyphs
        self._attempts = 0
        self._linked: dict[str, bool] = {}
        self._told: set[str] = set()

    def lines(self, state: Message, events: Sequence[Message], missed: int = 0) -> list[str]:
        """Return the lines that a new state and its events add."""
        now = clock_time(state["time_s"])
        found = []
        for sensor in state["sensors"]:
            place = PLACEMENTS[Placement(sensor["placement"])]
            # Not linked yet, and let go at the end, are no news.
            known = self._linked.get(sensor["placement"], False)
            if known != sensor["linked"] and not (known and state["finished"]):
                self._linked[sensor["placement"]] = sensor["linked"]
                found.append(f"{now} {place} {'linked' if sensor['linked'] else 'away'}")
        if missed:
            found.append(f"{now} {missed} foot events not shown")
        for event in events:
            verb = "down" if event["kind"] == "foot_strike" else "off"
            # Told again when the speed of its step is known.
            if event["standing"] == "early" and event.get("speed_mps") is None:
                found.append(f"{clock_time(event['time_s'])} {event['side']} {verb}")
        for attempt in state["attempts"]:
            if attempt["attempt"] > self._attempts:
                self._attempts = attempt["attempt"]
                found.append(attempt_line(attempt, self._glyphs))
        recording = state["recording"]
        sentences = [sensor["sentence"] for sensor in state["sensors"]]
        sentences += [recording["sentence"]] if recording else []
        for text in (*sentences, *state["warnings"]):
            if text and text not in self._told:
                self._told.add(text)
                found.append(f"{now} {text}")
        return found
