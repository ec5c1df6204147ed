"""Sensors are found, named and placed; each thing that stands in the way is one sentence."""

from __future__ import annotations

import asyncio
import contextlib
import re
from dataclasses import replace

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakDBusError,
    BleakError,
)
from bleak.exc import (
    BleakBluetoothNotAvailableReason as Reason,
)

from capture.captured import QUICK, capture, crew_of, radio_of
from imujump.capture.crew import Crew
from imujump.capture.emulated.rig import emulated_sensors
from imujump.capture.finding import (
    FoundSensor,
    Radio,
    chosen_sensors,
    find_kind,
    find_sensors,
)
from imujump.capture.link_profile import parse_link_profile
from imujump.capture.profile_book import own_profile
from imujump.capture.radio_errors import connect_error, radio_error
from imujump.errors import (
    BluetoothDeniedError,
    BluetoothError,
    BluetoothOffError,
    NoAdapterError,
    SensorBusyError,
    SensorLostError,
    SensorNotFoundError,
    UnknownSensorError,
    WrongPlacementError,
)
from imujump.model import Placement

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS


def is_one_sentence(text):
    return text.endswith(".") and "\n" not in text and "; " in text


def test_sensors_are_found_with_all_that_is_known_of_them():
    async def run():
        async with emulated_sensors(battery_percent=71) as rig:
            rig.sensor(LEFT).set_rssi(-80)
            found = await find_sensors(
                [own_profile()], {"EMU-1003": PELVIS}, radio_of(rig), 3.0, enough=3
            )
            await asyncio.sleep(0.1)  # until the good-bye is on the air
            facts = [await sensor.facts() for sensor in rig.sensors.values()]
            return found, facts

    found, facts = asyncio.run(run())
    assert sorted(sensor.serial for sensor in found) == ["EMU-1001", "EMU-1002", "EMU-1003"]
    assert {sensor.battery_percent for sensor in found} == {71}
    assert found[-1].serial == "EMU-1001"
    assert found[-1].rssi_dbm == pytest.approx(-80, abs=5)
    assert [s.serial for s in found if s.placement is PELVIS] == ["EMU-1003"]
    assert not any(fact.connected for fact in facts)


@pytest.mark.parametrize(
    ("reason", "kind", "says"),
    [
        (Reason.NO_BLUETOOTH, NoAdapterError, "no Bluetooth adapter"),
        (Reason.NO_BLE_CENTRAL_ROLE, NoAdapterError, "plug in a Bluetooth LE adapter"),
        (Reason.POWERED_OFF, BluetoothOffError, "switched off; switch it on"),
        (Reason.DENIED_BY_USER, BluetoothDeniedError, "allow it in the privacy settings"),
        (Reason.DENIED_BY_SYSTEM, BluetoothDeniedError, "does not let this program"),
        (Reason.UNKNOWN, BluetoothError, "is not available"),
    ],
)
def test_a_radio_that_cannot_be_used_is_one_sentence_each(reason, kind, says):
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            rig.break_adapter(reason)
            await find_sensors([own_profile()], {}, radio_of(rig), 1.0)

    with pytest.raises(kind, match=says) as told:
        asyncio.run(run())
    assert is_one_sentence(str(told.value))


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", []), BluetoothDeniedError),
        (BleakDBusError("org.bluez.Error.NotReady", []), BluetoothOffError),
        (BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", []), NoAdapterError),
        (FileNotFoundError(2, "No such file", "/run/dbus/system_bus_socket"), NoAdapterError),
        (PermissionError(13, "denied"), BluetoothDeniedError),
        (BleakBluetoothNotAvailableError("off", Reason.POWERED_OFF), BluetoothOffError),
    ],
)
def test_what_systems_raise_is_understood(error, kind):
    told = radio_error(error)
    assert type(told) is kind
    assert is_one_sentence(str(told))
    assert type(connect_error("S1", error)) is kind


@pytest.mark.parametrize(
    ("error", "kind", "says"),
    [
        (BleakError("[org.bluez.Error.InProgress] br-connection-busy"), SensorBusyError, "let us"),
        (TimeoutError(), SensorLostError, "does not answer; bring it closer"),
        (SensorLostError("S1", "has gone", "wait"), SensorLostError, "has gone; wait"),
    ],
)
def test_what_a_sensor_may_do_is_one_sentence_each(error, kind, says):
    told = connect_error("S1", error)
    assert type(told) is kind
    assert says in str(told)
    assert is_one_sentence(str(told))


def test_without_bluetooth_on_this_machine_the_system_is_asked_and_a_sentence_comes():
    """bleak's own scanner, whatever this machine has: sensors, or one of our sentences."""

    async def run():
        return await find_sensors([own_profile()], {}, Radio(), 0.1)

    with contextlib.suppress(BluetoothError):
        assert isinstance(asyncio.run(run()), tuple)


def test_a_busy_sensor_is_told_in_the_search_and_by_the_crew():
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            rig.sensor(PELVIS).refuse(1000)
            found = await find_sensors([own_profile()], {}, radio_of(rig), 1.0, enough=1)
            crew = crew_of(rig)
            async with crew, asyncio.timeout(10.0):
                while crew.states[0].sentence is None:  # noqa: ASYNC110
                    await asyncio.sleep(0.05)
                return found, crew.states[0]

    found, state = asyncio.run(run())
    assert found[0].serial == found[0].address
    for told in (found[0].problem, state.sentence):
        assert "the sensor is there but does not let us in" in told
        assert "end its connection to other phones and computers" in told
        assert is_one_sentence(told)


def test_a_sensor_that_another_host_holds_is_not_heard():
    async def run():
        async with emulated_sensors(placements=[LEFT, PELVIS]) as rig:
            rig.sensor(LEFT).hide()
            found = await find_sensors([own_profile()], {"EMU-1002": PELVIS}, radio_of(rig), 1.0)
            return chosen_sensors(found, {"EMU-1001": LEFT, "EMU-1002": PELVIS})

    with pytest.raises(SensorNotFoundError) as told:
        asyncio.run(run())
    assert str(told.value) == (
        "EMU-1001: no sensor was heard; switch it on, bring it close and end its connection to "
        "other phones and computers."
    )


def test_a_device_of_unknown_kind_is_told():
    async def run(name):
        async with emulated_sensors(placements=[PELVIS]) as rig:
            # The profile of another kind of sensor: another service, another name.
            text = own_profile().packet.text.replace("51960001", "51960101")
            other = parse_link_profile(text.replace('name_prefix = "imujump"', ""))
            assert await find_sensors([other], {}, radio_of(rig), 0.4) == ()
            assert await find_kind(name, [other, own_profile()], radio_of(rig)) == own_profile()
            await find_kind(name, [other], radio_of(rig), 0.4)

    with pytest.raises(UnknownSensorError) as told:
        asyncio.run(run("EMU-1001"))
    assert str(told.value) == (
        "EMU-1001: no sensor profile describes this kind of sensor; give the TOML file that does."
    )


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("51960002", "51960102", "no characteristic 51960102-.*, which its profile names"),
        ("version = 1  ", "version = 3  ", "speaks version 1 of its profile, not 3"),
    ],
)
def test_a_sensor_that_does_not_fit_its_profile_is_told(old, new, says):
    async def run():
        async with emulated_sensors(placements=[PELVIS]) as rig:
            wrong = parse_link_profile(own_profile().packet.text.replace(old, new))
            sensor = FoundSensor("EMU-1001", "EMU-1001", "F0:0D:00:00:00:01", wrong, PELVIS)
            crew = Crew([sensor], radio=radio_of(rig), timings=QUICK)
            async with crew, asyncio.timeout(10.0):
                while crew.states[0].sentence is None:  # noqa: ASYNC110
                    await asyncio.sleep(0.05)
                return crew.states[0].sentence, await rig.sensor(PELVIS).facts()

    told, facts = asyncio.run(run())
    assert told.startswith("EMU-1001: the sensor")
    assert re.search(says, told)
    assert is_one_sentence(told)
    assert not facts.measuring


def test_a_sensor_is_known_by_its_serial_number_not_by_its_address():
    """Addresses have been exchanged, as systems that hide them may do between two sessions."""

    async def run():
        async with emulated_sensors(placements=[LEFT, PELVIS]) as rig:
            left, pelvis = (link.sensor for link in crew_of(rig)._links.values())
            swapped = [
                replace(left, address=pelvis.address),
                replace(pelvis, address=left.address),
            ]
            crew = Crew(swapped, radio=radio_of(rig), timings=QUICK)
            told = set()

            async def watch():
                while True:
                    told.update(state.sentence for state in crew.states)
                    await asyncio.sleep(0.02)

            watching = asyncio.create_task(watch())
            found = await capture(crew, lambda: asyncio.sleep(0.5))
            watching.cancel()
            return found, told, {p: await s.facts() for p, s in rig.sensors.items()}

    found, told, facts = asyncio.run(run())
    assert any("another sensor, EMU-100" in (sentence or "") for sentence in told)
    for place, state in found.states.items():
        assert state.serial == facts[place].serial
        assert state.packets == facts[place].packets_made > 5


def test_an_adapter_can_be_named():
    assert Radio.on(None) == Radio()
    assert Radio.on("hci1").scanner.keywords == {"bluez": {"adapter": "hci1"}}


def sensor(serial, place, name="strap"):
    return FoundSensor(serial, name, f"address of {serial}", own_profile(), place)


def test_who_is_worn_where_is_settled_or_asked():
    found = [sensor("A", LEFT), sensor("B", None), sensor("C", LEFT)]
    with pytest.raises(WrongPlacementError, match=r"B: it is not known where .* worn; say so once"):
        chosen_sensors(found)
    with pytest.raises(WrongPlacementError) as told:
        chosen_sensors([found[0], found[2]])
    assert str(told.value) == (
        "A and C: both are entered as worn at the left shank; say which one is, or switch off "
        "the other."
    )
    taken = chosen_sensors(found, {"C": RIGHT, "B": PELVIS})
    assert [(s.serial, s.placement) for s in taken] == [("C", RIGHT), ("B", PELVIS)]
    with pytest.raises(SensorNotFoundError, match="sensors: no sensor was heard"):
        chosen_sensors([])
