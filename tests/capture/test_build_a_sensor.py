"""README's "Build a sensor" and the profile say the same, byte for byte."""

import re
from pathlib import Path

import numpy as np
import pytest

from imujump.capture.emulated.memory import HeldPacket
from imujump.capture.emulated.packet_maker import PacketMaker
from imujump.capture.emulated.sensor import (
    UNKNOWN_COMMAND_ERROR,
    UNKNOWN_RATE_ERROR,
    WRONG_BOOT_ERROR,
)
from imujump.capture.emulated.settings import PACKET_S
from imujump.capture.field_layout import INTEGER_BYTES
from imujump.capture.link_profile import BATTERY_UUID, SERIAL_UUID
from imujump.capture.profile_book import OWN_PROFILE, own_profile
from imujump.recording.packets import decode_packets
from imujump.recording.profiles import TYPES

REPOSITORY = Path(__file__).parents[2]
PROFILE = own_profile()
NUMPY_TYPES = {code: name for name, code in TYPES.items()}


@pytest.fixture(scope="module")
def section():
    text = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    return text[text.index("## Build a sensor") :].split("\n## ", 1)[0]


def table(section, heading):
    """Rows of the table that follows a heading, without its head."""
    after = section[section.index(heading) :]
    rows = [line for line in re.split(r"\n\n(?!\|)", after, maxsplit=1)[0].splitlines()]
    rows = [line for line in rows if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in rows[2:]]


def bits(meaning):
    return {name: int(bit) for bit, name in re.findall(r"bit (\d) (\w+)", meaning)}


def test_uuids_and_access_are_those_of_the_profile(section):
    base = re.search(r"`5196xxxx(-[0-9a-f-]+)`", section)[1]
    rows = {row[0]: row for row in table(section, "| Characteristic |")}
    for name, uuid in {
        "Service": PROFILE.service_uuid,
        "Stream": PROFILE.stream_uuid,
        "Control": PROFILE.control_uuid,
        "Status": PROFILE.status_uuid,
        "Time": PROFILE.time_uuid,
        "Replay": PROFILE.replay_uuid,
    }.items():
        assert f"5196{rows[name][1]}{base}" == uuid
    assert PROFILE.battery_uuid == BATTERY_UUID
    assert BATTERY_UUID[4:8].upper() == rows["Battery Level"][1][2:]
    assert PROFILE.serial_uuid == SERIAL_UUID
    assert SERIAL_UUID[4:8].upper() == rows["Serial Number String"][1][2:]
    assert (rows["Control"][2] == "write with response") is PROFILE.control_response
    assert rows["Status"][3] == f"{PROFILE.status.size} bytes"
    assert rows["Time"][3] == f"{PROFILE.time.size} bytes"
    assert PROFILE.advertised_uuid == PROFILE.service_uuid
    assert f"imujump/capture/profiles/{OWN_PROFILE}" in section


def test_a_packet_is_laid_out_as_told(section):
    rows = table(section, "**Stream and Replay:**")
    header, sample = PROFILE.packet.header, PROFILE.packet.sample
    told = []
    for holder, begin, step in ((header, 0, ""), (sample, header.itemsize, " + 12 k")):
        for name in holder.names:
            kind, at = holder.fields[name][:2]
            code = kind.str[1:]
            told.append([f"{begin + at}{step}", NUMPY_TYPES[code], name])
            assert kind.byteorder in "<|="
    assert [row[:3] for row in rows] == told
    assert f"{header.itemsize} bytes and {sample.itemsize} for each" in section
    flags = next(row[3] for row in rows if row[2] == "flags")
    assert bits(flags) == PROFILE.stream_flags
    # Standard gravity and the degree, by hand.
    assert PROFILE.packet.factors[:3] == (32.0 * 9.80665 / 32768,) * 3
    assert PROFILE.packet.factors[3:] == pytest.approx((np.radians(2000.0) / 32768,) * 3)
    assert PROFILE.packet.accel_range_mps2 == 32.0 * 9.80665
    assert "32 g / 32768 a step" in rows[4][3]
    assert "2000 °/s / 32768 a step" in rows[7][3]
    assert PROFILE.packet.tick_s == 1e-6


def test_the_example_is_a_packet(section):
    data = bytes.fromhex(re.search(r"`(2a00 [0-9a-f ]+)`", section)[1])
    packet = decode_packets(PROFILE.packet, np.frombuffer(data, dtype=np.uint8)[np.newaxis])
    assert packet.sequence.tolist() == [42]
    assert packet.raw_ticks.tolist() == [[1_000_000]]
    assert packet.values.tolist() == [[[0.0, 0.0, 9.80665, 0.0, 0.0, 0.0]]]
    made = PacketMaker(PROFILE).packet(
        np.array([1_000_000]), 42, np.array([[0.0, 0.0, 9.80665, 0.0, 0.0, 0.0]])
    )
    assert made == data


def test_commands_are_laid_out_as_told(section):
    rows = table(section, "**Control:**")
    for column, commands in (
        (2, PROFILE.start),
        (3, PROFILE.stop),
        (4, PROFILE.replay_request),
    ):
        (layout,) = commands
        told = [(int(row[0]), row[1], row[column]) for row in rows if row[column]]
        at, made = 0, []
        for field in layout.fields:
            made.append((at, field.type, field.name or str(field.constant)))
            at += INTEGER_BYTES[field.type][0]
        assert told == made
    rates = re.search(r"The rate is ([^;]+);", section)[1]
    assert tuple(float(rate) for rate in re.findall(r"\d+", rates)) == PROFILE.rates_hz
    errors = re.search(
        r"ATT error (0x\w+) a command.*?(0x\w+) another.*?(0x\w+) a rate", section, re.S
    )
    assert [int(code, 16) for code in errors.groups()] == [
        UNKNOWN_COMMAND_ERROR,
        WRONG_BOOT_ERROR,
        UNKNOWN_RATE_ERROR,
    ]


@pytest.mark.parametrize(("heading", "name"), [("**Status:**", "status"), ("**Time:**", "time")])
def test_status_and_time_are_laid_out_as_told(section, heading, name):
    layout = getattr(PROFILE, name)
    rows = table(section, heading)
    at, made = 0, []
    for field in layout.fields:
        made.append([str(at), field.type, field.name])
        at += INTEGER_BYTES[field.type][0]
    assert [row[:3] for row in rows] == made
    if name == "status":
        assert bits(rows[1][3]) == PROFILE.status_flags
        assert rows[0][3].startswith(str(PROFILE.version))


def test_sizes_that_the_section_names(section):
    header, sample = PROFILE.packet.header.itemsize, PROFILE.packet.sample.itemsize
    assert f"{header} + {sample} n is at most MTU − 3" in section
    # Bluetooth Core, Vol 3 Part F: the smallest MTU is 23.
    assert (23 - 3 - header) // sample == 1
    assert (247 - 3 - header) // sample == 19
    for rate_hz, told in ((200, 163), (400, 307)):
        assert f"{told} kB" in section
        samples = round(PACKET_S * rate_hz)
        packet = HeldPacket(0, bytes(header + samples * sample), samples)
        assert round(60 * rate_hz / packet.samples * len(packet.data) / 1000) == told
