"""Links that break in every way the rig knows: nothing that can be had is lost, none is doubled."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from itertools import pairwise

import pytest
from bleak.exc import BleakBluetoothNotAvailableReason as Reason

from capture.captured import QUICK, Captured, all_linked, capture, crew_of, radio_of
from imujump.capture.emulated.rig import emulated_sensors
from imujump.capture.events import CapturedPacket, StatusKind
from imujump.capture.finding import Radio
from imujump.model import Placement
from imujump.recording.in_order import number_range
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.reader import RecordingReader

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS


async def sleep_until(condition, limit_s=10.0):
    async with asyncio.timeout(limit_s):
        while not condition():  # noqa: ASYNC110
            await asyncio.sleep(0.02)


def unflagged(data):
    """A packet without its flags, which tell a replayed one."""
    return data[:7] + data[8:]


def test_drops_silence_and_stalls_cost_nothing():
    """Three sensors, each with another fault, at once; what they made is what was captured."""

    async def run():
        async with emulated_sensors(number_samples=True, keep_packets=True) as rig:

            async def script():
                await asyncio.sleep(0.5)
                rig.sensor(PELVIS).drop_link(1.0)
                rig.sensor(LEFT).silence(2.4)
                rig.sensor(RIGHT).stall(1.5)
                await asyncio.sleep(5.0)

            found = await capture(crew_of(rig), script)
            facts = {place: await sensor.facts() for place, sensor in rig.sensors.items()}
            return found, facts, {p: s.made for p, s in rig.sensors.items()}, rig.profile

    found, facts, made, profile = asyncio.run(run())
    for place, state in found.states.items():
        got = [unflagged(packet.data) for packet in found.packets(place)]
        assert sorted(got) == sorted(map(unflagged, made[place]))
        assert (state.lost, state.doubled) == (0, 0)
        assert state.packets == facts[place].packets_made
        assert not facts[place].measuring
        assert not facts[place].connected
        assert state.sentence is None
        assert found.rows(place, StatusKind.GAP) == []
    assert [found.states[p].reconnects for p in (LEFT, RIGHT, PELVIS)] == [1, 0, 1]
    assert found.states[RIGHT].recovered > 20
    # The same, sample by sample, in the order of measurement.
    for place in Placement:
        batches = [b for b in found.batches(profile) if b.placement is place]
        numbers = [
            round(x / profile.packet.factors[0]) for b in batches for x in b.accel_mps2[:, 0]
        ]
        assert numbers == list(range(facts[place].samples_made))
    stamps = [getattr(e, "arrival_s", None) or getattr(e, "time_s", 0.0) for e in found.events]
    stamps = [s for s in stamps if s]
    assert stamps == sorted(set(stamps))


def test_what_was_made_but_not_sent_when_the_session_ends_is_fetched():
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:

            async def script():
                await asyncio.sleep(0.4)
                rig.sensor(PELVIS).stall(0.7)
                await asyncio.sleep(0.6)

            found = await capture(crew_of(rig), script)
            return found, await rig.sensor(PELVIS).facts(), rig.profile

    found, facts, profile = asyncio.run(run())
    state = found.states[PELVIS]
    assert state.packets == facts.packets_made
    assert state.recovered > 5
    assert state.lost == 0
    assert sum(len(batch.ticks) for batch in found.batches(profile)) == facts.samples_made


def test_what_the_buffer_no_longer_has_is_a_marked_gap(tmp_path):
    async def run():
        async with emulated_sensors(
            rate_hz=200.0, buffer_s=1.0, placements=[LEFT, PELVIS], keep_packets=True
        ) as rig:

            async def script():
                rig.sensor(LEFT).drop_link(2.0)
                await asyncio.sleep(4.5)

            crew = crew_of(rig)
            with RecordingKeeper(tmp_path / "a.imujump", crew.recorded_sensors) as kept:
                found = Captured()
                async with crew:

                    async def direct():
                        await all_linked(crew)
                        await script()
                        crew.end()

                    directing = asyncio.create_task(direct())
                    async for event in crew:
                        kept.append(event)
                        found.events.append(event)
                    await directing
                    found.states = {state.placement: state for state in crew.states}
            return found, {p: s.made for p, s in rig.sensors.items()}, rig.profile

    found, made, profile = asyncio.run(run())
    state = found.states[LEFT]
    gaps = [number_range(detail) for detail in found.rows(LEFT, StatusKind.GAP)]
    lost = {n for first, last in gaps for n in range(first, last + 1)}
    assert len(lost) == state.lost > 10
    assert state.recovered > 5
    assert set(found.numbers(LEFT, profile)) | lost == set(range(len(made[LEFT])))
    assert not set(found.numbers(LEFT, profile)) & lost
    assert found.rows(LEFT, StatusKind.OVERFLOW) == [""]
    assert found.states[PELVIS].packets == len(made[PELVIS])
    with RecordingReader(tmp_path / "a.imujump") as reader:
        read = list(reader.batches())
        ticks = [t for b in read if b.placement is LEFT for t in b.ticks.tolist()]
    live = [t for b in found.batches(profile) if b.placement is LEFT for t in b.ticks.tolist()]
    assert ticks == live
    holes_s = [(b - a) * 1e-6 for a, b in pairwise(ticks) if b - a > 7500]
    assert sum(holes_s) - 0.005 * len(holes_s) == pytest.approx(state.lost * 0.05, abs=0.06)


def test_a_reboot_begins_a_new_segment():
    async def run():
        async with emulated_sensors(placements=[LEFT, PELVIS]) as rig:

            async def script():
                await asyncio.sleep(0.3)
                rig.sensor(LEFT).reboot()
                await asyncio.sleep(3.0)

            found = await capture(crew_of(rig), script)
            return found, await rig.sensor(LEFT).facts(), rig.profile

    found, facts, profile = asyncio.run(run())
    assert found.rows(LEFT, StatusKind.REBOOT) == [f"boot={facts.boot_id}"]
    assert {reading.segment for reading in found.readings(LEFT)} == {0, 1}
    assert {reading.segment for reading in found.readings(PELVIS)} == {0}
    batches = [b for b in found.batches(profile) if b.placement is LEFT]
    assert [b.segment for b in batches] == sorted(b.segment for b in batches)
    assert sum(len(b.ticks) for b in batches if b.segment == 1) == facts.samples_made
    assert found.states[LEFT].lost == 0


def test_a_silent_link_is_given_up_long_before_the_system_does():
    """The radio link stays; only the data stop, and for longer than is put up with."""
    timings = replace(QUICK, stale_s=0.3, dead_s=0.8)

    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            crew = crew_of(rig, timings=timings)

            async def script():
                rig.sensor(PELVIS).stall(1.6)
                await sleep_until(lambda: crew.states[0].sentence)
                seen.append(crew.states[0].sentence)
                await asyncio.sleep(3.0)

            found = await capture(crew, script)
            return found, await rig.sensor(PELVIS).facts()

    seen: list[str] = []
    found, facts = asyncio.run(run())
    assert seen == ["EMU-1001: no data for 0 s; bring the sensor and the computer closer together."]
    assert found.rows(PELVIS, StatusKind.DROP)[0].startswith("no data for 0.")
    assert found.states[PELVIS].packets == facts.packets_made
    assert found.states[PELVIS].reconnects >= 1


def test_notifications_that_a_system_repeats_are_dropped():
    """As one system does after a read: every notification comes twice."""

    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:

            def client(*args, **kwargs):
                made = rig.client_factory(*args, **kwargs)
                notify = made.start_notify

                async def start_notify(uuid, callback):
                    def twice(sender, data):
                        callback(sender, data)
                        callback(sender, data)

                    await notify(uuid, twice)

                made.start_notify = start_notify
                return made

            radio = Radio(rig.scanner_factory, client)
            found = await capture(crew_of(rig, radio), lambda: asyncio.sleep(1.0))
            return found, await rig.sensor(PELVIS).facts()

    found, facts = asyncio.run(run())
    state = found.states[PELVIS]
    assert state.packets == state.doubled == facts.packets_made == len(found.packets(PELVIS))


def test_every_attempt_has_a_client_of_its_own_and_each_is_let_go():
    async def run():
        clients = []
        async with emulated_sensors(placements=[PELVIS]) as rig:

            def client(*args, **kwargs):
                clients.append(rig.client_factory(*args, **kwargs))
                return clients[-1]

            rig.sensor(PELVIS).refuse(2)
            radio = Radio(rig.scanner_factory, client)

            async def script():
                rig.sensor(PELVIS).drop_link(0.3)
                await asyncio.sleep(1.5)

            found = await capture(crew_of(rig, radio), script)
            return found, clients

    found, clients = asyncio.run(run())
    assert len(clients) == 4
    assert not any(client.is_connected for client in clients)
    assert found.states[PELVIS].reconnects == 1


def test_a_fault_inside_a_systems_radio_does_not_end_the_capture():
    """Scanner and clients that fail an assertion of their own now and then."""

    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            faults = {"scan": 1, "stop": 1, "connect": 1, "read": 2}

            def breaking(made, method, name):
                works = getattr(made, method)

                async def maybe(*args, **kwargs):
                    if faults[name]:
                        faults[name] -= 1
                        raise AssertionError
                    return await works(*args, **kwargs)

                setattr(made, method, maybe)
                return made

            def scanner(*args, **kwargs):
                made = rig.scanner_factory(*args, **kwargs)
                return breaking(breaking(made, "start", "scan"), "stop", "stop")

            def client(*args, **kwargs):
                made = rig.client_factory(*args, **kwargs)
                return breaking(breaking(made, "connect", "connect"), "read_gatt_char", "read")

            crew = crew_of(rig, Radio(scanner, client))
            found = await capture(crew, lambda: asyncio.sleep(0.5))
            return found, await rig.sensor(PELVIS).facts(), faults

    found, facts, faults = asyncio.run(run())
    assert not any(faults.values())
    assert found.states[PELVIS].packets == facts.packets_made > 5


@pytest.mark.parametrize("how", ["cancelled", "fault"])
def test_sensors_are_stopped_and_let_go_on_every_way_out(how):
    async def run():
        async with emulated_sensors(placements=[LEFT, PELVIS]) as rig:
            crew = crew_of(rig)

            async def session():
                async with crew:
                    async for event in crew:
                        if how == "fault" and isinstance(event, CapturedPacket):
                            raise RuntimeError("the page fell over")

            task = asyncio.create_task(session())
            await all_linked(crew) if how == "cancelled" else await asyncio.sleep(2.5)
            task.cancel()
            with pytest.raises(asyncio.CancelledError if how == "cancelled" else RuntimeError):
                await task
            await asyncio.sleep(0.1)  # until the good-bye is on the air
            return [await sensor.facts() for sensor in rig.sensors.values()]

    for facts in asyncio.run(run()):
        assert not facts.measuring
        assert not facts.connected


def test_bluetooth_switched_off_in_mid_session_and_on_again():
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            crew = crew_of(rig)
            told = []

            async def script():
                rig.break_adapter(Reason.POWERED_OFF)
                rig.sensor(PELVIS).drop_link(0.1)
                await sleep_until(lambda: "off" in (crew.states[0].sentence or ""))
                told.append(crew.states[0].sentence)
                rig.break_adapter(None)
                await all_linked(crew)
                await asyncio.sleep(1.5)

            found = await capture(crew, script)
            return found, await rig.sensor(PELVIS).facts(), told

    found, facts, told = asyncio.run(run())
    assert told == [
        "Bluetooth is switched off; switch it on in the system's settings and start again."
    ]
    assert found.states[PELVIS].packets == facts.packets_made
    assert found.states[PELVIS].sentence is None


def test_a_low_battery_and_a_sensor_out_of_reach_are_told():
    async def run():
        async with emulated_sensors(placements=[LEFT, PELVIS]) as rig:
            crew = crew_of(rig, timings=replace(QUICK, dead_s=0.5))
            seen = {}

            async def script():
                rig.sensor(PELVIS).set_battery(9)
                rig.sensor(LEFT).drop_link(60.0)
                await sleep_until(lambda: all(state.sentence for state in crew.states))
                seen.update({state.placement: state for state in crew.states})

            return await capture(crew, script), seen

    found, seen = asyncio.run(run())
    assert seen[PELVIS].sentence == "EMU-1002: the battery is at 9 %; charge it soon."
    assert seen[LEFT].sentence == (
        "EMU-1001: no sensor was heard; switch it on, bring it close and end its connection to "
        "other phones and computers."
    )
    assert not seen[LEFT].linked
    assert found.rows(PELVIS, StatusKind.BATTERY) == ["90", "9"]


def test_clock_readings_come_at_random_moments_and_more_of_them_at_first():
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            timings = replace(QUICK, first_pings=10, first_ping_s=0.05, ping_s=0.4)
            found = await capture(crew_of(rig, timings=timings), lambda: asyncio.sleep(3.0))
            return found.readings(PELVIS), rig.profile

    readings, _ = asyncio.run(run())
    waits_s = [b.sent_s - a.received_s for a, b in pairwise(readings)]
    assert sum(wait_s < 0.09 for wait_s in waits_s) >= 7
    assert len({round(wait_s, 3) for wait_s in waits_s}) > len(waits_s) // 2
    assert all(r.sent_s < r.received_s for r in readings)


def test_a_crew_is_checked(tmp_path):
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            (sensor,) = [link.sensor for link in crew_of(rig)._links.values()]
            with pytest.raises(ValueError, match="pelvis twice"):
                crew_of(rig).__class__([sensor, sensor], radio=radio_of(rig))
            with pytest.raises(ValueError, match="has no placement"):
                crew_of(rig).__class__([replace(sensor, placement=None)], radio=radio_of(rig))
            with pytest.raises(ValueError, match="offers"):
                crew_of(rig, rate_hz=123.0)

    asyncio.run(run())
