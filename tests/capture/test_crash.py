"""A capture that is killed: its recording opens, and the next capture has the sensors again."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import time
from pathlib import Path

from capture.captured import QUICK, all_linked, placed
from capture.capturer import serials
from imujump.capture.crew import Crew
from imujump.capture.emulated.far_rig import attached_sensors
from imujump.capture.emulated.sensors_on_air import sensors_on_air
from imujump.capture.emulated.server import offered
from imujump.capture.emulated.settings import RigSettings
from imujump.capture.events import CapturedPacket
from imujump.capture.finding import Radio, find_sensors
from imujump.model import Placement
from imujump.recording.reader import RecordingReader

PROGRAM = Path(__file__).with_name("capturer.py")
PLACES = [Placement.LEFT_SHANK, Placement.PELVIS]


def test_a_killed_capture_leaves_a_recording_and_free_sensors(tmp_path):
    tests = PROGRAM.parent.parent
    path = tmp_path / "killed.imujump"

    async def run():
        async with (
            sensors_on_air(None, None, RigSettings(placements=PLACES, keep_packets=True)) as on_air,
            offered(on_air) as (hci_port, control_port),
        ):
            process = await asyncio.create_subprocess_exec(
                sys.executable,
                str(PROGRAM),
                str(hci_port),
                str(control_port),
                str(path),
                stdout=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tests), str(tests.parent)])},
            )
            while int(await process.stdout.readline() or b"-1") < 60:
                pass
            killed_s = time.monotonic()
            made = {p: len(s.made) for p, s in on_air.sensors.items()}
            process.kill()
            await process.wait()
            # The next one takes over: sensors still measure, and are let in again.
            async with attached_sensors(hci_port, control_port, on_air.profile, PLACES) as rig:
                radio = Radio(rig.scanner_factory, rig.client_factory)
                found = await find_sensors([rig.profile], {}, radio, enough=2)
                again = {p: 0 for p in PLACES}
                crew = Crew(placed(found, await serials(rig)), radio=radio, timings=QUICK)
                async with crew:

                    async def direct():
                        await all_linked(crew)
                        await asyncio.sleep(0.5)
                        crew.end()

                    directing = asyncio.create_task(direct())
                    async for event in crew:
                        if isinstance(event, CapturedPacket):
                            again[event.placement] += 1
                    await directing
                return made, killed_s, again, crew.states

    made, _, again, states = asyncio.run(run())
    held = dict.fromkeys(PLACES, 0)
    with RecordingReader(path) as reader:
        for batch in reader.batches():
            held[batch.placement] += 1
    # 0.2 s at 20 packets a second, one that is being made and one in the air.
    for place in PLACES:
        assert made[place] - held[place] <= 4 + 2 + 1
        assert again[place] > 5
    assert all(state.lost == 0 and state.sentence is None for state in states)
