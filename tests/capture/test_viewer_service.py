"""Viewers of a capture may die, come back and dawdle without the capture noticing."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from pathlib import Path

import pytest
from recording.made_up import quiet_packets, sensors
from recording.test_recording_file import stored

from imujump.capture.one_capture import OneCapture, running_capture
from imujump.capture.viewer import CaptureViewer, find_capture
from imujump.capture.viewer_service import EVENTS_KEPT, ViewerService
from imujump.recording.captured import CapturedPacket
from imujump.recording.keeper import RecordingKeeper

LOOKER = Path(__file__).with_name("looker.py")


def start_looker(folder, *more):
    return subprocess.Popen(
        [sys.executable, str(LOOKER), str(folder), *more], stdout=subprocess.PIPE, text=True
    )


async def line_of(process):
    assert process.stdout is not None
    return json.loads(await asyncio.to_thread(process.stdout.readline))


def end(process):
    process.kill()
    process.wait()
    process.stdout.close()


def test_ten_viewers_are_killed_and_no_packet_is_lost(tmp_path):
    profile, _, packets = quiet_packets(seconds=400.0)

    async def capture(one):
        count = 0
        async with ViewerService() as service:
            one.open_door(service.port, service.key)
            with RecordingKeeper(tmp_path / "a.imujump", sensors(profile)) as kept:

                async def packets_come():
                    nonlocal count
                    loop = asyncio.get_running_loop()
                    due_s = loop.time()
                    for packet in packets:
                        due_s += 1 / 600
                        await asyncio.sleep(max(0.0, due_s - loop.time()))
                        kept.append(CapturedPacket(*packet))
                        count += 1
                        service.publish({"packets": count})
                        service.tell({"packet": count})

                source = asyncio.create_task(packets_come())
                dawdler = start_looker(tmp_path, "slow")
                seen = []
                for _ in range(10):
                    viewer = start_looker(tmp_path)
                    first, *_ = await line_of(viewer)
                    second, events, missed = await line_of(viewer)
                    assert second > first
                    assert events == second - first
                    assert missed == 0
                    seen.append(second)
                    end(viewer)
                assert seen == sorted(seen)
                assert not source.done()
                assert dawdler.poll() is None
                end(dawdler)
                source.cancel()
                await asyncio.gather(source, return_exceptions=True)
        return count

    with OneCapture("usb0", tmp_path) as one:
        count = asyncio.run(capture(one))
    assert count > 100
    assert stored(tmp_path / "a.imujump") == packets[:count]


def test_a_slow_viewer_gets_the_newest_state_and_no_queue_builds_up(tmp_path):
    """A million bytes of states are published while it sleeps; a socket's worth of them comes."""

    async def show():
        async with ViewerService() as service:
            reader, writer = await asyncio.open_connection("127.0.0.1", service.port, limit=1 << 22)
            writer.write(service.key.encode() + b"\n")
            service.publish({"n": -1})
            await reader.readline()
            reader._transport.pause_reading()
            for n in range(400):
                service.publish({"n": n, "load": "x" * 20_000})
                for k in range(3):
                    service.tell({"n": n, "k": k})
                await asyncio.sleep(0.005)
            reader._transport.resume_reading()
            views = []
            while not views or views[-1]["state"]["n"] < 399:
                views.append(json.loads(await reader.readline()))
            writer.close()
            return views

    views = asyncio.run(show())
    assert len(views) < 100
    assert views[-1]["state"]["n"] == 399
    told = sum(len(view["events"]) + view["missed"] for view in views)
    assert told == 1200
    assert all(len(view["events"]) <= EVENTS_KEPT for view in views)


def test_marks_and_the_wish_to_stop_reach_the_capture(tmp_path):
    received = []

    async def run(one):
        got = asyncio.Event()

        def receive(message):
            received.append(message)
            if len(received) == 2:
                got.set()

        async with ViewerService(receive) as service:
            one.open_door(service.port, service.key)
            service.publish({"packets": 1})

            def look():
                with CaptureViewer(find_capture("usb0", tmp_path)) as viewer:
                    assert viewer.read().state == {"packets": 1}
                    viewer.mark("better")
                    viewer.stop()
                    while viewer.read():
                        pass

            looking = asyncio.create_task(asyncio.to_thread(look))
            async with asyncio.timeout(5.0):
                await got.wait()
        # The service has ended: the viewer is told so.
        async with asyncio.timeout(5.0):
            await looking

    with OneCapture("usb0", tmp_path) as one:
        asyncio.run(run(one))
    assert received == [{"mark": "better"}, {"stop": True}]
    assert running_capture("usb0", tmp_path) is None


@pytest.mark.parametrize("greeting", [b"wrong\n", b"\xff\xfe\n", b"x" * 200_000])
def test_without_the_key_there_is_nothing_to_see(greeting):
    async def run():
        async with ViewerService() as service:
            service.publish({"secret": 1})
            reader, writer = await asyncio.open_connection("127.0.0.1", service.port)
            writer.write(greeting)
            try:
                seen = await asyncio.wait_for(reader.read(), 5.0)
            except ConnectionError:
                seen = b""
            writer.close()
            return seen

    assert asyncio.run(run()) == b""
