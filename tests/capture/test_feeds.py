"""What emulated sensors measure: athletes without end, and recordings of any kind."""

import json
import pickle
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from imujump.capture.emulated.athlete_feed import (
    Athlete,
    SceneOrder,
    jump_session,
    write_scene,
)
from imujump.capture.emulated.feeds import recorded_feeds
from imujump.capture.emulated.memory import DeviceClock, HeldPacket, RingBuffer
from imujump.capture.emulated.packet_maker import PacketMaker
from imujump.capture.link_profile import read_link_profile
from imujump.capture.profile_book import own_profile
from imujump.errors import RecordingError
from imujump.model import Placement, RecordingInfo, SensorInfo
from imujump.recording.files import open_recording
from imujump.recording.memory import MemorySource
from imujump.recording.packets import encode_packets
from imujump.simulate.imu import SensorErrors

REPOSITORY = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def athlete():
    person = Athlete(200.0, skew_ppm={Placement.PELVIS: 40.0}, seed=4)
    person.prepare(50.0)
    return person


def test_a_kept_motion_knows_when_the_athlete_flew(athlete):
    person = Athlete(200.0, seed=4, keep_motions=True)
    person.prepare(50.0)
    begun_s, motion = person.motions[1]
    (jump,) = motion.jumps
    feed = person.feeds()[Placement.PELVIS]
    middle_s = begun_s + 0.5 * (jump.toe_off_s + jump.landing_s)
    flying = feed.values(feed.first_from(middle_s - 0.05), 20)
    # In flight the pelvis sensor feels next to nothing but the body's turning about it.
    assert np.linalg.norm(flying[:, :3], axis=1).mean() < 5.0
    assert Athlete(200.0, seed=4).motions == athlete.motions == []


def test_the_same_seed_gives_the_same_samples(athlete):
    again = Athlete(200.0, skew_ppm={Placement.PELVIS: 40.0}, seed=4)
    # Written little by little, as during capture.
    for until_s in (1.0, 26.0, 50.0):
        again.prepare(until_s)
    elsewhere = Athlete(200.0, skew_ppm={Placement.PELVIS: 40.0}, seed=4)
    with ThreadPoolExecutor(1) as elsewhere.pool:
        elsewhere.prepare(50.0)
    other = Athlete(200.0, seed=5)
    other.prepare(1.0)
    for placement in Placement:
        mine = athlete.feeds()[placement].values(0, 10_000)
        assert np.array_equal(mine, again.feeds()[placement].values(0, 10_000))
        assert np.array_equal(mine, elsewhere.feeds()[placement].values(0, 10_000))
        assert not np.array_equal(mine[:100], other.feeds()[placement].values(0, 100))


def test_a_scene_can_be_ordered_from_another_process(athlete):
    order = SceneOrder(
        1, 4, jump_session, 100.0, athlete._worn, SensorErrors(), False, keep_motion=False
    )
    here, there = write_scene(order), write_scene(pickle.loads(pickle.dumps(order)))
    for placement in Placement:
        assert np.array_equal(here.rows[placement], there.rows[placement])
    assert here.motion is None


def test_scenes_join_without_a_step_in_time_or_motion(athlete):
    for placement, feed in athlete.feeds().items():
        times_s = feed.times_s(0, 10_000)
        skew = 40e-6 if placement is Placement.PELVIS else 0.0
        assert np.allclose(np.diff(times_s), 0.005 / (1.0 + skew), rtol=1e-9)
        assert feed.first_from(float(times_s[777])) == 777
        assert feed.first_from(float(times_s[777]) + 1e-4) == 778
        joints = [start for start, _ in athlete.track(placement).chunks[1:]]
        assert len(joints) == 1
        for joint in joints:
            around = feed.values(joint - 20, 40)
            # Quiet standing on both sides: the jump is no larger than the noise around it.
            step = np.abs(around[20] - around[19])
            assert np.all(step[:3] < 0.3)
            assert np.all(step[3:] < 0.03)


def test_an_athlete_stands_walks_and_jumps(athlete):
    pelvis = athlete.feeds()[Placement.PELVIS].values(0, 10_000)
    strength = np.linalg.norm(pelvis[:, :3], axis=1)
    # At rest gravity, within the sensors' bias and scale; in a flight next to nothing.
    assert np.abs(strength[:400].mean() - 9.81) < 0.15
    assert strength.min() < 3.0
    assert strength.max() > 20.0
    feed = athlete.feeds()[Placement.PELVIS]
    kept = feed.values(9_000, 10)
    feed.forget(9_000)
    assert np.array_equal(feed.values(9_000, 10), kept)
    assert athlete.track(Placement.PELVIS).chunks[0][0] > 4_000


@pytest.mark.parametrize("name", ["one_foot", "lost_sensor"])
def test_recordings_are_put_on_one_time_axis(name):
    path = REPOSITORY / "recordings_demo" / f"{name}.imujump"
    source = open_recording(path)
    feeds = recorded_feeds(source)
    source.close()
    again = open_recording(path)
    for placement, feed in feeds.items():
        rows = [
            np.hstack([b.accel_mps2, b.gyro_radps])
            for b in again.batches()
            if b.placement is placement
        ]
        stored = np.concatenate(rows)
        assert np.array_equal(feed.values(0, len(stored)), stored)
        assert np.array_equal(feed.values(len(stored) + 3, 2), stored[[-1, -1]])
        after = feed.times_s(len(stored) - 1, 3) - feed.length_s
        assert np.allclose(after, np.arange(3) / feed.rate_hz, atol=1e-9)
        assert feed.first_from(float(after[2]) + feed.length_s - 1e-6) == len(stored) + 1
    again.close()


def test_drifting_clocks_of_a_long_recording_are_set_right():
    # The truth file tells each clock's error; after twenty minutes 15 ppm are 18 ms.
    text = (REPOSITORY / "recordings_demo" / "long_session_truth.json").read_text(encoding="utf-8")
    sensors = json.loads(text)["sensor_model"]["sensors"]
    source = open_recording(REPOSITORY / "recordings_demo" / "long_session.imujump")
    feeds = recorded_feeds(source)
    source.close()
    errors = []
    for placement, sensor in sensors.items():
        feed = feeds[Placement(placement)]
        true_hz = feed.rate_hz * (1.0 + 1e-6 * sensor["clock_skew_ppm"])
        numbers = np.array([0, 60_000, 119_000])
        true_s = sensor["clock_offset_s"] + numbers / true_hz
        errors.append([float(feed.times_s(n, 1)[0]) for n in numbers] - true_s)
    # Sensor against sensor: the least of the random delays differs by a fraction of a ms.
    assert np.ptp(np.array(errors), axis=0).max() < 1.5e-3


def test_a_recording_without_samples_is_refused():
    info = RecordingInfo((SensorInfo(Placement.PELVIS, "P", 100.0, 0.01),))
    with pytest.raises(RecordingError, match="holds no samples"):
        recorded_feeds(MemorySource(info, []))


@pytest.mark.parametrize("profile", [own_profile(), read_link_profile(
    Path(__file__).parent / "foreign" / "strap_logger.toml")], ids=["ours", "foreign"])  # fmt: skip
def test_packets_are_those_of_the_recording_package(profile):
    generator = np.random.default_rng(2)
    maker = PacketMaker(profile)
    for index in (0, 255, 65_535, 65_536, 2**31 + 5):
        values = generator.normal(0.0, 60.0, (7, 6))
        ticks = np.int64(2**33 + 12_345) + np.arange(7) * 315
        expected = encode_packets(
            profile.packet, ticks[np.newaxis], np.array([index]), values[np.newaxis]
        )[0].tobytes()
        made = maker.packet(ticks, index, values)
        assert len(made) == len(expected)
        flags = profile.packet_flags(made)
        assert flags <= {"range"}
        if not flags:
            assert made == expected
    assert profile.stream_flags == {} or "range" in profile.packet_flags(
        maker.packet(ticks, 0, np.full((7, 6), 1e4))
    )


def test_a_clock_tells_the_time_it_was_read():
    clock = DeviceClock(5.0, 40.0, 1e-6, 77)
    assert clock.tick(5.0) == 77
    # 40 ppm of an hour are 144 ms.
    assert clock.tick(3605.0) - 77 == pytest.approx(3600e6 + 144_000, abs=1)
    for host_s in (5.0, 6.25, 9000.5):
        assert clock.time_s(clock.tick(host_s)) == pytest.approx(host_s, abs=2e-6)


def test_the_ring_keeps_the_newest_and_tells_what_never_went_out():
    ring = RingBuffer(30)
    held = [HeldPacket(n, bytes([n]), 10) for n in range(6)]
    held[1].sent = True
    assert [ring.add(packet) for packet in held] == [False, False, False, True, False, True]
    assert [ring.get(n) is not None for n in range(7)] == [
        False,
        False,
        False,
        True,
        True,
        True,
        False,
    ]
    ring.clear()
    assert (ring.oldest, ring.get(5)) == (None, None)
