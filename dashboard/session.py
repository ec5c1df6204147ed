"""The session under way: its log, its link to the capture, its attempts."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dashboard.capture_link import CaptureLink, LinkState, Phase
from dashboard.live_state import LiveState
from imujump.capture.viewer import View
from imujump.sessions.session_log import EntryKind, SessionLog

NOT_CHOSEN = {"recording"}
"""What a session's first entry holds beside what was picked on the setup page."""


@dataclass(slots=True)
class Session:
    """One session; without log and link there is none yet.

    Attempts come from the log first: a restarted page goes on where it stood. ``preview`` is an
    attempt whose window has not closed: it is shown, not logged.
    """

    log: SessionLog | None = None
    link: CaptureLink | None = None
    state: LinkState = field(default_factory=lambda: LinkState(Phase.NONE))
    live: LiveState = field(default_factory=LiveState)
    attempts: dict[int, dict[str, Any]] = field(default_factory=dict)
    preview: dict[str, Any] | None = None
    picked: int | None = None
    check: dict[str, Any] | None = None
    trouble: str | None = None
    kept: str | None = None

    def __post_init__(self) -> None:
        for entry in [] if self.log is None else self.log.entries():
            if entry.kind is EntryKind.ATTEMPT and entry.attempt is not None:
                self.attempts[entry.attempt] = entry.data

    def chosen(self) -> dict[str, Any]:
        """Return what was picked on the setup page for this session, as far as the log tells."""
        found: dict[str, Any] = {}
        for entry in [] if self.log is None else self.log.entries():
            if entry.kind in (EntryKind.BEGIN, EntryKind.CHOICE):
                found |= {k: v for k, v in entry.data.items() if k not in NOT_CHOSEN}
        return found

    def recording(self) -> Path | None:
        """Return where its samples are kept, if the log tells; a replay keeps none."""
        for entry in [] if self.log is None else reversed(self.log.entries()):
            if entry.kind is EntryKind.BEGIN and entry.data.get("recording"):
                return Path(str(entry.data["recording"]))
        return None

    def take(self, view: View) -> tuple[dict[str, Any], bool]:
        """Take what the capture told.

        Returns
        -------
        dict, bool
            The news for viewers, and whether something that changes rarely has changed too.
        """
        rare = self.live.take_state(view.state, view.missed > 0)
        if view.missed:
            self.preview = None
        feet: list[dict[str, Any]] = []
        strip: dict[str, list[list[float]]] = {}
        for event in view.events:
            if "foot" in event:
                self.live.take_foot(event["foot"])
                feet.append(event["foot"])
            elif "strip" in event:
                self.live.take_strip(event["strip"])
                for placement, points in event["strip"].items():
                    strip.setdefault(placement, []).extend(points)
            elif "preview" in event:
                told = event["preview"]
                known = told is not None and told["attempt"] in self.attempts
                self.preview = None if known else told
                rare = True
            elif "attempt" in event:
                rare = self._take_attempt(event["attempt"]) or rare
            elif "check" in event:
                self.check = {"running": False, "sensors": event["check"]}
                rare = True
        moving = {"now_s": self.live.now_s, "sensors": self.live.sensors}
        return {**moving, "feet": feet, "strip": strip}, rare

    def _take_attempt(self, document: dict[str, Any]) -> bool:
        self.preview = None
        number = document["attempt"]
        if number in self.attempts or self.log is None:
            return False
        self.attempts[number] = document
        try:
            self.log.add(EntryKind.ATTEMPT, number, data=document)
            self.trouble = None
        except OSError as error:
            # The attempt is shown and recorded all the same; only a restarted page lacks it.
            self.trouble = f"The log cannot be written ({error.strerror}); make room on the disk."
        return True
