"""Sensor profiles: what is read from them, and how a bad one is refused."""

import re
from pathlib import Path

import pytest

from imujump.capture.field_layout import Field, Layout
from imujump.capture.link_profile import parse_link_profile, read_link_profile
from imujump.capture.profile_book import load_profiles, own_profile, recognise
from imujump.errors import BadPacketError, RecordingError

FOREIGN = Path(__file__).parent / "foreign" / "strap_logger.toml"
OWN = own_profile().packet.text


def test_our_profile_reads_as_it_was_designed():
    profile = own_profile()
    assert profile.packet.header.itemsize + profile.packet.sample.itemsize == 20
    assert profile.packet.header.itemsize + 19 * profile.packet.sample.itemsize <= 247 - 3
    assert profile.rates_hz == (100.0, 200.0, 400.0)
    assert profile.can_replay
    assert profile.sequence_bits == 16
    assert [layout.encode({"rate_hz": 400}).hex() for layout in profile.start] == ["019001"]
    assert [layout.encode({}).hex() for layout in profile.stop] == ["02"]
    (request,) = profile.replay_request
    asked = {"boot_id": 0x01020304, "first_packet": 65536, "packets": 7}
    assert request.encode(asked).hex() == "03" + "04030201" + "00000100" + "0700"
    assert request.decode(request.encode(asked)) == asked
    assert profile.status is not None
    assert profile.status.size == 16
    assert profile.time is not None
    assert profile.time.size == 8


def test_uuids_of_our_profile_differ_in_one_place_only():
    profile = own_profile()
    own = {
        profile.service_uuid,
        profile.stream_uuid,
        profile.control_uuid,
        profile.status_uuid,
        profile.time_uuid,
        profile.replay_uuid,
    }
    assert len(own) == 6
    assert len({uuid[:4] + uuid[8:] for uuid in own}) == 1


def test_what_a_sensor_lacks_is_none():
    profile = read_link_profile(FOREIGN)
    assert profile.packet.sample.itemsize == 18
    assert (profile.status, profile.time, profile.replay_uuid) == (None, None, None)
    assert not profile.can_replay
    assert profile.rates_hz == (104.0,)
    assert profile.service_uuid == "0000fe5a-0000-1000-8000-00805f9b34fb"
    assert not profile.control_response
    assert [layout.encode({}).hex() for layout in profile.start] == ["a00068", "a1"]
    assert profile.packet_flags(b"\xff" * 20) == frozenset()


def test_a_sensor_is_recognised_by_service_or_by_name():
    profiles = load_profiles([FOREIGN])
    own = own_profile()
    assert recognise(profiles, "x", [own.service_uuid.upper()]) == own
    assert recognise(profiles, "EMU-7", []) == profiles[0]
    assert recognise(profiles, None, ["0000fe5a-0000-1000-8000-00805f9b34fb"]) == profiles[0]
    assert recognise(profiles, "other", ["0000180f-0000-1000-8000-00805f9b34fb"]) is None


def test_flags_of_packets_and_status_have_names():
    profile = own_profile()
    packet = bytes(7) + bytes([0b101]) + bytes(12)
    assert profile.packet_flags(packet) == {"replayed", "range"}
    assert profile.packet_flags(b"") == frozenset()
    assert profile.status_marks({"flags": 0b011}) == {"measuring", "overflow"}


def test_another_rate_changes_the_rate_and_nothing_else():
    profile = own_profile()
    other = profile.at_rate(400.0)
    assert (other.packet.rate_hz, other.packet.ticks_per_sample) == (400.0, 2500.0)
    changed = [
        (a, b)
        for a, b in zip(
            profile.packet.text.splitlines(), other.packet.text.splitlines(), strict=True
        )
        if a != b
    ]
    assert [re.sub(r"\d+\.\d", "", a) for a, _ in changed] == [
        re.sub(r"\d+\.\d", "", b) for _, b in changed
    ]
    assert len(changed) == 1
    with pytest.raises(ValueError, match="is 250, imujump sensor offers 100, 200, 400"):
        profile.at_rate(250.0)


# What stands in our profile, what takes its place, the key that the sentence must name, and,
# where the line is another than the one changed, what stands on it.
BROKEN: list[tuple[str, ...]] = [
    ('"tick", type = "uint32"', '"tick", type = "uint31"', "header[1].type"),
    ('name = "gyro_y"', 'name = "gyro_x"', "sample[4].name"),
    ('gyro_unit = "deg/s"', 'gyro_unit = "turns"', "range.gyro_unit"),
    ("version = 1", "version = -1", "bluetooth.version"),
    ("version = 1", "version = true", "bluetooth.version"),
    ('service = "51960001', 'service = "5196001', "bluetooth.service"),
    ('service = "51960001', 'servise = "51960001', "bluetooth.servise"),
    ("[100.0, 200.0, 400.0]", "[]", "bluetooth.rates_hz"),
    ("[100.0, 200.0, 400.0]", "[100.0, 400.0]", "bluetooth.rates_hz"),
    ("[100.0, 200.0, 400.0]", '[200.0, "fast"]', "bluetooth.rates_hz[1]"),
    ('characteristic = "51960002', 'characteristic = "x', "bluetooth.stream.characteristic"),
    ("overflow = 1, range", "overflow = 9, range", "bluetooth.stream.flags.overflow"),
    ("overflow = 1, range", "flood = 1, range", "bluetooth.stream.flags.flood"),
    ("replayed = 0, ", "replayed = 0.5, ", "bluetooth.stream.flags.replayed"),
    ("response = true", 'response = "yes"', "bluetooth.control.response"),
    ('{ type = "uint8", value = 1 }', '{ type = "uint8" }', "bluetooth.control.start[0][0]"),
    ("value = 2 }", "value = 256 }", "bluetooth.control.stop[0][0].value"),
    ('"rate_hz", type = "uint16" }]]', '"rate", type = "uint16" }]]', "start[0][1].name"),
    ('[[{ type = "uint8", value = 2 }]]', "[2]", "bluetooth.control.stop"),
    ('{ type = "uint8", value = 3 }', "7", "bluetooth.control.replay[0][0]"),
    ('name = "first_packet"', 'name = "boot_id"', "bluetooth.control.replay[0][2].name"),
    ('name = "first_packet"', 'name = "packets"', "[0][3].name", '"packets", type = "uint16"'),
    ('"oldest_packet", type = "uint32"', '"oldest_packet"', "bluetooth.status.fields[4].type"),
    ("measuring = 0, ", "moving = 0, ", "bluetooth.status.flags.moving"),
    ("replaying = 2 }", "replaying = 8 }", "bluetooth.status.flags.replaying"),
    ("[bluetooth.time]", "[bluetooth.clock]", "bluetooth.clock"),
    ("[bluetooth.replay]", "[blue.replay]", "bluetooth.replay is missing", "[bluetooth]"),
    ('byte_order = "little"', 'byte_order = "middle"', "byte_order"),
    ("tick_s = 1.0e-6", "tick_s = 1.0", "tick_s"),
    ("rate_hz = 200.0", "", "the profile's key rate_hz is missing", "# The sensor"),
    ('name = "tick"', 'name = "t"', "the profile's key tick stands nowhere", "sample = ["),
]


def refused(text: str, name: str = "mine.toml") -> str:
    with pytest.raises(RecordingError) as caught:
        parse_link_profile(text, name)
    sentence = str(caught.value)
    assert re.fullmatch(r"mine\.toml: line \d+: [^\n]+; [^\n;]+\.", sentence), sentence
    return sentence


def line_in(sentence: str) -> int:
    return int(re.search(r"line (\d+)", sentence)[1])


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: f"{case[2]} {case[1]}")
def test_a_bad_key_is_refused_with_its_line(case):
    old, new, key, *elsewhere = case
    at = OWN.index(old)
    broken = OWN[:at] + new + OWN[at + len(old) :]
    place = broken.index(elsewhere[0]) if elsewhere else at
    sentence = refused(broken)
    assert key in sentence
    assert line_in(sentence) == broken[:place].count("\n") + 1, sentence


def test_time_needs_the_tick_of_the_packets():
    at = OWN.index("[bluetooth.time]")
    head, tail = OWN[:at], OWN[at:]
    line = head.count("\n") + 1 + tail[: tail.index("fields")].count("\n")
    for old, new, problem in (
        ('name = "tick"', 'name = "clock"', "hold no tick"),
        ('"tick", type = "uint32"', '"tick", type = "uint16"', "a tick of 16 bits, the packets"),
    ):
        sentence = refused(head + tail.replace(old, new))
        assert problem in sentence
        assert line_in(sentence) == line


def test_whatever_key_of_a_line_is_spoilt_that_line_is_named():
    lines = OWN.splitlines()
    tried = 0
    for number, line in enumerate(lines):
        match = re.match(r"(\w+ = )[^\[{#]+(#.*)?$", line)
        if match is None:
            continue
        spoilt = [*lines[:number], f"{match[1]}-1.5e99", *lines[number + 1 :]]
        assert line_in(refused("\n".join(spoilt))) == number + 1, line
        tried += 1
    assert tried > 15


def test_whatever_field_has_a_wrong_type_its_line_is_named():
    lines = OWN.splitlines()
    tried = 0
    for number, line in enumerate(lines):
        if "type = " in line:
            spoilt = [*lines[:number], re.sub(r'type = "\w+"', 'type = "x"', line)]
            assert line_in(refused("\n".join([*spoilt, *lines[number + 1 :]]))) == number + 1
            tried += 1
    assert tried > 20


@pytest.mark.parametrize("line", range(1, 68, 6))
def test_text_that_is_not_toml_is_refused_with_its_line(line):
    lines = OWN.splitlines()
    lines.insert(line - 1, "?")
    sentence = refused("\n".join(lines))
    assert "is not TOML" in sentence
    assert line_in(sentence) == line


def test_a_text_that_breaks_off_is_refused_at_its_last_line():
    text = OWN[: OWN.index('{ name = "gyro_y"')]
    assert line_in(refused(text)) in (text.count("\n"), text.count("\n") + 1)


def test_a_profile_without_bluetooth_cannot_be_captured_with():
    text = OWN[: OWN.index("[bluetooth]")]
    assert "the profile's key bluetooth is missing; add the table [bluetooth]" in refused(text)


def test_replay_needs_a_packet_counter():
    text = OWN.replace(
        '{ name = "sequence", type = "uint16" },', '{ name = "n", type = "uint16" },'
    )
    assert "needs packets that are counted" in refused(text)


def test_files_that_cannot_be_read_are_refused(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        read_link_profile(tmp_path / "none.toml")
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'name = "a"\n# \xe9\n')
    with pytest.raises(RecordingError, match=r"latin\.toml: line 2: .*UTF-8"):
        read_link_profile(latin)
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(RecordingError, match="holds no profile"):
        load_profiles([empty])


def test_fields_are_laid_out_without_padding_in_either_order():
    fields = (Field("", "uint8", 7), Field("a", "int16"), Field("b", "uint32"))
    big, little = Layout(fields, "big"), Layout(fields, "little")
    assert big.encode({"a": -2, "b": 1}).hex() == "07fffe00000001"
    assert little.encode({"a": -2, "b": 1}).hex() == "07feff01000000"
    assert little.decode(bytes.fromhex("07feff01000000ff")) == {"a": -2, "b": 1}
    assert little.matches(bytes.fromhex("07feff01000000"))
    assert not little.matches(bytes.fromhex("08feff01000000"))
    assert not little.matches(b"\x07")
    with pytest.raises(BadPacketError, match="6 bytes came where the profile names fields of 7"):
        little.decode(bytes(6))
    with pytest.raises(ValueError, match="a is 40000, which does not fit int16"):
        little.encode({"a": 40000})
