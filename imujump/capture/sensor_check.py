"""The sensor check before the first run: from samples and link figures to a verdict each.

The athlete stands still for three seconds, walks six steps or more straight ahead, stands, and
stamps once with each foot, standing still after each. The order does not matter; what was not
done is told as such. Pure: the same samples give the same findings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from imujump.capture.check_rest import (
    judge_battery,
    judge_channels,
    judge_gravity,
    judge_gyro,
    judge_link,
    judge_range,
    judge_rate,
)
from imujump.capture.check_strap import judge_strap
from imujump.capture.check_walk import judge_walk
from imujump.capture.check_words import (
    CheckItem,
    CheckSamples,
    Finding,
    LinkFigures,
    SensorJudgement,
    Verdict,
    resting,
)
from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement

__all__ = [
    "CheckItem",
    "CheckSamples",
    "Finding",
    "LinkFigures",
    "SensorJudgement",
    "Verdict",
    "check_sensors",
]

OPPOSITE = -0.5
"""Cosine of the angle between two shank sensors' verticals from which one is upside down."""

LEAST_CHECK_S = 2.0
"""A shorter check says nothing about a sensor's signals (own choice)."""


def check_sensors(
    samples: Mapping[Placement, CheckSamples],
    links: Mapping[Placement, LinkFigures] | None = None,
    gravity_mps2: float = STANDARD_GRAVITY_MPS2,
) -> tuple[SensorJudgement, ...]:
    """Judge every sensor.

    Parameters
    ----------
    samples : mapping of Placement to CheckSamples
        What was received during the check, also of sensors without a sample.
    links : mapping of Placement to LinkFigures, optional
        What the links tell; without it link and battery are left out.
    gravity_mps2 : float
        Local gravity; see :func:`imujump.constants.normal_gravity_mps2`.

    Returns
    -------
    tuple of SensorJudgement
        In the order of ``samples``. A sensor whose channels are not whole is not judged by
        its signals.
    """
    figures = links or {}
    whole = {p: s for p, s in samples.items() if _long_enough(s) and _alive(s)}
    worn = judge_walk(whole) if whole else {}
    turned = _upside_down(whole)
    judged = []
    for placement, sensor in samples.items():
        findings: list[Finding | None] = []
        link = figures.get(placement)
        if link is not None:
            findings += [judge_link(link), judge_battery(link)]
        findings.append(judge_rate(sensor, link or LinkFigures()))
        if placement in whole:
            findings += [judge_channels(sensor), judge_gravity(sensor, gravity_mps2)]
            findings += [judge_gyro(sensor), judge_range(sensor)]
            first, *rest = worn[placement]
            findings += [turned.get(placement, first) if first.verdict is Verdict.GOOD else first]
            findings += [*rest, judge_strap(sensor)]
        elif _long_enough(sensor):
            findings.append(judge_channels(sensor))
        told = tuple(finding for finding in findings if finding is not None)
        judged.append(SensorJudgement(placement, sensor.info.sensor_id, told))
    return tuple(judged)


def _long_enough(sensor: CheckSamples) -> bool:
    return len(sensor.time_s) > LEAST_CHECK_S * sensor.info.rate_hz


def _alive(sensor: CheckSamples) -> bool:
    return judge_channels(sensor).verdict is Verdict.GOOD


def _upside_down(samples: Mapping[Placement, CheckSamples]) -> dict[Placement, Finding]:
    """Findings on shank sensors whose axes point the opposite way from each other's."""
    shanks = [p for p in (Placement.LEFT_SHANK, Placement.RIGHT_SHANK) if p in samples]
    ups = {p: _up(s) for p, s in samples.items()}
    if len(shanks) < 2 or any(ups[p] is None for p in shanks):
        return {}
    left, right = (np.asarray(ups[p]) for p in shanks)
    if left @ right > OPPOSITE:
        return {}
    reason = "it is strapped the other way up than the other shank sensor"
    remedy = "turn one of the two over; results are the same either way, mistakes are likelier"
    finding = Finding(CheckItem.PLACEMENT, Verdict.LOOK, reason, remedy)
    pelvis = ups.get(Placement.PELVIS)
    odd = shanks
    if pelvis is not None and abs(float(pelvis @ left)) > -OPPOSITE:
        # The pelvis sensor sides with one of them: the other is the odd one.
        odd = [p for p in shanks if float(np.asarray(ups[p]) @ pelvis) < 0.0]
    return {p: replace(finding) for p in odd}


def _up(sensor: CheckSamples) -> FloatArray | None:
    rows = resting(sensor)
    if not len(rows):
        return None
    mean = sensor.accel_mps2[rows].mean(axis=0)
    return np.asarray(mean / max(float(np.linalg.norm(mean)), 1e-9))
