"""Emulated sensors through bleak's own interface: bytes equal the source, faults show."""

import asyncio
import time
from pathlib import Path

import numpy as np
import pytest
from bleak import BleakScanner
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakError,
    BleakGATTProtocolError,
)

from imujump.capture.emulated.rig import emulated_sensors
from imujump.capture.link_profile import read_link_profile
from imujump.model import Placement
from tests.capture.talking import (
    Talk,
    decoded,
    drawn_recording,
    found,
    one_sensor,
    sample_numbers,
    sequences,
    talks,
    until,
)

FOREIGN = Path(__file__).parent / "foreign" / "strap_logger.toml"


@pytest.fixture(scope="module")
def short():
    """A recording that is quickly served; after its end the last sample is held."""
    return drawn_recording(0.5)[0]


def test_sensors_are_found_with_name_service_battery_and_signal(short):
    async def run():
        async with emulated_sensors(short, battery_percent=64) as rig:
            rig.sensor("pelvis").set_rssi(-80)
            async with rig.scanner_factory(service_uuids=[rig.profile.service_uuid]) as scanner:
                await asyncio.sleep(0.4)
                heard = scanner.discovered_devices_and_advertisement_data
            assert sorted(data.local_name for _, data in heard.values()) == [
                "EMU-1001",
                "EMU-1002",
                "EMU-1003",
            ]
            signal = {data.local_name: data.rssi for _, data in heard.values()}
            assert abs(signal["EMU-1001"] + 55) <= 3
            assert abs(signal["EMU-1003"] + 80) <= 3
            async with rig.scanner_factory(service_uuids=["180d"]) as scanner:
                await asyncio.sleep(0.2)
                assert scanner.discovered_devices == []
            device = await BleakScanner.find_device_by_name(
                "EMU-1002", 2.0, backend=rig.scanner_backend
            )
            async with rig.client_factory(device) as client:
                assert client.mtu_size == 247
                serial = await client.read_gatt_char("2a25")
                assert bytes(serial) == (await rig.sensor("right_shank").facts()).serial.encode()
                assert bytes(await client.read_gatt_char("2a19")) == bytes([64])
                stream = client.services.get_characteristic(rig.profile.stream_uuid)
                assert stream.properties == ["notify"]
                assert stream.service_uuid == rig.profile.service_uuid
            assert not client.is_connected

    asyncio.run(run())


def test_bytes_served_equal_the_source():
    source, raw = drawn_recording(1.5, gap_at=100)

    async def run():
        async with emulated_sensors(source, interval_s=0.0) as rig, talks(rig) as open_talks:
            truth = [(await s.facts()).clock for s in rig.sensors.values()]
            await asyncio.sleep(2.3)
            return truth, [talk.live for talk in open_talks]

    truth, received = asyncio.run(run())
    starts = []
    for steps, clock, packets in zip(raw.values(), truth, received, strict=True):
        rows = np.concatenate(
            [np.frombuffer(data[8:], "<i2").reshape(-1, 6) for _, data in packets]
        )
        ticks = np.concatenate(
            [int.from_bytes(data[2:6], "little") + np.arange(data[6]) * 5000 for _, data in packets]
        )
        assert [len(data) for _, data in packets] == [8 + 12 * data[6] for _, data in packets]
        # Before the last sensor was started its first sample was held, so it is the first row
        # that is followed by the second.
        begin = next(i for i in range(len(rows)) if np.array_equal(rows[i + 1], steps[1]))
        assert np.array_equal(rows[begin : begin + len(steps)], steps)
        held = rows[begin + len(steps) :]
        assert len(held) > 20
        assert np.all(held == steps[-1])
        mine = ticks[begin : begin + len(steps)]
        assert np.abs(np.diff(mine) - 5000)[np.arange(len(steps) - 1) != 99].max() <= 1
        assert abs(mine[100] - mine[99] - 45_000) <= 1
        starts.append(clock.time_s(int(mine[0])))
    # The recording's sensors share one clock, and so do the emulated ones.
    assert max(starts) - min(starts) < 3e-6


def test_no_sample_is_lost_or_doubled_at_400_hz():
    async def run():
        async with (
            emulated_sensors(
                rate_hz=400.0, number_samples=True, keep_packets=True, interval_s=0.0
            ) as rig,
            talks(rig) as open_talks,
        ):
            await asyncio.sleep(1.3)
            kept = [sensor.made for sensor in rig.sensors.values()]
            return kept, [talk.live for talk in open_talks]

    for made, packets in zip(*asyncio.run(run()), strict=True):
        numbers = sample_numbers(packets)
        assert len(numbers) > 450
        assert numbers == list(range(len(numbers)))
        assert [data for _, data in packets] == made[: len(packets)]


def test_a_lost_link_is_noticed_and_what_was_missed_can_be_replayed():
    async def run():
        async with (
            emulated_sensors(number_samples=True, interval_s=0.0) as rig,
            talks(rig) as open_talks,
        ):
            await asyncio.sleep(0.3)
            talk, *others = open_talks
            boot_id = (await talk.status())["boot_id"]
            before = len(talk.live)
            rig.sensor("left_shank").drop_link(0.6)
            await until(lambda: talk.drops == 1, 0.2)
            assert not talk.client.is_connected
            with pytest.raises(BleakError):
                await talk.client.read_gatt_char("2a19")
            assert await found(rig, 0.3) == []
            await asyncio.sleep(0.4)
            (talk.device,) = await found(rig)
            await talk.connect()
            assert (await talk.status())["boot_id"] == boot_id
            await talk.subscribe()
            await until(lambda: len(talk.live) > before)
            missing = range(sequences(talk.live)[before - 1] + 1, sequences(talk.live)[before])
            assert len(missing) > 12
            await talk.replay(boot_id, missing[0], len(missing))
            await until(lambda: len(talk.replayed) == len(missing))
            assert sequences(talk.replayed) == list(missing)
            assert {frozenset(talk.profile.packet_flags(d)) for _, d in talk.replayed} == {
                frozenset({"replayed"})
            }
            numbers = sample_numbers(talk.live) + sample_numbers(talk.replayed)
            assert sorted(numbers) == list(range(len(numbers)))
            assert [other.drops for other in others] == [0, 0]
            for other in others:
                mine = sample_numbers(other.live)
                assert mine == list(range(len(mine)))

    asyncio.run(run())


def test_a_stall_keeps_the_link_and_a_silence_only_delays():
    async def run():
        async with one_sensor(number_samples=True, supervision_s=0.6) as (sensor, talk):
            await asyncio.sleep(0.3)
            sensor.stall(0.5)
            await asyncio.sleep(0.1)
            quiet = len(talk.live)
            await asyncio.sleep(0.3)
            assert len(talk.live) == quiet
            assert bytes(await talk.client.read_gatt_char("2a19")) == bytes([90])
            await until(lambda: len(talk.live) > quiet)
            lost = sequences(talk.live)[quiet] - sequences(talk.live)[quiet - 1] - 1
            assert 8 <= lost <= 11
            # What the radio could not deliver for a moment it delivers later.
            heard = len(talk.live)
            sensor.silence(0.4)
            await asyncio.sleep(0.35)
            assert len(talk.live) <= heard + 1
            await until(lambda: len(talk.live) > heard + 7)
            assert set(np.diff(sequences(talk.live[quiet:]))) == {1}
            assert talk.drops == 0
            begun = time.monotonic()
            sensor.silence(5.0)
            await until(lambda: talk.drops == 1)
            assert 0.5 < time.monotonic() - begun < 0.9
            assert not (await sensor.facts()).connected

    asyncio.run(run())


def test_a_reboot_starts_all_counters_again(short):
    async def run():
        async with one_sensor(short) as (sensor, talk):
            await asyncio.sleep(0.5)
            old = await talk.status()
            assert old["next_packet"] > 2
            sensor.reboot()
            await until(lambda: talk.drops == 1)
            await until(lambda: not sensor.off_air)
            (talk.device,) = await found(talk.rig)
            await talk.connect()
            new = await talk.status()
            assert new["boot_id"] != old["boot_id"]
            assert (new["next_packet"], new["oldest_packet"]) == (0, 0)
            assert talk.profile.status_marks(new) == set()
            assert (await talk.clock())["boot_id"] == new["boot_id"]
            with pytest.raises(BleakGATTProtocolError) as refused:
                await talk.replay(old["boot_id"], 0, 5)
            assert refused.value.code == 0x81
            talk.live.clear()
            await talk.start()
            await until(lambda: len(talk.live) > 2)
            assert sequences(talk.live)[:3] == [0, 1, 2]

    asyncio.run(run())


def test_low_battery_is_notified(short):
    async def run():
        async with one_sensor(short, start=False) as (sensor, talk):
            told = []
            await talk.client.start_notify("2a19", lambda _, data: told.append(bytes(data)))
            sensor.set_battery(9)
            await until(lambda: told == [bytes([9])])
            assert bytes(await talk.client.read_gatt_char("2a19")) == bytes([9])

    asyncio.run(run())


def test_clocks_run_fast_and_slow_as_told():
    skews = {Placement.LEFT_SHANK: 20_000.0, Placement.PELVIS: -20_000.0}

    async def run():
        async with (
            emulated_sensors(skew_ppm=skews, jitter_s=0.002) as rig,
            talks(rig) as open_talks,
        ):
            clocks = [(await s.facts()).clock for s in rig.sensors.values()]
            pings = [[] for _ in open_talks]
            for _ in range(12):
                for talk, mine in zip(open_talks, pings, strict=True):
                    sent = time.monotonic()
                    tick = (await talk.clock())["tick"]
                    mine.append((sent, tick, time.monotonic()))
                await asyncio.sleep(0.05)
            return clocks, pings, [talk.live for talk in open_talks]

    clocks, pings, received = asyncio.run(run())
    for skew, clock, mine, packets in zip(
        (20_000.0, 0.0, -20_000.0), clocks, pings, received, strict=True
    ):
        # A reading lies between question and answer, by the clock that is the truth.
        assert all(sent <= clock.time_s(tick) <= got for sent, tick, got in mine)
        elapsed = mine[-1][0] - mine[0][0]
        rate = (mine[-1][1] - mine[0][1]) * 1e-6 / elapsed
        slack = sum(max(got - sent for sent, _, got in mine) for _ in range(2)) / elapsed
        assert abs(rate - (1.0 + 1e-6 * skew)) < slack
        ticks = [int.from_bytes(data[2:6], "little") for _, data in packets]
        # Ten samples by the sensor's own clock, however fast that runs.
        assert np.abs(np.diff(ticks) - 50_000).max() <= 1
        sampled = [clock.time_s(tick + 45_000) for tick in ticks]
        delays = np.array([t for t, _ in packets]) - sampled
        assert delays.min() > 0.0
        spacing = np.diff(sampled).mean()
        assert spacing == pytest.approx(0.05 / (1.0 + 1e-6 * skew), rel=1e-5)


def test_a_full_buffer_overflows_and_says_so():
    async def run():
        async with one_sensor(buffer_s=0.5) as (sensor, talk):
            await asyncio.sleep(0.2)
            sensor.stall(0.9)
            await asyncio.sleep(1.0)
            status = await talk.status()
            assert talk.profile.status_marks(status) == {"measuring", "overflow"}
            assert (await sensor.facts()).overflow
            assert status["next_packet"] - status["oldest_packet"] == 10
            await until(lambda: len(talk.live) and sequences(talk.live)[-1] > 20)
            flags = [talk.profile.packet_flags(data) for _, data in talk.live]
            assert [f for f in flags if f] == [{"overflow"}]
            gap = int(np.argmax(np.diff(sequences(talk.live))))
            assert flags[gap + 1] == {"overflow"}
            first, last = sequences(talk.live)[gap], sequences(talk.live)[gap + 1]
            await talk.replay(status["boot_id"], first + 1, last - first - 1)
            await until(lambda: len(talk.replayed) > 3)
            await asyncio.sleep(0.1)
            got = sequences(talk.replayed)
            assert got == list(range(got[0], last))
            assert status["oldest_packet"] <= got[0]
            marks = [
                talk.profile.status_marks(talk.profile.status.decode(data))
                for _, data in talk.statuses
            ]
            assert {"measuring", "overflow"} in marks

    asyncio.run(run())


@pytest.mark.parametrize("interval_s", [0.0075, 0.03])
def test_packets_come_at_connection_events(short, interval_s):
    async def run():
        async with one_sensor(short) as (sensor, talk):
            sensor.set_interval(interval_s)
            talk.live.clear()
            await asyncio.sleep(1.2)
            return np.array([arrival for arrival, _ in talk.live])

    arrivals = asyncio.run(run())
    # Angle of each arrival on a circle of one interval: they point the same way, were it not
    # for the event loop's own delay of a millisecond or two.
    angle = np.exp(2j * np.pi * arrivals / interval_s)
    assert abs(np.median(angle.real) + 1j * np.median(angle.imag)) > 0.5
    assert len(arrivals) >= 15


def test_lost_connection_events_delay_but_lose_nothing(short):
    async def run():
        async with one_sensor(
            short, event_loss_ratio=0.5, number_samples=True, interval_s=0.0075
        ) as (_, talk):
            await asyncio.sleep(0.8)
            return sample_numbers(talk.live)

    numbers = asyncio.run(run())
    assert len(numbers) > 100
    assert numbers == list(range(len(numbers)))


def test_connections_are_refused_or_not_answered(short):
    async def run():
        async with emulated_sensors(short, placements=[Placement.PELVIS]) as rig:
            sensor = rig.sensor("pelvis")
            (device,) = await found(rig)
            sensor.refuse(2)
            for _ in range(2):
                with pytest.raises(BleakError):
                    await Talk(rig, device).connect()
            talk = await Talk(rig, device).connect()
            with pytest.raises(BleakError, match="already connected"):
                await Talk(rig, device).connect()
            await talk.client.disconnect()
            assert talk.drops == 1
            sensor.hide()
            assert await found(rig) == []
            with pytest.raises(TimeoutError):
                await Talk(rig, device).connect(timeout=0.3)
            sensor.hide(False)
            # A connect that timed out leaves nothing behind.
            await (await Talk(rig, device).connect()).client.disconnect()
            sensor.silence(0.5)
            waiting = asyncio.create_task(Talk(rig, device).connect())
            await asyncio.sleep(0.1)
            waiting.cancel()
            with pytest.raises(asyncio.CancelledError):
                await waiting
            await asyncio.sleep(0.6)
            assert not (await sensor.facts()).connected
            await (await Talk(rig, device).connect()).client.disconnect()

    asyncio.run(run())


def test_the_computer_connects_one_after_another(short):
    async def run():
        async with emulated_sensors(short, interval_s=0.0) as rig:
            first, second, _ = await found(rig)
            both = await asyncio.gather(
                Talk(rig, first).connect(), Talk(rig, second).connect(), return_exceptions=True
            )
            assert isinstance(both[0], Talk)
            assert isinstance(both[1], BleakError)
            assert "InProgress" in str(both[1])
            await both[0].client.disconnect()

    asyncio.run(run())


@pytest.mark.parametrize(
    "reason",
    [
        BleakBluetoothNotAvailableReason.NO_BLUETOOTH,
        BleakBluetoothNotAvailableReason.POWERED_OFF,
        BleakBluetoothNotAvailableReason.DENIED_BY_USER,
    ],
)
def test_bluetooth_can_be_absent(short, reason):
    async def run():
        async with emulated_sensors(short, placements=[Placement.PELVIS]) as rig:
            (device,) = await found(rig)
            rig.break_adapter(reason)
            for attempt in (found(rig), Talk(rig, device).connect()):
                with pytest.raises(BleakBluetoothNotAvailableError) as caught:
                    await attempt
                assert caught.value.reason is reason
            rig.break_adapter(None)
            assert len(await found(rig)) == 1

    asyncio.run(run())


def test_what_makes_no_sense_is_answered_with_an_error(short):
    async def run():
        async with one_sensor(short, start=False) as (_, talk):
            (start,) = talk.profile.start
            for what, code in (
                (talk.client.read_gatt_char(talk.profile.stream_uuid), 0x02),
                (talk.write(b"\x77"), 0x80),
                (talk.write(b""), 0x80),
                (talk.write(start.encode({"rate_hz": 123})), 0x82),
            ):
                with pytest.raises(BleakGATTProtocolError) as caught:
                    await what
                assert caught.value.code == code
            await talk.start(200)
            await until(lambda: len(talk.live) > 2)
            await talk.stop()
            await asyncio.sleep(0.1)
            stopped = len(talk.live)
            await asyncio.sleep(0.2)
            assert len(talk.live) == stopped
            await talk.client.stop_notify(talk.profile.stream_uuid)

    asyncio.run(run())


def test_a_disconnect_ends_a_read_that_waits(short):
    async def run():
        async with one_sensor(short, interval_s=0.03, start=False) as (sensor, talk):
            reading = asyncio.create_task(talk.clock())
            await asyncio.sleep(0.005)
            sensor.drop_link()
            with pytest.raises(BleakError, match="disconnected"):
                await reading

    asyncio.run(run())


def test_a_sensor_of_another_layout_needs_no_code():
    profile = read_link_profile(FOREIGN)
    source, _ = drawn_recording(1.0, rate_hz=104.0)
    truth = {p: [] for p in Placement}
    for batch in source.batches():
        truth[batch.placement].append(np.hstack([batch.accel_mps2, batch.gyro_radps]))

    async def run():
        async with (
            emulated_sensors(source, profile=profile, interval_s=0.0) as rig,
            talks(rig) as open_talks,
        ):
            assert [c.device.name for c in open_talks] == ["EMU-1001", "EMU-1002", "EMU-1003"]
            serial = await open_talks[0].client.read_gatt_char(profile.serial_uuid)
            assert bytes(serial) == b"EMU-1001"
            await asyncio.sleep(1.6)
            return [talk.live for talk in open_talks]

    step = np.array(3 * [0.01] + 3 * [np.radians(0.07)])
    for place, packets in zip(Placement, asyncio.run(run()), strict=True):
        expected = np.concatenate(truth[place])
        ticks, values = decoded(profile, packets)
        # Every tick stands in its packet: 32768 a second, 104 samples a second.
        assert np.abs(np.diff(ticks)[3:-3] - 32768 / 104).max() <= 33
        # Values beyond the foreign sensor's 16 bits stay at their ends.
        expected = np.clip(expected, -32768 * step, 32767 * step)
        second = np.abs(values[:, None] - expected[None, 1:2]).max(axis=2)[:, 0]
        begin = int(np.argmin(second)) - 1
        got = values[begin : begin + len(expected)]
        assert np.all(np.abs(got - expected) <= 1.001 * step)
        assert [data[2] for _, data in packets] == list(range(len(packets)))


@pytest.mark.parametrize(("mtu", "samples"), [(23, 1), (185, 14), (247, 19)])
def test_packets_are_sized_to_the_mtu(mtu, samples):
    async def run():
        async with emulated_sensors(
            placements=[Placement.PELVIS],
            interval_s=0.0,
            samples_per_packet=99,
            number_samples=True,
        ) as rig:
            rig.limit_mtu(mtu)
            async with talks(rig) as (talk,):
                assert talk.client.mtu_size == mtu
                await asyncio.sleep(0.5)
                return talk.live

    packets = asyncio.run(run())
    # The first packet may have been begun before anyone listened.
    assert {data[6] for _, data in packets[1:]} == {samples}
    assert {len(data) for _, data in packets[1:]} == {8 + 12 * samples}
    numbers = sample_numbers(packets)
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
