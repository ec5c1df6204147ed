"""A sensor behind a radio link that wakes at intervals: when packets and answers arrive.

The link's wakings lie on the host's clock, at a phase of their own. A packet is handed over at
the first waking after its last sample. A question is heard at the first waking after it was
sent; the sensor reads its clock then and answers at the next one. Both ends add a small random
delay. The order of these delays was measured over an emulated link: see "Bluetooth LE capture",
part 1, in ``../shared/science/bluetooth.md`` (packets 6-11 ms at an interval of 15 ms, at most
an interval more; shortest one-way delays 1.3-4.3 ms). That the answer waits for the next waking
is the usual behaviour of controllers (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from imujump.model import ClockReading, FloatArray, IntArray, Placement, SampleBatch, SensorInfo

TICK_S = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class RadioSensor:
    """A sensor's clock and its link.

    Host time of device time t is ``offset_s + t (1 + skew)``; ``turns`` is the number of
    wakings until an answer.
    """

    generator: np.random.Generator
    interval_s: float
    skew: float
    offset_s: float
    stack_s: float = 3e-4
    turns: int = 1
    rate_hz: float = 200.0
    packet_samples: int = 10

    def host_s(self, device_s: FloatArray) -> FloatArray:
        """True host time of a device time."""
        return np.asarray(self.offset_s + device_s * (1.0 + self.skew))

    def _waking(self, host_s: FloatArray, phase_s: float) -> FloatArray:
        turns = np.ceil((host_s - phase_s) / self.interval_s)
        return np.asarray(phase_s + turns * self.interval_s)

    def _stack(self, count: int) -> FloatArray:
        return self.generator.exponential(self.stack_s, count) + self.stack_s

    def packets(self, duration_s: float, phase_s: float) -> tuple[FloatArray, FloatArray]:
        """Device time of each packet's last sample, and its arrival at the host."""
        count = int(duration_s * self.rate_hz / self.packet_samples)
        last_s = (np.arange(1, count + 1) * self.packet_samples - 1) / self.rate_hz
        ready_s = self.host_s(last_s) + 5e-4
        arrival_s = self._waking(ready_s, phase_s) + self._stack(count)
        return last_s, np.maximum.accumulate(arrival_s)

    def questions(self, duration_s: float, phase_s: float) -> FloatArray:
        """Readings (r, 3): device time, host time before and after; dense at first."""
        asked = []
        time_s = 0.05
        while time_s < duration_s - 0.1:
            asked.append(time_s)
            time_s += (0.25 if time_s < 10.0 else 2.0) * self.generator.uniform(0.5, 1.5)
        sent_s = self.host_s(np.array(asked))
        heard_s = self._waking(sent_s + self._stack(len(asked)), phase_s) + 1e-4
        device_s = (heard_s - self.offset_s) / (1.0 + self.skew)
        answered_s = self._waking(heard_s, phase_s) + (self.turns - 1) * self.interval_s
        received_s = np.maximum.accumulate(answered_s + self._stack(len(asked)))
        return np.stack((device_s, sent_s, received_s), axis=1)

    def phase_s(self) -> float:
        """Draw where the link's wakings lie."""
        return float(self.generator.uniform(0.0, self.interval_s))


def session(
    sensors: dict[Placement, RadioSensor],
    duration_s: float,
    *,
    asked: bool = True,
    signals: Callable[[Placement, FloatArray], FloatArray] | None = None,
) -> tuple[tuple[SensorInfo, ...], list[SampleBatch | ClockReading]]:
    """Return what a host receives of several resting sensors, in order of arrival.

    ``signals`` gives accelerometer and gyroscope (n, 6) at host times. Without it every channel
    holds the true host time of its sample, so that misalignment can be read off.
    """
    entries: list[tuple[float, int, SampleBatch | ClockReading]] = []
    infos = []
    drawn = signals or (lambda _, host_s: np.repeat(host_s[:, np.newaxis], 6, axis=1))
    for number, (placement, sensor) in enumerate(sensors.items()):
        infos.append(SensorInfo(placement, f"S{number}", sensor.rate_hz, TICK_S))
        phase_s = sensor.phase_s()
        arrival_s = sensor.packets(duration_s, phase_s)[1]
        size = sensor.packet_samples
        for k, arrived_s in enumerate(np.round(arrival_s, 6).tolist()):
            device_s = (k * size + np.arange(size)) / sensor.rate_hz
            ticks: IntArray = np.rint(device_s / TICK_S).astype(np.int64)
            values = drawn(placement, sensor.host_s(device_s))
            accel, gyro = values[:, :3].copy(), values[:, 3:].copy()
            entries.append(
                (arrived_s, 1, SampleBatch(placement, k * size, ticks, arrived_s, accel, gyro))
            )
        if asked:
            for device_s, sent_s, received_s in sensor.questions(duration_s, phase_s).tolist():
                reading = ClockReading(
                    placement, round(sent_s, 6), round(received_s, 6), round(device_s / TICK_S)
                )
                entries.append((reading.received_s, 0, reading))
    entries.sort(key=lambda entry: entry[:2])
    return tuple(infos), [entry for _, _, entry in entries]
