"""The sensor check with real or emulated sensors: says what to do, listens, judges."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from imujump.capture.crew import Crew
from imujump.capture.events import SensorState
from imujump.capture.finding import chosen_sensors
from imujump.capture.one_capture import OneCapture
from imujump.capture.sensor_check import (
    CheckSamples,
    LinkFigures,
    SensorJudgement,
    check_sensors,
)
from imujump.capture_job import Wish, find, radio_of
from imujump.live import sensor_info
from imujump.model import ClockReading, SampleBatch
from imujump.recording.in_order import SampleOrder
from imujump.recording.row_file import RecordedSensor

STEPS: tuple[tuple[float, str], ...] = (
    (4.0, "Stand still, both feet flat."),
    (8.0, "Walk straight ahead, eight steps or so, and stand still again."),
    (4.0, "Stamp once with the left foot, then stand still."),
    (4.0, "Stamp once with the right foot, then stand still."),
)
"""What the athlete does and for how long (own choice: a little more than the check needs)."""

LINK_WAIT_S = 20.0
"""How long all sensors may take to be linked (own choice)."""


async def run_check(
    wish: Wish, tell: Callable[[str], None], steps: Sequence[tuple[float, str]] = STEPS
) -> tuple[SensorJudgement, ...]:
    """Find the sensors, guide the athlete, and judge each sensor.

    Parameters
    ----------
    wish : Wish
        Which sensors.
    tell : callable
        Called with each sentence that tells the athlete what to do.
    steps : sequence of (seconds, sentence)
        What is asked for.

    Raises
    ------
    ImuJumpError
        If another capture runs, or sensors or Bluetooth cannot be used.
    """
    entries: list[SampleBatch | ClockReading] = []
    tell("Looking for the sensors. They are worn, and the athlete stands ready.")
    with OneCapture(wish.adapter):
        async with radio_of(wish) as way:
            sensors = chosen_sensors(await find(wish, way), wish.chosen)
            rate_hz = way.rate_hz or wish.rate_hz
            async with Crew(sensors, rate_hz, way.radio) as crew:
                recorded = crew.recorded_sensors
                order = SampleOrder([(each.placement, each.profile) for each in recorded])

                async def listen() -> None:
                    async for event in crew:
                        entries.extend(order.take(event))

                listening = asyncio.create_task(listen())
                await _all_linked(crew)
                entries.clear()
                for wait_s, sentence in steps:
                    tell(f"{sentence} ({wait_s:.0f} seconds)")
                    await asyncio.sleep(wait_s)
                states = crew.states
                crew.end()
                await listening
                entries.extend(order.finish())
    return judged(recorded, entries, states)


async def _all_linked(crew: Crew) -> None:
    """Wait until all sensors send, or no longer: one that stays away is judged by that."""
    waited_s = 0.0
    while waited_s < LINK_WAIT_S and not all(state.packets for state in crew.states):
        await asyncio.sleep(0.1)
        waited_s += 0.1


def judged(
    sensors: Sequence[RecordedSensor],
    entries: Iterable[SampleBatch | ClockReading],
    states: Sequence[SensorState],
) -> tuple[SensorJudgement, ...]:
    """Judge sensors by their samples, each sensor's clock set by its shortest delay."""
    batches = [entry for entry in entries if isinstance(entry, SampleBatch)]
    samples = {}
    for sensor in sensors:
        info = sensor_info(sensor)
        mine = [batch for batch in batches if batch.placement is sensor.placement]
        # A sensor that restarted during the check is judged by what came after.
        mine = [batch for batch in mine if batch.segment == mine[-1].segment]
        time_s = (
            np.concatenate([b.ticks for b in mine] or [np.empty(0, dtype=np.int64)]) * info.tick_s
        )
        delays_s = [batch.arrival_s - batch.ticks[-1] * info.tick_s for batch in mine]
        empty = np.empty((0, 3))
        samples[sensor.placement] = CheckSamples(
            info,
            time_s + min(delays_s, default=0.0),
            np.concatenate([b.accel_mps2 for b in mine] or [empty]),
            np.concatenate([b.gyro_radps for b in mine] or [empty]),
        )
    links = {
        state.placement: LinkFigures(
            state.packets, state.lost, state.rate_hz, state.battery_percent, state.rssi_dbm
        )
        for state in states
    }
    return check_sensors(samples, links)
