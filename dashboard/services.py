"""What pages and routes may use: the session under way, the athletes, who controls.

All methods belong to the event loop's thread; the capture link's thread hands over to it.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import segno

from dashboard import wording
from dashboard.athletes import Athletes
from dashboard.capture_link import CaptureLink, LinkState, Phase
from dashboard.court_view import court_view
from dashboard.hub import Hub, Viewer
from dashboard.pairing import Pairing
from dashboard.review.door import StoreDoor
from dashboard.running import Running, free_name, is_alive, recall, remember
from dashboard.session import Session
from imujump.capture.viewer import View
from imujump.courtside import CourtsideWish
from imujump.errors import ImuJumpError
from imujump.sessions.session_log import EntryKind, SessionLog

LONGEST_TEXT = 200
KEEP_LOOK_S = 0.2
"""How often to look whether a capture has put its file in order."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What is chosen when the server starts.

    Attributes
    ----------
    folder : Path
        Where recordings, logs and athletes are kept.
    recordings : tuple of Path
        Recordings that can be replayed.
    speed : float
        Pace of replays.
    emulate_file : Path or None
        Recording that emulated sensors play; a simulated athlete wears them otherwise.
    address : str or None
        Address for other devices; None when only this computer is served.
    store : str or None
        The store of sessions, file or address; the user's own when None.
    """

    folder: Path
    recordings: tuple[Path, ...] = ()
    speed: float = 1.0
    emulate_file: Path | None = None
    address: str | None = None
    store: str | None = None


@dataclass(slots=True)
class Setup:
    """What is picked on the setup page."""

    athlete: str = ""
    task: str = "one_foot"
    surface: str = wording.SURFACES[0]
    shoe: str = wording.SHOES[0]
    source: str = "sensors"
    large: str = wording.LARGE_DEFAULT
    small: list[str] = field(default_factory=lambda: list(wording.SMALL_DEFAULT))


class Refused(Exception):
    """An action that cannot be done; the text says why in one sentence."""


class Services:
    """The page's one window on the rest of the program.

    Parameters
    ----------
    settings : Settings
        What was chosen at the start.
    pairing : Pairing
        Who may look on.
    """

    def __init__(self, settings: Settings, pairing: Pairing) -> None:
        settings.folder.mkdir(parents=True, exist_ok=True)
        self.settings, self.pairing = settings, pairing
        self.hub = Hub(self.whole)
        self.door = StoreDoor(settings.store)
        self.athletes = Athletes(self.door)
        self.setup = Setup()
        self._session = Session()
        self._controller: str | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closing = False
        self._actions: dict[str, Callable[[Mapping[str, Any]], None]] = {
            "setup": self._do_setup,
            "add_athlete": self._do_add_athlete,
            "connect": self._do_connect,
            "check_begin": self._do_check_begin,
            "check_end": self._do_check_end,
            "begin": self._do_begin,
            "end": self._do_end,
            "restart": self._do_restart,
            "cue": self._do_note(EntryKind.CUE),
            "seen": self._do_note(EntryKind.SEEN),
            "invalid": self._do_note(EntryKind.INVALID),
            "pain": self._do_note(EntryKind.PAIN),
            "new_set": self._do_note(EntryKind.NEW_SET),
            "undo": self._do_undo,
            "choose": self._do_choose,
            "pick": self._do_pick,
        }

    # --- life -----------------------------------------------------------------------------

    def open(self) -> None:
        """Go on with the session that was under way, if its capture still runs."""
        self._loop = asyncio.get_running_loop()
        running = recall(self._running_file)
        if running is not None and is_alive(running):
            self._enter(running).attach()
        elif running is not None:
            # It ended while no server looked on.
            self._session = Session(SessionLog(running.log))
            self._keep(self._session, None)

    async def close(self) -> None:
        """End the capture in good order; its recording is kept when the server starts again."""
        self._closing = True
        link = self._session.link
        if link is not None and self._session.state.phase in (Phase.STARTING, Phase.RUNNING):
            link.stop()
            await asyncio.to_thread(link.wait, 10.0)
        self.door.close()

    # --- viewers --------------------------------------------------------------------------

    def join(self, name: str) -> Viewer:
        """Let a viewer in; the first one controls."""
        if self._controller is None:
            self._controller = name
        viewer = self.hub.join(name)
        self._page_changed()
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """Say that a viewer has gone."""
        self.hub.leave(viewer)
        self._page_changed()

    def whole(self, viewer: Viewer) -> dict[str, Any]:
        """Return the whole state for one viewer."""
        return {"page": self._page(viewer), "live": self._session.live.whole(), "whole": True}

    def controls(self, viewer: str) -> bool:
        """Tell whether a viewer may change things."""
        return viewer == self._controller

    def act(self, viewer: str, action: Mapping[str, Any]) -> None:
        """Do what a viewer asks.

        Raises
        ------
        Refused
            If it cannot be done; says why.
        """
        name = action.get("do")
        if name == "take_control":
            self._controller = viewer
        elif not isinstance(name, str) or name not in self._actions:
            raise Refused("The page asked for something unknown. Reload it.")
        elif viewer != self._controller:
            raise Refused("Another device controls. Take control first.")
        else:
            try:
                self._actions[name](action)
            except (ValueError, ImuJumpError) as error:
                raise Refused(str(error)) from error
            except OSError as error:
                raise Refused(f"It could not be written: {error.strerror or error}.") from error
        self._page_changed()

    # --- setting up -----------------------------------------------------------------------

    def sources(self) -> dict[str, str]:
        """List what can be captured."""
        names = {"sensors": "Sensors (Bluetooth)", "emulated": "Emulated sensors"}
        for path in self.settings.recordings:
            names[f"recording:{path.stem}"] = f"Recording: {path.stem.replace('_', ' ')}"
        return names

    def _do_setup(self, action: Mapping[str, Any]) -> None:
        choices = {
            "athlete": self.athletes.names(),
            "task": list(wording.TASKS),
            "surface": list(wording.SURFACES),
            "shoe": list(wording.SHOES),
            "source": list(self.sources()),
        }
        for name, allowed in choices.items():
            if name in action:
                if action[name] not in allowed:
                    raise ValueError("Choose one from the list.")
                setattr(self.setup, name, action[name])

    def _do_add_athlete(self, action: Mapping[str, Any]) -> None:
        self.setup.athlete = self.athletes.add(str(action.get("name", "")))

    def _do_connect(self, action: Mapping[str, Any]) -> None:
        if self._session.state.phase in (Phase.STARTING, Phase.RUNNING):
            raise ValueError("A session is running. End it first.")
        stamp = datetime.now().astimezone().strftime("%Y-%m-%d_%H-%M-%S")
        source, _, played = self.setup.source.partition(":")
        folder = str(self.settings.folder)
        own_lock = None if source == "sensors" else folder
        file: Path | None = self.settings.emulate_file if source == "emulated" else None
        if source == "recording":
            file = next(path for path in self.settings.recordings if path.stem == played)
        name = free_name(self.settings.folder, stamp)
        recording = None if source == "recording" else str(name.with_suffix(".imujump"))
        wish = CourtsideWish(
            source, None if file is None else str(file), self.settings.speed, recording, own_lock
        )
        running = Running(wish, name.with_suffix(".log.jsonl"))
        remember(self._running_file, running)
        self._enter(running).start()

    def _do_begin(self, action: Mapping[str, Any]) -> None:
        if not self.setup.athlete:
            raise ValueError("Pick or add an athlete first.")
        self.athletes.check_consent(self.setup.athlete)
        if self._session.state.phase not in (Phase.STARTING, Phase.RUNNING):
            self._do_connect(action)
        log, link = self._session.log, self._session.link
        assert log is not None
        assert link is not None
        log.add(EntryKind.BEGIN, data={**asdict(self.setup), "recording": link.wish.recording})

    def _do_end(self, action: Mapping[str, Any]) -> None:
        if self._session.link is not None:
            self._session.link.stop()

    def _do_restart(self, action: Mapping[str, Any]) -> None:
        begun = self._session.log is not None and any(
            entry.kind is EntryKind.BEGIN for entry in self._session.log.entries()
        )
        self._do_connect(action)
        if begun:
            self._do_begin(action)

    def _do_check_begin(self, action: Mapping[str, Any]) -> None:
        if self._session.state.phase is not Phase.RUNNING or self._session.link is None:
            raise ValueError("Connect the sensors first.")
        self._session.link.send({"check": "begin"})
        self._session.check = {"running": True, "sensors": []}

    def _do_check_end(self, action: Mapping[str, Any]) -> None:
        if self._session.link is not None:
            self._session.link.send({"check": "end"})

    # --- the log --------------------------------------------------------------------------

    def _log(self) -> SessionLog:
        if self._session.log is None:
            raise ValueError("Start a session first.")
        return self._session.log

    def _do_note(self, kind: EntryKind) -> Callable[[Mapping[str, Any]], None]:
        def note(action: Mapping[str, Any]) -> None:
            text = " ".join(str(action.get("text", "")).split())
            if len(text) > LONGEST_TEXT:
                raise ValueError(f"Keep it under {LONGEST_TEXT} characters.")
            if not text and kind in (EntryKind.CUE, EntryKind.SEEN, EntryKind.INVALID):
                raise ValueError("Write something first.")
            preview = self._session.preview
            if kind is EntryKind.NEW_SET and preview is not None:
                raise ValueError("The attempt is still being measured; try again in a moment.")
            latest = max(self._session.attempts, default=None)
            if preview is not None:
                latest = int(preview["attempt"])
            asked = action.get("attempt")
            number = asked if asked in self._session.attempts else latest
            if kind is EntryKind.INVALID and number is None:
                raise ValueError("There is no attempt yet.")
            self._log().add(kind, number, text)

        return note

    def _do_undo(self, action: Mapping[str, Any]) -> None:
        if self._log().undo() is None:
            raise ValueError("There is nothing to take back.")

    def _do_choose(self, action: Mapping[str, Any]) -> None:
        known = {choice["name"] for choice in wording.metric_choices()}
        large, small = action.get("large"), action.get("small")
        if large not in known or not isinstance(small, list) or not set(small) <= known:
            raise ValueError("Choose numbers from the list.")
        if not 2 <= len(small) <= 3:
            raise ValueError("Choose two or three small numbers.")
        assert isinstance(large, str)
        self.setup.large, self.setup.small = large, small
        if self._session.log is not None:
            self._session.log.add(EntryKind.CHOICE, data={"large": large, "small": small})

    def _do_pick(self, action: Mapping[str, Any]) -> None:
        number = action.get("attempt")
        if number is not None and number not in self._session.attempts:
            raise ValueError("There is no such attempt.")
        self._session.picked = number

    # --- the capture ----------------------------------------------------------------------

    @property
    def _running_file(self) -> Path:
        return self.settings.folder / "running.json"

    def _enter(self, running: Running) -> CaptureLink:
        """Begin or go on with a session."""
        loop = self._loop
        assert loop is not None
        session = self._session = Session(SessionLog(running.log))

        def on_view(view: View) -> None:
            loop.call_soon_threadsafe(self._take_view, session, view)

        def on_state(state: LinkState) -> None:
            loop.call_soon_threadsafe(self._take_state, session, state)

        words = running.log.with_suffix(".words.txt")
        session.link = CaptureLink(running.wish, words, on_view, on_state)
        session.state = LinkState(Phase.STARTING)
        chosen = session.chosen()
        if chosen:
            self.setup = replace(self.setup, **chosen)
        return session.link

    def _take_state(self, session: Session, state: LinkState) -> None:
        session.state = state
        if state.phase is Phase.RUNNING and session.link is not None:
            # What was closed while nobody looked on.
            first = max(session.attempts, default=0) + 1
            session.link.send({"attempts_from": first})
        if state.phase in (Phase.FINISHED, Phase.DIED) and not self._closing:
            self._keep(session, recall(self._running_file))
        if session is self._session:
            self._page_changed()

    def _keep(self, session: Session, running: Running | None) -> None:
        """Put what was recorded into the store, without holding up the page."""
        recording, athlete = session.recording(), session.chosen().get("athlete")
        loop = self._loop
        if loop is None or not athlete or recording is None or not recording.exists():
            return
        session.kept = "Analysing the recording for the store …"

        def done(kept: bool, sentence: str) -> None:
            session.kept = sentence
            last = recall(self._running_file)
            of_last = last is not None and session.log is not None and last.log == session.log.path
            if kept and of_last and session.state.phase is not Phase.RUNNING:
                self._running_file.unlink(missing_ok=True)
            self.athletes.refresh()
            self._page_changed()

        def work() -> None:
            # A capture that ends puts its file in order first.
            while running is not None and is_alive(running):
                time.sleep(KEEP_LOOK_S)
            kept, sentence = self.athletes.keep(recording, athlete)
            # The server may have been stopped meanwhile; what is kept is kept.
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(done, kept, sentence)

        threading.Thread(target=work, name="keeping", daemon=False).start()

    def _take_view(self, session: Session, view: View) -> None:
        if session is not self._session:
            return
        news, rare = session.take(view)
        if view.missed:
            for viewer in self.hub.viewers:
                viewer.refresh()
        self.hub.tell({"live": news})
        if rare:
            self._page_changed()

    # --- what is shown --------------------------------------------------------------------

    def _page_changed(self) -> None:
        shared = self._shared()
        self.hub.tell_each(lambda viewer: {"page": self._personal(shared, viewer)})

    def _page(self, viewer: Viewer) -> dict[str, Any]:
        return self._personal(self._shared(), viewer)

    def invitation_changed(self) -> None:
        """Show the new pairing code."""
        self._page_changed()

    def _personal(self, shared: dict[str, Any], viewer: Viewer) -> dict[str, Any]:
        controls = viewer.name == self._controller
        address = self.settings.address
        invitation = None
        if controls and address is not None:
            code = self.pairing.code
            picture = segno.make(f"{address}/pair#{code}", error="m").svg_data_uri(scale=4)
            invitation = {"address": f"{address}/pair", "code": code, "picture": picture}
        return {**shared, "controls": controls, "invitation": invitation}

    def _shared(self) -> dict[str, Any]:
        session = self._session
        error_m = self.athletes.typical_error_m(self.setup.athlete, self.setup.task)
        entries = [] if session.log is None else session.log.entries()
        recording = session.live.recording or {}
        return {
            "capture": {
                "phase": str(session.state.phase),
                "sentence": session.state.sentence,
                "recording": recording.get("path"),
                "trouble": recording.get("sentence") or session.trouble or self.athletes.trouble,
                "kept": session.kept,
                "warnings": session.live.warnings,
            },
            "setup": asdict(self.setup),
            "athletes": self.athletes.names(),
            "sources": self.sources(),
            "check": session.check,
            "court": court_view(
                session.attempts,
                entries,
                error_m,
                session.picked,
                (self.setup.large, self.setup.small),
                session.preview,
            ),
            "viewers": len(self.hub.viewers),
        }
