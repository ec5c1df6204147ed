"""Emulated sensors in a process of their own: the same sensors, over loopback sockets."""

import asyncio
import json
import signal
import subprocess
import sys

import pytest
from bumble.transport.tcp_client import open_tcp_client_transport

from imujump.capture.emulated.far_rig import attached_sensors, emulated_process
from imujump.capture.emulated.server import LOOPBACK
from imujump.capture.profile_book import own_profile
from imujump.errors import SensorError
from tests.capture.talking import Talk, found, sample_numbers, sequences, talks, until


def test_sensors_of_another_process_lose_nothing_and_obey():
    async def run():
        async with emulated_process(number_samples=True, rate_hz=400.0, interval_s=0.015) as rig:
            assert rig.profile.packet.rate_hz == 400.0
            async with talks(rig) as open_talks:
                await asyncio.sleep(1.0)
                talk = open_talks[1]
                boot_id = (await talk.status())["boot_id"]
                facts = await rig.sensor("right_shank").facts()
                assert (facts.serial, facts.boot_id, facts.connected) == ("EMU-1002", boot_id, True)
                before = len(talk.live)
                rig.sensor("right_shank").drop_link(0.3)
                await until(lambda: talk.drops == 1)
                await asyncio.sleep(0.3)
                (talk.device,) = await found(rig)
                await talk.connect()
                await talk.subscribe()
                await until(lambda: len(talk.live) > before)
                first, last = sequences(talk.live)[before - 1 : before + 1]
                await talk.replay(boot_id, first + 1, last - first - 1)
                await until(lambda: len(talk.replayed) == last - first - 1)
                numbers = sample_numbers(talk.live) + sample_numbers(talk.replayed)
                assert sorted(numbers) == list(range(len(numbers)))
                # One monotonic clock for all processes of a computer: arrivals follow sampling.
                clock = facts.clock
                delays = [
                    arrival - clock.time_s(int.from_bytes(data[2:6], "little") + 22_500)
                    for arrival, data in talk.live
                ]
                assert 0.0 < min(delays) < 0.03
                for other in (open_talks[0], open_talks[2]):
                    mine = sample_numbers(other.live)
                    assert len(mine) > 500
                    assert mine == list(range(len(mine)))

    asyncio.run(run())


def start_server(*options):
    process = subprocess.Popen(
        [sys.executable, "-m", "imujump.capture.emulated", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    return process


@pytest.mark.skipif(sys.platform == "win32", reason="stopped by a signal that Windows lacks")
def test_a_computer_that_dies_leaves_its_sensors_free():
    process = start_server("--rate-hz", "200", "--seed", "5")
    try:
        told = json.loads(process.stdout.readline())
        ports = told["hci_port"], told["control_port"]

        async def run():
            async with attached_sensors(*ports, own_profile()) as rig:
                assert len(await found(rig)) == 3
                device = (await found(rig))[0]
                first = await (await Talk(rig, device).connect()).start()
                await until(lambda: len(first.live) > 3)
                assert (await rig.sensor("left_shank").facts()).connected
                # A second computer on the same adapter is hung up on.
                second = await open_tcp_client_transport(f"{LOOPBACK}:{ports[0]}")
                await asyncio.wait_for(second.source.terminated, 2.0)
                await second.close()
                # Dies: the socket closes and nobody says goodbye.
                rig._central.device.host.hci_sink.close()
                await asyncio.sleep(0.2)
                assert not (await rig.sensor("left_shank").facts()).connected
            async with attached_sensors(*ports, own_profile()) as rig:
                again = await Talk(rig, (await found(rig))[0]).connect()
                status = await again.status()
                assert again.profile.status_marks(status) == {"measuring"}
                await again.client.disconnect()

        asyncio.run(run())
        process.send_signal(signal.SIGINT)
        assert process.wait(10) == 0
    finally:
        process.kill()
        process.communicate()


def test_what_cannot_be_started_is_told_in_a_sentence(tmp_path):
    process = start_server(str(tmp_path / "none.imujump"))
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (1, "")
    assert "none.imujump: there is no such file" in err
    assert err.count("\n") == 1

    async def nobody_there():
        async with attached_sensors(9, 9, own_profile()):
            pass

    with pytest.raises(SensorError, match="start them first"):
        asyncio.run(nobody_there())


def test_a_missing_package_is_told_in_a_sentence():
    code = (
        "import sys; sys.modules['bumble'] = None\n"
        "from imujump.errors import SensorError\n"
        "try:\n    import imujump.capture.emulated.rig\n"
        "except SensorError as error:\n    print(error)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout == (
        "emulated sensors: the package bumble is not installed; install it with: "
        "pip install 'imujump[emulate]'.\n"
    )
