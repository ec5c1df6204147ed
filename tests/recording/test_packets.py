"""Profiles and packets: against Python's struct module and hand-worked numbers."""

from __future__ import annotations

import contextlib
import math
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imujump.errors import BadPacketError, ImuJumpError, RecordingError
from imujump.recording.packets import decode_packets, encode_packets, unwrap_counter
from imujump.recording.profiles import compact_profile, lossless_profile, parse_profile

TEXT = """
name = "strap"
rate_hz = 200.0
tick_s = 1e-6
byte_order = "little"
header = [
  { name = "sequence", type = "uint16" },
  { name = "tick", type = "uint32" },
  { name = "count", type = "uint8" },
  { name = "flags", type = "uint8" },
]
sample = [
  { name = "accel_x", type = "int16", scale = 0.5, unit = "mg" },
  { name = "accel_y", type = "int16", scale = 0.5, unit = "mg" },
  { name = "accel_z", type = "int16", scale = -0.5, unit = "mg" },
  { name = "gyro_x", type = "int16", scale = 0.0625, unit = "deg/s" },
  { name = "gyro_y", type = "int16", scale = 0.0625, unit = "deg/s" },
  { name = "gyro_z", type = "int16", scale = 0.0625, unit = "deg/s" },
]
[range]
accel = 16
accel_unit = "g"
gyro = 2000
gyro_unit = "deg/s"
[bluetooth]
stream = "0000180a-0000-1000-8000-00805f9b34fb"
"""


def as_bytes(*packets):
    return np.frombuffer(b"".join(packets), dtype=np.uint8).reshape(len(packets), -1)


def test_decodes_bytes_written_by_struct():
    profile = parse_profile(TEXT)
    packets = [
        struct.pack("<HIBB12h", 7, 5_000, 2, 0, 2000, 0, -2000, 16, 0, -32, *range(6)),
        struct.pack("<HIBB12h", 8, 15_000, 2, 1, *range(-6, 6)),
    ]
    decoded = decode_packets(profile, as_bytes(*packets))
    assert decoded.sequence.tolist() == [7, 8]
    # 200 Hz is a sample every 5000 ticks of 1 µs.
    assert decoded.raw_ticks.tolist() == [[5000, 10000], [15000, 20000]]
    first = decoded.values[0, 0]
    # 2000 steps of 0.5 mg are 1 g; 16 steps of 1/16 deg/s are 1 deg/s.
    expected = [9.80665, 0.0, 9.80665, math.pi / 180, 0.0, -2 * math.pi / 180]
    assert first == pytest.approx(expected, rel=1e-15)
    assert profile.accel_range_mps2 == pytest.approx(156.9064, rel=1e-15)
    assert profile.gyro_range_radps == pytest.approx(2000 * math.pi / 180, rel=1e-15)
    # What the encoder makes of it is what struct wrote, flags aside.
    again = encode_packets(profile, decoded.raw_ticks, decoded.sequence, decoded.values)
    flags_at = 7
    assert np.array_equal(
        np.delete(again, flags_at, axis=1), np.delete(as_bytes(*packets), flags_at, axis=1)
    )


def test_big_endian_and_absent_channels():
    text = """
name = "b"
rate_hz = 100
tick_s = 0.001
byte_order = "big"
header = [{ name = "tick", type = "uint16" }]
sample = [{ name = "gyro_z", type = "float32", unit = "rad/s" }]
"""
    decoded = decode_packets(parse_profile(text), as_bytes(struct.pack(">H2f", 258, 1.5, -2.0)))
    assert decoded.raw_ticks.tolist() == [[258, 268]]
    assert decoded.sequence is None
    assert decoded.values[0, :, 5].tolist() == [1.5, -2.0]
    assert np.isnan(decoded.values[0, :, :5]).all()


def test_integer_fields_round_and_stop_at_their_ends():
    profile = compact_profile(100.0, accel_range_g=16.0)
    step = 16.0 / 32768 * 9.80665
    values = np.zeros((1, 3, 6))
    values[0, :, 0] = [1.4 * step, 1e6, -1e6]
    data = encode_packets(profile, np.array([[0, 1, 2]]), np.array([0]), values)
    decoded = decode_packets(profile, data)
    assert (decoded.values[0, :, 0] / step).round(9).tolist() == [1, 32767, -32768]
    values[0, 1, 3] = np.nan
    with pytest.raises(ValueError, match="NaN in gyro_x"):
        encode_packets(profile, np.array([[0, 1, 2]]), np.array([0]), values)
    with pytest.raises(ValueError, match="shape"):
        encode_packets(profile, np.array([[0, 1]]), np.array([0]), values)


finite = st.floats(allow_nan=True, allow_infinity=False, width=64)


@given(st.lists(st.lists(finite, min_size=6, max_size=6), min_size=1, max_size=4), st.data())
@settings(max_examples=60, deadline=None)
def test_lossless_profile_keeps_every_bit(rows, data):
    ticks = data.draw(st.lists(st.integers(-(2**62), 2**62), min_size=len(rows)))[: len(rows)]
    profile = lossless_profile(200.0, 0.005, 100.0, 30.0)
    values = np.array([rows])
    packets = encode_packets(profile, np.array([ticks]), np.array([2**32 + 5]), values)
    decoded = decode_packets(profile, packets)
    assert decoded.raw_ticks.tolist() == [ticks]
    assert decoded.values.tobytes() == values.tobytes()
    assert decoded.sequence.tolist() == [5]


@pytest.mark.parametrize("bits", [8, 16, 32])
@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_counters_unwrap_with_gaps_shorter_than_half_a_turn(bits, data):
    half = 1 << (bits - 1)
    steps = data.draw(st.lists(st.integers(-half + 1, half - 1), min_size=1, max_size=30))
    true = data.draw(st.integers(0, 2**bits - 1)) + np.concatenate(([0], np.cumsum(steps)))
    unwrapped = unwrap_counter(true % (1 << bits), bits)
    assert np.array_equal(unwrapped - unwrapped[0], true - true[0])


@given(st.lists(st.tuples(st.integers(0, 10**7), st.floats(-0.45, 0.45)), max_size=30))
@settings(max_examples=60, deadline=None)
def test_arrivals_tell_whole_turns_missed(steps):
    turn = 1 << 16
    true = np.concatenate(([5], 5 + np.cumsum([step for step, _ in steps]))).astype(np.int64)
    elapsed = np.array([0.0, *(step + error * turn for step, error in steps)])
    assert np.array_equal(unwrap_counter(true % turn, 16, elapsed=elapsed), true)
    # Continued from a remembered value, piece by piece.
    pieces, last = [], None
    for at in range(len(true)):
        piece = unwrap_counter(true[at : at + 1] % turn, 16, last, elapsed[at : at + 1])
        last = int(piece[-1])
        pieces.append(last)
    assert pieces == true.tolist()


def test_packets_of_wrong_length_or_count():
    profile = parse_profile(TEXT)
    with pytest.raises(BadPacketError, match="21 bytes does not hold"):
        decode_packets(profile, np.zeros((1, 21), dtype=np.uint8))
    wrong = struct.pack("<HIBB6h", 0, 0, 3, 0, *range(6))
    with pytest.raises(BadPacketError, match="room for 1 samples states another count"):
        decode_packets(profile, as_bytes(wrong))


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('name = "strap"', 'name = "strap', "line 2"),
        ('name = "strap"\n', "", "key name is missing"),
        ("rate_hz = 200.0\n", "", "key rate_hz is missing"),
        ("rate_hz = 200.0", "rate_hz = -1", "key rate_hz is '-1'"),
        ("rate_hz = 200.0", "rate_hz = nan", "key rate_hz is 'nan'"),
        ("tick_s = 1e-6", "tick_s = 0.01", "key tick_s is longer than a sample"),
        ("tick_s = 1e-6", "tick_s = true", "key tick_s is 'True'"),
        ('"little"', '"middle"', "key byte_order is 'middle'"),
        ('name = "tick", type = "uint32"', 'name = "tick", type = "int24"', r"header\[1\]\.type"),
        ('name = "tick", type = "uint32"', 'name = "tick", type = "float32"', r"header\.tick"),
        ('name = "tick"', 'name = "clock"', "key tick stands nowhere"),
        ('name = "flags"', 'name = "count"', r"header\[3\]\.name repeats 'count'"),
        ('name = "accel_y"', 'name = "accel_x"', r"sample\[1\]\.name repeats"),
        ('name = "accel_x", type = "int16"', 'type = "int16"', r"sample\[0\]\.name is missing"),
        ('scale = -0.5, unit = "mg"', 'scale = -0.5, unit = "N"', r"sample\[2\]\.unit is 'N'"),
        ('scale = -0.5, unit = "mg"', "scale = -0.5", r"sample\[2\]\.unit is 'None'"),
        ("scale = -0.5", "scale = 0", r"sample\[2\]\.scale is '0'"),
        ("scale = -0.5", 'scale = "x"', r"sample\[2\]\.scale is 'x'"),
        ("scale = -0.5", "skale = -0.5", r"sample\[2\]\.skale is not known"),
        ("accel = 16\n", "accel = 0\n", r"range\.accel is '0'"),
        ('accel_unit = "g"\n', "", r"range\.accel_unit is 'None'"),
    ],
)
def test_bad_profile_names_line_or_key(old, new, named):
    assert TEXT.count(old) >= 1
    with pytest.raises(RecordingError, match=named):
        parse_profile(TEXT.replace(old, new, 1))


def test_profile_without_samples_or_channels():
    head = 'name = "n"\nrate_hz = 1\ntick_s = 1\nheader = [{name="tick",type="uint8"}]\n'
    for tail, named in (
        ("", "key sample is missing"),
        ("sample = []", "key sample is missing"),
        ("sample = [3]", r"sample\[0\] is no field"),
        ('sample = [{name="heat",type="int8"}]', "holds no channel"),
        ('sample = [{name="gyro_x",type="int8",unit="rad/s"}]\nrange = 3', "range is no table"),
    ):
        with pytest.raises(RecordingError, match=named):
            parse_profile(head + tail)


@given(st.integers(0, len(TEXT)), st.text(max_size=6), st.integers(0, 12))
@settings(max_examples=150, deadline=None)
def test_mutated_profile_parses_or_complains(at, insert, removed):
    with contextlib.suppress(ImuJumpError):
        parse_profile(TEXT[:at] + insert + TEXT[at + removed :])
