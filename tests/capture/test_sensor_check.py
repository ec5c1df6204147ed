"""The sensor check on good sensors and on each fault, simulated and recorded."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from imujump.capture.check_strap import ringing, stamps
from imujump.capture.check_walk import SURE, side_evidence
from imujump.capture.sensor_check import (
    CheckItem,
    CheckSamples,
    Finding,
    LinkFigures,
    SensorJudgement,
    Verdict,
    check_sensors,
)
from imujump.model import Placement

from .checking import changed, check_session, exchanged

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS
GOOD_LINK = LinkFigures(3000, 0, 200.1, 80, -60)


@cache
def good(seed: int = 0, rate_hz: float = 200.0) -> dict[Placement, CheckSamples]:
    return check_session(seed, rate_hz=rate_hz)


def judged(
    samples: dict[Placement, CheckSamples], links: dict[Placement, LinkFigures] | None = None
) -> dict[Placement, SensorJudgement]:
    return {j.placement: j for j in check_sensors(samples, links)}


def finding(judgement: SensorJudgement, item: CheckItem) -> Finding:
    (found,) = (f for f in judgement.findings if f.item is item)
    return found


class TestGoodSensors:
    @pytest.mark.parametrize("rate_hz", [100.0, 200.0, 400.0])
    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_all_is_good(self, seed: int, rate_hz: float) -> None:
        links = dict.fromkeys(Placement, LinkFigures(3000, 0, rate_hz, 80, -60))
        for judgement in check_sensors(good(seed, rate_hz), links):
            bad = [f for f in judgement.findings if f.verdict is not Verdict.GOOD]
            assert bad == []
            assert judgement.verdict is Verdict.GOOD
        items = {f.item for f in judged(good(seed, rate_hz), links)[LEFT].findings}
        assert items == set(CheckItem)

    def test_good_findings_ask_for_nothing_and_the_rest_for_something(self) -> None:
        faulty = changed(good(), PELVIS, accel=0.9, bias_radps=0.3, limit_g=2.0)
        for judgement in check_sensors(exchanged(faulty, LEFT, RIGHT)):
            for found in judgement.findings:
                assert bool(found.remedy) is (found.verdict is not Verdict.GOOD)
                assert not found.reason.endswith(".")


class TestLink:
    @pytest.mark.parametrize(
        ("link", "item", "verdict"),
        [
            (LinkFigures(1000, 1, 200.0, 80, -60), CheckItem.LINK, Verdict.GOOD),
            (LinkFigures(1000, 10, 200.0, 80, -60), CheckItem.LINK, Verdict.LOOK),
            (LinkFigures(1000, 100, 200.0, 80, -60), CheckItem.LINK, Verdict.UNUSABLE),
            (LinkFigures(1000, 0, 200.0, 80, -85), CheckItem.LINK, Verdict.LOOK),
            (LinkFigures(0, 0, None, None, None), CheckItem.LINK, Verdict.UNUSABLE),
            (LinkFigures(1000, 0, 204.0, 80, -60), CheckItem.RATE, Verdict.LOOK),
            (LinkFigures(1000, 0, 100.0, 80, -60), CheckItem.RATE, Verdict.UNUSABLE),
            (LinkFigures(1000, 0, 200.0, 20, -60), CheckItem.BATTERY, Verdict.LOOK),
            (LinkFigures(1000, 0, 200.0, 5, -60), CheckItem.BATTERY, Verdict.UNUSABLE),
        ],
    )
    def test_figures(self, link: LinkFigures, item: CheckItem, verdict: Verdict) -> None:
        judgement = judged(good(), {LEFT: link})[LEFT]
        assert finding(judgement, item).verdict is verdict
        assert judgement.verdict is verdict

    def test_a_sensor_without_samples(self) -> None:
        silent = good()[LEFT]
        empty = CheckSamples(silent.info, np.empty(0), np.empty((0, 3)), np.empty((0, 3)))
        judgement = judged({**good(), LEFT: empty}, {LEFT: LinkFigures()})
        assert judgement[LEFT].verdict is Verdict.UNUSABLE
        assert finding(judgement[PELVIS], CheckItem.GRAVITY).verdict is Verdict.GOOD


class TestAtRest:
    @pytest.mark.parametrize(
        ("scale", "verdict"),
        [
            (0.97, Verdict.GOOD),
            (1.06, Verdict.LOOK),
            (0.90, Verdict.UNUSABLE),
            (2.0, Verdict.UNUSABLE),
        ],
    )
    def test_gravity(self, scale: float, verdict: Verdict) -> None:
        found = finding(judged(changed(good(), LEFT, accel=scale))[LEFT], CheckItem.GRAVITY)
        assert found.verdict is verdict
        assert found.figure == pytest.approx(scale, abs=0.01)
        assert ("range or scale" in found.remedy) is (scale == 2.0)

    @pytest.mark.parametrize(
        ("degrees", "verdict"),
        [(2.0, Verdict.GOOD), (12.0, Verdict.LOOK), (40.0, Verdict.UNUSABLE)],
    )
    def test_gyroscope(self, degrees: float, verdict: Verdict) -> None:
        faulty = changed(good(), RIGHT, bias_radps=math.radians(degrees))
        found = finding(judged(faulty)[RIGHT], CheckItem.GYRO)
        assert found.verdict is verdict
        assert found.figure == pytest.approx(degrees, abs=1.5)

    @pytest.mark.parametrize(("channel", "name"), [(1, "accelerometer y"), (5, "gyroscope z")])
    def test_a_dead_axis(self, channel: int, name: str) -> None:
        judgement = judged(changed(good(), LEFT, dead=channel))[LEFT]
        found = finding(judgement, CheckItem.CHANNELS)
        assert found.verdict is Verdict.UNUSABLE
        assert name in found.reason
        assert CheckItem.STRAP not in {f.item for f in judgement.findings}

    def test_a_small_range(self) -> None:
        clipped = finding(judged(changed(good(), LEFT, limit_g=4.0))[LEFT], CheckItem.RANGE)
        assert clipped.verdict is Verdict.LOOK
        assert "at the end" in clipped.reason
        unused = finding(judged(changed(good(), PELVIS, limit_g=8.0))[PELVIS], CheckItem.RANGE)
        assert "up to 8 g" in unused.reason

    def test_nobody_stood_still(self) -> None:
        generator = np.random.default_rng(0)
        restless = {
            p: CheckSamples(
                s.info,
                s.time_s,
                s.accel_mps2 + generator.normal(0.0, 1.0, s.accel_mps2.shape),
                s.gyro_radps,
            )
            for p, s in good().items()
        }
        found = finding(judged(restless)[PELVIS], CheckItem.GRAVITY)
        assert (found.verdict, found.remedy) == (Verdict.LOOK, "stand still for three seconds")


class TestWearing:
    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_exchanged_legs(self, seed: int) -> None:
        judgement = judged(exchanged(good(seed), LEFT, RIGHT))
        for place in (LEFT, RIGHT):
            found = finding(judgement[place], CheckItem.SIDE)
            assert found.verdict is Verdict.UNUSABLE
            assert "exchanged" in found.reason
        assert judgement[PELVIS].verdict is Verdict.GOOD

    @pytest.mark.parametrize("leg", [LEFT, RIGHT])
    def test_pelvis_and_shank_exchanged(self, leg: Placement) -> None:
        judgement = judged(exchanged(good(), leg, PELVIS))
        for place in (leg, PELVIS):
            found = finding(judgement[place], CheckItem.PLACEMENT)
            assert found.verdict is Verdict.UNUSABLE
            assert "exchange" in found.remedy

    def test_a_shank_sensor_upside_down(self) -> None:
        over = np.diag((1.0, -1.0, -1.0))
        judgement = judged(changed(good(), LEFT, turned=over))
        assert finding(judgement[LEFT], CheckItem.PLACEMENT).verdict is Verdict.LOOK
        assert "other way up" in finding(judgement[LEFT], CheckItem.PLACEMENT).reason
        assert finding(judgement[RIGHT], CheckItem.PLACEMENT).verdict is Verdict.GOOD
        assert finding(judgement[LEFT], CheckItem.SIDE).verdict is Verdict.GOOD

    def test_axes_do_not_matter(self) -> None:
        generator = np.random.default_rng(4)
        turned = good(1)
        for place in Placement:
            axes, _ = np.linalg.qr(generator.normal(size=(3, 3)))
            turned = changed(turned, place, turned=axes * np.sign(np.linalg.det(axes)))
        for place, judgement in judged(exchanged(turned, LEFT, RIGHT)).items():
            if place is not PELVIS:
                assert finding(judgement, CheckItem.SIDE).verdict is Verdict.UNUSABLE

    def test_no_steps(self) -> None:
        still = {
            p: CheckSamples(s.info, s.time_s[:700], s.accel_mps2[:700], s.gyro_radps[:700])
            for p, s in good().items()
        }
        found = finding(judged(still)[LEFT], CheckItem.SIDE)
        assert found.verdict is Verdict.LOOK
        assert "six steps" in found.remedy

    def test_shanks_alone_cannot_tell_sides(self) -> None:
        legs = {p: good()[p] for p in (LEFT, RIGHT)}
        assert "pelvis" in finding(judged(legs)[LEFT], CheckItem.SIDE).reason


class TestStrap:
    @pytest.mark.parametrize("rate_hz", [100.0, 200.0, 400.0])
    @pytest.mark.parametrize("ring_hz", [8.0, 14.0, 20.0, 25.0])
    def test_a_loose_strap_rings_slowly(self, ring_hz: float, rate_hz: float) -> None:
        samples = check_session(0, rate_hz=rate_hz, ring={LEFT: (ring_hz, 0.08)})
        judgement = judged(samples)
        found = finding(judgement[LEFT], CheckItem.STRAP)
        assert found.verdict is not Verdict.GOOD
        assert finding(judgement[RIGHT], CheckItem.STRAP).verdict is Verdict.GOOD
        swing = ringing(samples[LEFT], stamps(samples[LEFT])[-1])
        assert swing is not None
        assert swing.frequency_hz == pytest.approx(ring_hz, rel=0.1)
        assert swing.damping_ratio == pytest.approx(0.08, abs=0.03)

    def test_no_stamp(self) -> None:
        sensor = good()[LEFT]
        rows = slice(0, len(sensor.time_s) - 1400)
        quiet = CheckSamples(
            sensor.info, sensor.time_s[rows], sensor.accel_mps2[rows], sensor.gyro_radps[rows]
        )
        found = finding(judged({**good(), LEFT: quiet})[LEFT], CheckItem.STRAP)
        assert (found.verdict, found.reason) == (Verdict.LOOK, "no stamp was seen")


def test_sure_is_beyond_chance() -> None:
    """Legs that step at random against the pelvis must seldom pass for either side."""
    generator = np.random.default_rng(0)
    told = 0
    for _ in range(30):
        pelvis = generator.normal(0.0, 0.3, (1000, 6))
        pelvis[:, 2] += 9.81
        time_s = np.arange(1000) / 100.0
        phase = generator.uniform(0.0, 2.0 * np.pi)
        swing = np.tile(np.sin(2.0 * np.pi * 0.9 * time_s + phase)[:, np.newaxis], 6)
        left, right = (np.clip(sign * swing, 0.0, 1.0) for sign in (1.0, -1.0))
        evidence = side_evidence(pelvis, left, right, np.ones(1000, dtype=bool))
        assert evidence is not None
        told += abs(evidence.agreement) >= SURE
    assert told <= 5
