"""Runs emulated sensors as a process: ``python -m imujump.capture.emulated [RECORDING]``."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sys
import threading
from dataclasses import replace
from pathlib import Path

import click

from imujump.capture.emulated.sensors_on_air import sensors_on_air
from imujump.capture.emulated.server import offered
from imujump.capture.emulated.settings import RigSettings
from imujump.capture.link_profile import read_link_profile
from imujump.errors import ImuJumpError

SWITCH_S = 2e-4
"""How long one thread may keep another waiting (own choice, a fraction of the shortest
connection interval)."""


@click.command()
@click.argument("recording", type=click.Path(path_type=Path), required=False)
@click.option("--rate-hz", type=float, help="Rate of a simulated athlete's sensors.")
@click.option("--seed", type=int, help="Draws another athlete.")
@click.option("--hci-port", type=int, default=0, help="Loopback port for a Bluetooth host.")
@click.option("--control-port", type=int, default=0, help="Loopback port for control lines.")
@click.option("--profile", type=click.Path(path_type=Path), help="Sensor profile to speak.")
@click.option("--settings", default="", help="All settings as JSON.")
@click.option("--until-input-ends", is_flag=True, help="Stop when the standard input closes.")
def main(
    recording: Path | None,
    rate_hz: float | None,
    seed: int | None,
    hci_port: int,
    control_port: int,
    profile: Path | None,
    settings: str,
    until_input_ends: bool,
) -> None:
    """Offer three emulated sensors, worn by a simulated athlete or played from a RECORDING.

    The first line printed is JSON and names the ports.
    """
    # What runs in a thread beside the radio must not make it wait.
    sys.setswitchinterval(SWITCH_S)
    chosen = RigSettings.from_json(settings) if settings else RigSettings()
    chosen = replace(chosen, apart=True)
    if rate_hz is not None:
        chosen = replace(chosen, rate_hz=rate_hz)
    if seed is not None:
        chosen = replace(chosen, seed=seed)
    try:
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(
                _serve(recording, profile, chosen, hci_port, control_port, until_input_ends)
            )
    except (ImuJumpError, ValueError, OSError) as error:
        click.echo(str(error), err=True)
        sys.exit(1)


async def _serve(
    recording: Path | None,
    profile: Path | None,
    settings: RigSettings,
    hci_port: int,
    control_port: int,
    until_input_ends: bool,
) -> None:
    spoken = None if profile is None else read_link_profile(profile)
    stop = asyncio.Event()
    if until_input_ends:
        loop = asyncio.get_running_loop()

        def watch() -> None:
            # Not by the buffer, whose lock would be held when the process ends by itself.
            while os.read(sys.stdin.fileno(), 1024):
                pass
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(stop.set)

        threading.Thread(target=watch, daemon=True).start()
    async with (
        sensors_on_air(recording, spoken, settings) as on_air,
        offered(on_air, hci_port, control_port) as (hci, control),
    ):
        told = {
            "hci_port": hci,
            "control_port": control,
            "placements": list(on_air.sensors),
            "profile": on_air.profile.packet.text,
        }
        click.echo(json.dumps(told))
        sys.stdout.flush()
        await stop.wait()


if __name__ == "__main__":
    main()
