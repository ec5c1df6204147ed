"""Sensors worn by one athlete, switched on and advertising over one air."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imujump.capture.emulated.air import AirLink, AirState, SensorController
from imujump.capture.emulated.athlete_feed import SCENES, Athlete
from imujump.capture.emulated.feeds import SampleFeed, recorded_feeds
from imujump.capture.emulated.scene_pool import scene_pool
from imujump.capture.emulated.sensor import EmulatedSensor, SensorSettings
from imujump.capture.emulated.settings import PACKET_S, RigSettings
from imujump.capture.link_profile import LinkProfile
from imujump.capture.profile_book import own_profile
from imujump.model import Placement, SampleSource
from imujump.recording.files import open_recording

AHEAD_S = 8.0
APART_AHEAD_S = 16.0
"""Motion kept ready ahead of what is being measured: a scene takes a second or two to write,
and another process several to start (own choice)."""

START_MARGIN_S = 0.3
"""From the start of the last sensor to the first sample of a recording."""

Source = Athlete | SampleSource | Path | str | None
_Opened = Athlete | SampleSource | Path | str

# Data that was on its way when a link went is worth a line to bumble, but not to a user.
logging.getLogger("bumble").addHandler(logging.NullHandler())


@dataclass(frozen=True, slots=True)
class SensorsOnAir:
    """What is switched on: the air, the sensors, and the profile they speak at their rate."""

    air: AirLink
    sensors: Mapping[Placement, EmulatedSensor]
    profile: LinkProfile


@asynccontextmanager
async def sensors_on_air(
    source: Source, profile: LinkProfile | None, settings: RigSettings
) -> AsyncIterator[SensorsOnAir]:
    """Switch sensors on for as long as the context is open.

    Raises
    ------
    RecordingError
        If the recording cannot be used.
    ValueError
        If the profile does not offer the rate.
    """
    if source is None:
        source = Athlete(
            settings.rate_hz,
            settings.placements,
            skew_ppm=settings.skew_ppm,
            seed=settings.seed,
            scenes=SCENES[settings.scenes],
            legs_swapped=settings.legs_swapped,
        )
    if isinstance(source, Athlete) and settings.apart:
        source.pool = scene_pool()
    feeds, waits = await asyncio.to_thread(_feeds, source, settings)
    some = next(iter(feeds.values()))
    spoken = (own_profile() if profile is None else profile).at_rate(some.rate_hz)
    ahead_s = APART_AHEAD_S if settings.apart else AHEAD_S
    await asyncio.to_thread(some.prepare, ahead_s)
    air = AirLink(np.random.default_rng((settings.seed, 77)), settings.supervision_s)
    clock = _FeedClock(None if waits else asyncio.get_running_loop().time(), len(feeds))
    per_packet = settings.samples_per_packet or max(1, round(PACKET_S * some.rate_hz))
    sensors = {}
    for number, placement in enumerate(p for p in settings.placements if p in feeds):
        serial = f"EMU-{1001 + number}"
        controller = SensorController(
            serial,
            air,
            f"F0:0D:{settings.seed % 256:02X}:00:00:{number + 1:02X}",
            AirState(settings.interval_s, settings.event_loss_ratio),
        )
        sensors[placement] = EmulatedSensor(
            SensorSettings(
                placement=placement,
                serial=serial,
                skew_ppm=settings.skew_ppm.get(placement, 0.0),
                jitter_s=settings.jitter_s,
                samples_per_packet=per_packet,
                buffer_s=settings.buffer_s,
                number_samples=settings.number_samples,
                keep_packets=settings.keep_packets,
                battery_percent=settings.battery_percent,
            ),
            spoken,
            feeds[placement],
            controller,
            air,
            np.random.default_rng((settings.seed, 78, number)),
            clock.starts_s,
            clock.on_start,
        )
    writer = asyncio.create_task(_keep_ahead(some, clock.starts_s, ahead_s))
    try:
        for sensor in sensors.values():
            await sensor.switch_on()
        yield SensorsOnAir(air, sensors, spoken)
    finally:
        writer.cancel()
        await asyncio.gather(writer, return_exceptions=True)
        if isinstance(source, Athlete) and source.pool is not None:
            source.pool.shutdown(wait=False, cancel_futures=True)
            source.pool = None
        for sensor in sensors.values():
            await sensor.switch_off()
        air.close()


class _FeedClock:
    """When feed time 0 was: fixed, or set once enough sensors have been started."""

    def __init__(self, start_s: float | None, sensors: int) -> None:
        self._start_s = start_s
        self._missing = sensors

    def starts_s(self) -> float | None:
        return self._start_s

    def on_start(self) -> None:
        self._missing -= 1
        if self._start_s is None and self._missing <= 0:
            self._start_s = asyncio.get_running_loop().time() + START_MARGIN_S


def _feeds(source: _Opened, settings: RigSettings) -> tuple[Mapping[Placement, SampleFeed], bool]:
    """Return a feed for each sensor, and whether it waits for all to be started."""
    if isinstance(source, Athlete):
        return source.feeds(), settings.scenes == "check"
    opened = open_recording(source) if isinstance(source, str | Path) else source
    feeds = recorded_feeds(opened)
    return {p: feed for p, feed in feeds.items() if p in settings.placements}, True


async def _keep_ahead(
    feed: SampleFeed, starts_s: Callable[[], float | None], ahead_s: float
) -> None:
    """Have an athlete's next scenes written before they are needed."""
    loop = asyncio.get_running_loop()
    while True:
        await asyncio.sleep(1.0)
        start_s = starts_s()
        if start_s is not None and feed.ready_s() < loop.time() - start_s + ahead_s:
            await asyncio.to_thread(feed.prepare, loop.time() - start_s + ahead_s)
