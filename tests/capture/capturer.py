"""Run as a program: captures sensors that another process offers, until killed.

capturer.py HCI_PORT CONTROL_PORT RECORDING
"""

import asyncio
import sys
from pathlib import Path

from capture.captured import QUICK, placed
from imujump.capture.crew import Crew
from imujump.capture.emulated.far_rig import attached_sensors
from imujump.capture.finding import Radio, find_sensors
from imujump.capture.profile_book import own_profile
from imujump.model import Placement
from imujump.recording.keeper import RecordingKeeper


async def main(hci_port, control_port, path):
    async with attached_sensors(
        hci_port, control_port, own_profile(), [Placement.LEFT_SHANK, Placement.PELVIS]
    ) as rig:
        radio = Radio(rig.scanner_factory, rig.client_factory)
        found = placed(await find_sensors([rig.profile], {}, radio, enough=2), await serials(rig))
        async with Crew(found, radio=radio, timings=QUICK) as crew:
            with RecordingKeeper(path, crew.recorded_sensors) as kept:
                async for event in crew:
                    kept.append(event)
                    linked = all(state.linked for state in crew.states)
                    sys.stdout.write(f"{kept.state.packets if linked else 0}\n")
                    sys.stdout.flush()


async def serials(rig):
    return {(await sensor.facts()).serial: place for place, sensor in rig.sensors.items()}


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])))
