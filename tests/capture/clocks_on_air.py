"""How well sensors' clocks agree over the emulated air: true clocks against fitted ones."""

from __future__ import annotations

import asyncio
import math
from dataclasses import replace
from typing import Any

import numpy as np

from imujump.capture.emulated.rig import emulated_sensors
from imujump.capture.link_state import Timings
from imujump.model import ClockReading, FloatArray, Placement, SampleBatch, SensorInfo
from imujump.pipeline.clock_fit import ClockFit
from imujump.pipeline.clock_track import ClockTrack
from imujump.pipeline.streams import SensorStream
from imujump.recording.in_order import SampleOrder

from .captured import QUICK, all_linked, crew_of

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS
SKEWS_PPM = {LEFT: 40.0, RIGHT: -40.0, PELVIS: 7.0}
TURN = 1 << 32


async def errors_over_air(
    interval_s: float, duration_s: float, seed: int, *, jitter_s: float = 3e-4
) -> tuple[FloatArray, dict[Placement, ClockFit]]:
    """Capture for a while; return the errors between the three pairs, and the fits."""
    usual = Timings()
    timings = replace(
        QUICK,
        first_pings=usual.first_pings,
        first_ping_s=usual.first_ping_s,
        ping_s=usual.ping_s,
    )
    settings: dict[str, Any] = {
        "interval_s": interval_s,
        "jitter_s": jitter_s,
        "skew_ppm": SKEWS_PPM,
    }
    async with emulated_sensors(rate_hz=100.0, seed=seed, **settings) as rig:
        crew: Any = crew_of(rig, timings=timings, seed=seed)
        order = SampleOrder([(place, rig.profile.packet) for place in Placement])
        tracks = {place: ClockTrack() for place in Placement}
        streams: dict[Placement, SensorStream] = {}

        def take(entry: SampleBatch | ClockReading) -> None:
            place = entry.placement
            if isinstance(entry, ClockReading):
                tracks[place].read(entry)
                return
            streams[place].append(entry)
            received = streams[place].settle()
            if received is not None:
                tracks[place].take(received.time_s, received.arrival_s, 0)

        packet = rig.profile.packet
        for place in Placement:
            info = SensorInfo(place, str(place), packet.rate_hz, packet.tick_s)
            streams[place] = SensorStream(info)
        true_ticks: dict[Placement, int] = {}

        async def direct() -> None:
            await all_linked(crew)
            await asyncio.sleep(duration_s)
            now_s = asyncio.get_running_loop().time()
            for place, sensor in rig.sensors.items():
                true_ticks[place] = int(sensor._clock.tick(now_s))
            crew.end()

        async with crew:
            directing = asyncio.create_task(direct())
            async for event in crew:
                for entry in order.take(event):
                    take(entry)
            await directing
    fits, shown = {}, {}
    for place, track in tracks.items():
        fit = track.fit(math.inf, streams[place])
        assert fit is not None
        tick_s = streams[place].info.tick_s
        last = round((streams[place].last_time_s or 0.0) / tick_s)
        tick = last + (true_ticks[place] - last + TURN // 2) % TURN - TURN // 2
        fits[place], shown[place] = fit, fit.host_s(tick * tick_s)
    pairs = ((LEFT, RIGHT), (RIGHT, PELVIS), (PELVIS, LEFT))
    return np.array([shown[a] - shown[b] for a, b in pairs]), fits
