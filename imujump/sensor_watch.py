"""Gathers what the sensor check looks at, from a running session."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from imujump.capture.events import SensorState
from imujump.capture.sensor_check import (
    CheckSamples,
    LinkFigures,
    SensorJudgement,
    Verdict,
    check_sensors,
)
from imujump.model import Placement, SampleBatch, SensorInfo

LONGEST_S = 60.0
"""A check that nobody ends keeps the newest minute (own choice)."""


class SensorWatch:
    """Keeps samples between the beginning and the end of a check.

    Parameters
    ----------
    sensors : sequence of SensorInfo
        The session's sensors.
    """

    def __init__(self, sensors: Sequence[SensorInfo]) -> None:
        self._infos = {sensor.placement: sensor for sensor in sensors}
        self._delay_s = dict.fromkeys(self._infos, math.inf)
        self._kept: dict[Placement, list[SampleBatch]] | None = None

    def begin(self) -> None:
        """Forget an earlier check and keep what comes from now on."""
        self._kept = {placement: [] for placement in self._infos}

    def take(self, batch: SampleBatch) -> None:
        """Look at a batch as it comes."""
        if not len(batch.ticks):
            return
        tick_s = self._infos[batch.placement].tick_s
        delay_s = batch.arrival_s - float(batch.ticks[-1]) * tick_s
        self._delay_s[batch.placement] = min(self._delay_s[batch.placement], delay_s)
        if self._kept is None:
            return
        kept = self._kept[batch.placement]
        kept.append(batch)
        while batch.arrival_s - kept[0].arrival_s > LONGEST_S:
            del kept[0]

    def end(self, states: Sequence[SensorState]) -> list[dict[str, Any]]:
        """Judge the sensors; the check begins anew with the next :meth:`begin`."""
        kept, self._kept = self._kept or {p: [] for p in self._infos}, None
        samples = {
            placement: CheckSamples(
                info,
                _joined([b.ticks for b in kept[placement]]) * info.tick_s
                + (self._delay_s[placement] if kept[placement] else 0.0),
                _joined([b.accel_mps2 for b in kept[placement]], 3),
                _joined([b.gyro_radps for b in kept[placement]], 3),
            )
            for placement, info in self._infos.items()
        }
        links = {
            state.placement: LinkFigures(
                state.packets, state.lost, state.rate_hz, state.battery_percent, state.rssi_dbm
            )
            for state in states
        }
        return [_told(judgement) for judgement in check_sensors(samples, links)]


def _joined(parts: Sequence[Any], columns: int | None = None) -> Any:
    shape = (0,) if columns is None else (0, columns)
    return np.concatenate([np.empty(shape), *parts])


def _told(judgement: SensorJudgement) -> dict[str, Any]:
    return {
        "placement": str(judgement.placement),
        "serial": judgement.serial,
        "verdict": str(judgement.verdict),
        "findings": [
            {
                "item": str(finding.item),
                "verdict": str(finding.verdict),
                "reason": finding.reason,
                "remedy": finding.remedy,
            }
            for finding in judgement.findings
            if finding.verdict is not Verdict.GOOD
        ],
    }
