"""Sensors over the time of one attempt, and the body's motion found from them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from imujump.model import BoolArray, FloatArray, Placement
from imujump.pipeline.drift_solution import DriftSolution
from imujump.pipeline.strapdown import Strapdown

SHANK_LEVER_M = 0.10
"""Height of the shank sensor above the ankle joint that the wearing instructions ask for."""


@dataclass(frozen=True, slots=True)
class SensorWindow:
    """One sensor over the window, on the common sample grid.

    ``accel_mps2`` and ``gyro_radps`` (n, 3) are calibrated at rest and free of gaps (short
    ones bridged); ``up`` (3,) is the vertical at rest in sensor axes; ``missing`` and
    ``clipped`` (n,) flag samples; ``gyro_bias_radps`` is the standard deviation of what the
    stand left of the gyroscope's bias.
    """

    accel_mps2: FloatArray
    gyro_radps: FloatArray
    up: FloatArray
    missing: BoolArray
    clipped: BoolArray
    gyro_bias_radps: float


@dataclass(frozen=True, slots=True)
class Window:
    """All sensors over the time of one attempt.

    ``rests`` are (first, last) sample pairs in which the athlete stands still; the first
    begins at sample 0.
    """

    step_s: float
    gravity_mps2: float
    sensors: Mapping[Placement, SensorWindow]
    rests: tuple[tuple[int, int], ...]

    @property
    def samples(self) -> int:
        """Number of samples n."""
        return len(next(iter(self.sensors.values())).missing)


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """Corrected motion of all sensors in one world frame (z up).

    ``levers`` are joint centres in sensor axes: ankle for a shank, mid hip for the pelvis.
    ``forward`` is the pelvis's forward axis in its sensor axes. ``solutions`` holds the drift
    solution behind each path and ``numbers`` each placement's place in that solution's state;
    ``leg_misfit_m`` is the median by which the thighs' length is missed, None without legs.
    """

    step_s: float
    paths: Mapping[Placement, Strapdown]
    levers: Mapping[Placement, FloatArray]
    up: Mapping[Placement, FloatArray]
    forward: FloatArray | None
    solutions: Mapping[Placement, DriftSolution]
    numbers: Mapping[Placement, int]
    leg_misfit_m: float | None
    _known: dict[tuple[str, Placement | None], FloatArray] = field(
        default_factory=dict, init=False, repr=False
    )

    def once(
        self, name: str, placement: Placement | None, work: Callable[[], FloatArray]
    ) -> FloatArray:
        """Work out what is asked for again and again the first time only; not to be changed."""
        if (name, placement) not in self._known:
            self._known[name, placement] = work()
        return self._known[name, placement]

    def joint_position(self, placement: Placement) -> FloatArray:
        """Path (n, 3) of the ankle, or of mid hip for the pelvis."""
        path, lever_m = self.paths[placement], self.levers[placement]
        return self.once("joint position", placement, lambda: path.point_position(lever_m))

    def joint_velocity(self, placement: Placement) -> FloatArray:
        """Velocity (n, 3) of the ankle, or of mid hip for the pelvis."""
        path, lever_m = self.paths[placement], self.levers[placement]
        return self.once("joint velocity", placement, lambda: path.point_velocity(lever_m))
