"""A sensor of another make, told by a file alone: no replay, no status, no clock to read."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
import pytest

from capture.captured import QUICK, Captured, all_linked, capture, crew_of, radio_of
from imujump.capture.crew import Crew
from imujump.capture.emulated.rig import emulated_sensors
from imujump.capture.events import StatusKind
from imujump.capture.finding import chosen_sensors, find_sensors
from imujump.capture.link_profile import read_link_profile
from imujump.capture.restart_guard import has_restarted
from imujump.model import Placement
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.packets import encode_packets
from imujump.recording.reader import RecordingReader

PROFILE = Path(__file__).with_name("foreign") / "strap_logger.toml"
PELVIS = Placement.PELVIS


def test_it_is_captured_and_what_it_cannot_send_again_is_a_gap(tmp_path):
    profile = read_link_profile(PROFILE)
    path = tmp_path / "a.imujump"

    async def run():
        async with emulated_sensors(
            profile=profile, rate_hz=104.0, placements=[PELVIS], keep_packets=True
        ) as rig:
            found = await find_sensors([profile], {}, radio_of(rig), 1.0, enough=1)
            sensors = chosen_sensors(found, {"EMU-1001": PELVIS})
            got = Captured()
            crew = Crew(sensors, radio=radio_of(rig), timings=QUICK)
            async with crew:

                async def direct():
                    await all_linked(crew)
                    await asyncio.sleep(1.0)
                    rig.sensor(PELVIS).stall(0.7)
                    await asyncio.sleep(1.5)
                    crew.end()

                with RecordingKeeper(path, crew.recorded_sensors) as kept:
                    directing = asyncio.create_task(direct())
                    async for event in crew:
                        kept.append(event)
                        got.events.append(event)
                    await directing
                got.states = {state.placement: state for state in crew.states}
            await asyncio.sleep(0.1)
            return got, await rig.sensor(PELVIS).facts()

    got, facts = asyncio.run(run())
    state = got.states[PELVIS]
    assert state.lost > 3
    assert state.packets + state.lost == facts.packets_made
    assert state.recovered == 0
    assert got.rows(PELVIS, StatusKind.CONNECT) == ["boot=- replay=no next=-"]
    assert got.rows(PELVIS, StatusKind.GAP)
    assert not got.readings(PELVIS)
    assert not facts.measuring
    with RecordingReader(path) as reader:
        batches = list(reader.batches())
        ticks = np.concatenate([batch.ticks for batch in batches])
    assert len(batches) == state.packets
    steps_s = np.diff(ticks) * profile.packet.tick_s
    # 104 Hz in whole ticks of 1/32768 s; one hole, where the sensor kept silent.
    assert np.sum(steps_s > 1.5 / 104) == 1
    assert 0.5 < steps_s.max() < 1.1


def test_a_restart_is_told_by_the_counter_where_there_is_no_boot_id():
    profile = read_link_profile(PROFILE)

    async def run():
        async with emulated_sensors(profile=profile, rate_hz=104.0, placements=[PELVIS]) as rig:
            crew = crew_of(rig)

            async def script():
                await asyncio.sleep(3.0)
                rig.sensor(PELVIS).drop_link(0.5)
                await asyncio.sleep(2.0)
                rig.sensor(PELVIS).reboot()
                await asyncio.sleep(2.5)

            return await capture(crew, script)

    found = asyncio.run(run())
    assert found.rows(PELVIS, StatusKind.REBOOT) == ["boot=-"]
    assert found.states[PELVIS].reconnects == 2
    segments = [batch.segment for batch in found.batches(profile)]
    assert segments == sorted(segments)
    assert set(segments) == {0, 1}


@pytest.mark.parametrize(
    ("ticks_on", "elapsed_s", "restarted"),
    [
        (10 * 32768, 10.0, False),
        (10 * 32768, 11.9, False),
        (-500_000, 1.0, True),
        (0, 10.0, True),
        (3600 * 32768 + 3000, 3600.2, False),
        # Once round the 32 bits of 1/32768 s: 36 h and 25 min.
        (5 * 32768, 2.0**32 / 32768 + 5.0, False),
    ],
)
def test_how_a_restart_shows_in_the_counter(ticks_on, elapsed_s, restarted):
    packet = read_link_profile(PROFILE).packet
    values = np.zeros((1, 1, 6))
    first, second = (
        encode_packets(packet, np.array([[600_000 + t]]), np.array([0]), values).tobytes()
        for t in (0, ticks_on)
    )
    assert has_restarted(packet, (first, 7.0), (second, 7.0 + elapsed_s)) is restarted
    assert not has_restarted(packet, (first, 7.0), (b"short", 7.0 + elapsed_s))
