"""Emulated sensors and the computer's Bluetooth in one event loop: the rig of all tests."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import numpy as np
from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.exc import BleakBluetoothNotAvailableReason

from imujump.capture.emulated.air import AirLink, AirState, CentralController, SensorController
from imujump.capture.emulated.athlete_feed import Athlete
from imujump.capture.emulated.bleak_backend import backends
from imujump.capture.emulated.central import ADDRESS, Central
from imujump.capture.emulated.feeds import SampleFeed, recorded_feeds
from imujump.capture.emulated.sensor import EmulatedSensor, SensorSettings
from imujump.capture.link_profile import LinkProfile
from imujump.capture.profile_book import own_profile
from imujump.model import Placement, SampleSource
from imujump.recording.files import open_recording

AHEAD_S = 20.0
"""Motion kept ready ahead of what is being measured."""

START_MARGIN_S = 0.3
"""From the start of the last sensor to the first sample of a recording."""

Source = Athlete | SampleSource | Path | str | None


class Rig:
    """Emulated sensors, and a scanner and clients that reach them.

    Attributes
    ----------
    profile : LinkProfile
        What all sensors speak, at the rate they measure.
    """

    def __init__(self, profile: LinkProfile, central: Central) -> None:
        self.profile = profile
        self._central = central
        self._scanner, self._client = backends(central)
        self._sensors: dict[Placement, EmulatedSensor] = {}

    @property
    def sensors(self) -> Mapping[Placement, EmulatedSensor]:
        """The sensors by where they are worn."""
        return self._sensors

    def sensor(self, placement: Placement | str) -> EmulatedSensor:
        """Return the sensor worn there."""
        return self._sensors[Placement(placement)]

    def scanner_factory(self, *args: Any, **kwargs: Any) -> BleakScanner:
        """Make a scanner; takes what :class:`bleak.BleakScanner` takes."""
        return BleakScanner(*args, **kwargs, backend=self._scanner)

    def client_factory(self, device: BLEDevice | str, *args: Any, **kwargs: Any) -> BleakClient:
        """Make a client; takes what :class:`bleak.BleakClient` takes."""
        return BleakClient(device, *args, **kwargs, backend=self._client)

    def break_adapter(self, reason: BleakBluetoothNotAvailableReason | None) -> None:
        """Let Bluetooth appear unavailable, or available again with None."""
        self._central.problem = reason


@asynccontextmanager
async def emulated_sensors(
    source: Source = None,
    *,
    rate_hz: float = 200.0,
    placements: Sequence[Placement] = tuple(Placement),
    profile: LinkProfile | None = None,
    seed: int = 0,
    interval_s: float = 0.0075,
    event_loss_ratio: float = 0.0,
    skew_ppm: Mapping[Placement, float] | None = None,
    jitter_s: float = 0.0,
    buffer_s: float = 60.0,
    samples_per_packet: int = 10,
    number_samples: bool = False,
    keep_packets: bool = False,
    battery_percent: int = 90,
    supervision_s: float = 2.0,
) -> AsyncIterator[Rig]:
    """Run emulated sensors for as long as the context is open.

    Parameters
    ----------
    source : Athlete, SampleSource, path or None
        Who wears them: an athlete, or a recording of any kind. None: an athlete drawn from
        ``seed``. A recording begins once all sensors have been started, and its last sample
        is held after its end.
    rate_hz : float
        Rate of an athlete's sensors; a recording has its own.
    placements : sequence of Placement
        Sensors worn.
    profile : LinkProfile, optional
        What they speak; our own by default.
    seed : int
        The same seed gives the same samples, phases and ids.
    interval_s, event_loss_ratio : float
        Connection interval, 0 for none, and the share of connection events that is lost.
    skew_ppm : mapping, optional
        Rate error of each sensor's clock.
    jitter_s : float
        Mean random delay of the firmware.
    buffer_s : float
        What each sensor's ring buffer holds.
    samples_per_packet : int
        Most samples in a packet, MTU permitting.
    number_samples : bool
        Write the sample number into the first channel, to expose lost and doubled samples.
    keep_packets : bool
        Keep all packets made in ``sensor.made``.
    battery_percent : int
        Charge at the start.
    supervision_s : float
        Silence that ends a link.

    Yields
    ------
    Rig
        Factories for bleak's scanner and client, and the sensors.

    Raises
    ------
    RecordingError
        If the recording cannot be used.
    """
    feeds, waits = _feeds(source, rate_hz, placements, skew_ppm, seed)
    rate_hz = next(iter(feeds.values())).rate_hz
    spoken = _at_rate(own_profile() if profile is None else profile, rate_hz)
    await asyncio.to_thread(next(iter(feeds.values())).prepare, AHEAD_S)
    generator = np.random.default_rng((seed, 77))
    air = AirLink(generator, supervision_s)
    computer = CentralController("computer", air, ADDRESS)
    central = Central(computer, computer)
    rig = Rig(spoken, central)
    loop = asyncio.get_running_loop()
    clock = _FeedClock(None if waits else loop.time(), len(feeds))
    for number, placement in enumerate(p for p in placements if p in feeds):
        serial = f"EMU-{1001 + number}"
        controller = SensorController(
            serial,
            air,
            f"F0:0D:{seed % 256:02X}:00:00:{number + 1:02X}",
            AirState(interval_s, event_loss_ratio),
        )
        settings = SensorSettings(
            placement,
            serial,
            (skew_ppm or {}).get(placement, 0.0),
            jitter_s,
            samples_per_packet,
            buffer_s,
            number_samples,
            keep_packets,
            battery_percent,
        )
        rig._sensors[placement] = EmulatedSensor(
            settings,
            spoken,
            feeds[placement],
            controller,
            air,
            np.random.default_rng((seed, 78, number)),
            clock.starts_s,
            clock.on_start,
        )
    writer = asyncio.create_task(_keep_ahead(next(iter(feeds.values())), clock.starts_s))
    try:
        await central.switch_on()
        for sensor in rig._sensors.values():
            await sensor.switch_on()
        yield rig
    finally:
        writer.cancel()
        await asyncio.gather(writer, return_exceptions=True)
        for sensor in rig._sensors.values():
            await sensor.switch_off()
        await central.switch_off()
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


def _feeds(
    source: Source,
    rate_hz: float,
    placements: Sequence[Placement],
    skew_ppm: Mapping[Placement, float] | None,
    seed: int,
) -> tuple[Mapping[Placement, SampleFeed], bool]:
    """Return a feed for each sensor, and whether it waits for all to be started."""
    if source is None:
        source = Athlete(rate_hz, placements, skew_ppm=skew_ppm, seed=seed)
    if isinstance(source, Athlete):
        return source.feeds(), False
    opened = open_recording(source) if isinstance(source, str | Path) else source
    feeds = recorded_feeds(opened)
    return {p: feed for p, feed in feeds.items() if p in placements}, True


def _at_rate(profile: LinkProfile, rate_hz: float) -> LinkProfile:
    return profile if profile.packet.rate_hz == rate_hz else profile.at_rate(rate_hz)


async def _keep_ahead(feed: SampleFeed, starts_s: Callable[[], float | None]) -> None:
    """Have an athlete's next scenes written before they are needed."""
    loop = asyncio.get_running_loop()
    while True:
        await asyncio.sleep(1.0)
        start_s = starts_s()
        if start_s is not None and feed.ready_s() < loop.time() - start_s + AHEAD_S:
            await asyncio.to_thread(feed.prepare, loop.time() - start_s + AHEAD_S)
