"""A capture from beginning to end: sensors, recorder, engine, viewers, whoever shows them.

The sensors are real, emulated, or a recording replayed; all else is the same.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from imujump.capture.crew import Crew
from imujump.capture.finding import FoundSensor, Radio, chosen_sensors, find_sensors
from imujump.capture.link_profile import LinkProfile
from imujump.capture.one_capture import DEFAULT_ADAPTER, OneCapture
from imujump.capture.placement_memory import PlacementMemory
from imujump.capture.profile_book import load_profiles, own_profile
from imujump.capture.viewer_service import ViewerService
from imujump.errors import SensorError
from imujump.live import LiveSession, LiveSource, Snapshot
from imujump.live_view import event_message, state_message
from imujump.model import Placement
from imujump.recording.keeper import RecordingKeeper
from imujump.replay import Replay

EMULATED, REPLAYED = "emulated", "replay"
"""What stands for the adapter's name when there is none."""


FIRST_SERIAL = 1001
"""Emulated sensors are numbered from here, in the order of their places."""


@dataclass(frozen=True, slots=True)
class Way:
    """How sensors are reached, where they are worn as far as known, how many and how fast if known.

    ``rate_hz`` is what all of them measure at whatever is asked for, None when that can be chosen.
    """

    radio: Radio | None
    placements: Mapping[str, Placement]
    count: int | None = None
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """What to capture.

    Attributes
    ----------
    replay : Path or None
        A recording to replay instead of capturing.
    speed : float or None
        Pace of the replay, None as fast as possible.
    emulate : bool
        Emulated sensors instead of real ones, worn by a simulated athlete or
        playing ``emulate_file``.
    emulate_scenes : str
        What a simulated athlete does, see
        :class:`imujump.capture.emulated.settings.RigSettings`.
    rate_hz : float or None
        Samples a second, if not the sensors' own.
    profiles : sequence of Path
        The user's own sensor profiles.
    chosen : mapping or None
        Sensors by serial number or name and where they are worn.
    """

    replay: Path | None = None
    speed: float | None = 1.0
    emulate: bool = False
    emulate_file: Path | None = None
    emulate_scenes: str = "jumps"
    rate_hz: float | None = None
    profiles: Sequence[Path] = ()
    chosen: Mapping[str, Placement] | None = None
    memory: PlacementMemory = field(default_factory=PlacementMemory)

    @property
    def adapter(self) -> str:
        """What this capture holds for itself."""
        if self.replay is not None:
            return REPLAYED
        return EMULATED if self.emulate else DEFAULT_ADAPTER


class EndableSource(LiveSource, Protocol):
    """A source that can be told to end."""

    def end(self) -> None:
        """End the session in good order."""
        ...


@dataclass(slots=True)
class Job:
    """A capture that is running."""

    session: LiveSession
    source: EndableSource


Show = Callable[[Mapping[str, Any], Sequence[Mapping[str, Any]], int], None]
"""Called with state, events and the number of events missed."""


@asynccontextmanager
async def radio_of(wish: Wish) -> AsyncIterator[Way]:
    """Give the way to the sensors.

    Raises
    ------
    SensorError
        If emulated sensors cannot be had.
    """
    if not wish.emulate:
        adapter = None if wish.adapter == DEFAULT_ADAPTER else wish.adapter
        yield Way(Radio.on(adapter), wish.memory.placements())
        return
    try:
        from imujump.capture.emulated.far_rig import emulated_process
    except ImportError as error:
        raise SensorError(
            "emulated sensors",
            f"need a part that is not installed ({error.name})",
            'install it with: pip install "imujump[emulate]"',
        ) from error
    _require_rate("emulated sensors", own_profile(), wish.rate_hz)
    settings: dict[str, Any] = {"scenes": wish.emulate_scenes, "samples_per_packet": None}
    if wish.rate_hz is not None:
        settings["rate_hz"] = wish.rate_hz
    async with emulated_process(wish.emulate_file, **settings) as rig:
        worn = {f"EMU-{FIRST_SERIAL + n}": place for n, place in enumerate(rig.sensors)}
        radio = Radio(rig.scanner_factory, rig.client_factory)
        # A recording that is played has the rate that it was made with.
        yield Way(radio, worn, len(worn), rig.profile.packet.rate_hz)


def _require_rate(sensor: str, profile: LinkProfile, rate_hz: float | None) -> None:
    offered = (profile.packet.rate_hz, *profile.rates_hz)
    if rate_hz is not None and rate_hz not in offered:
        told = ", ".join(f"{each:g}" for each in sorted(set(offered)))
        raise SensorError(
            sensor,
            f"{rate_hz:g} samples a second are not offered",
            f"choose one of {told}, or leave the rate out",
        )


async def find(wish: Wish, way: Way) -> tuple[FoundSensor, ...]:
    """Look for sensors; each comes with the placement that is remembered."""
    profiles = load_profiles(wish.profiles)
    return await find_sensors(profiles, way.placements, way.radio, enough=way.count)


@asynccontextmanager
async def opened_source(wish: Wish) -> AsyncIterator[tuple[EndableSource, Callable[[], float]]]:
    """Open what is to be captured; yields it and its clock.

    Raises
    ------
    ImuJumpError
        If a sensor, Bluetooth or the recording cannot be used; the sentence says what to do.
    """
    if wish.replay is not None:
        with Replay(wish.replay, wish.speed) as replay:
            yield replay, replay.now_s
        return
    async with radio_of(wish) as way:
        found = await find(wish, way)
        sensors = chosen_sensors(found, wish.chosen)
        if not wish.emulate:
            wish.memory.remember({s.serial: s.placement for s in sensors if s.placement})
        rate_hz = way.rate_hz or wish.rate_hz
        for sensor in sensors:
            _require_rate(sensor.name, sensor.profile, rate_hz)
        async with Crew(sensors, rate_hz, way.radio) as crew:
            yield crew, crew.clock.now_s


async def capture(
    wish: Wish,
    path: Path | None,
    show: Show | None = None,
    started: Callable[[Job], None] | None = None,
    folder: Path | None = None,
) -> Snapshot:
    """Capture until the source ends or is told to, and return the last snapshot.

    Parameters
    ----------
    wish : Wish
        What to capture.
    path : Path or None
        The new recording; nothing is recorded without.
    show : callable, optional
        Shows the session; called whenever there is something new.
    started : callable, optional
        Called with the job once it runs, to mark and to end it.
    folder : Path, optional
        Where the lock lies, for tests.

    Raises
    ------
    ImuJumpError
        If another capture runs, or source or recording cannot be used.
    """
    keeper = None
    async with AsyncExitStack() as stack:
        lock = stack.enter_context(OneCapture(wish.adapter, folder))
        source, now_s = await stack.enter_async_context(opened_source(wish))
        started_utc = datetime.now(UTC)
        if path is not None:
            keeper = RecordingKeeper(path, source.recorded_sensors, started_utc)
            # The engine is done with the samples before the file is packed.
            stack.push_async_callback(asyncio.to_thread, keeper.close)
        session = LiveSession(source, keeper, started_utc, now_s=now_s)

        def receive(message: Mapping[str, Any]) -> None:
            if isinstance(message.get("mark"), str):
                session.mark(message["mark"])
            elif message.get("stop"):
                source.end()

        service = await stack.enter_async_context(ViewerService(receive))
        lock.open_door(service.port, service.key)

        async def publish() -> None:
            async for update in session.updates():
                state = state_message(update.snapshot)
                events = [event_message(each) for each in update.events]
                service.publish(state)
                for event in events:
                    service.tell(event)
                if show is not None:
                    show(state, events, update.missed)

        async with session:
            publishing = asyncio.create_task(publish())
            if started is not None:
                started(Job(session, source))
            try:
                await session.follow()
                await publishing
            finally:
                publishing.cancel()
                await asyncio.gather(publishing, return_exceptions=True)
    last = session.snapshot()
    return last if keeper is None else replace(last, recording=keeper.state)
