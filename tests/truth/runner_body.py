"""The planar figure that runs and jumps: masses, joints, ground and sensors for MuJoCo."""

from __future__ import annotations

from dataclasses import dataclass

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement

from .motion import sensor_offset_m

STEP_S = 0.00025
FOOT_RADIUS_M = 0.025
JOINTS = ("x", "z", "pitch", "hip_left", "knee_left", "hip_right", "knee_right")
"""Order of positions and velocities. Pitch is positive leaning forward; hip is positive with
the thigh forward; knee is positive bent."""


@dataclass(frozen=True, slots=True)
class Body:
    """Size of the figure. ``segment_m`` is the length of thigh and of shank."""

    segment_m: float = 0.45
    trunk_kg: float = 46.0
    thigh_kg: float = 7.5
    shank_kg: float = 4.0

    @property
    def mass_kg(self) -> float:
        """Whole mass."""
        return self.trunk_kg + 2 * (self.thigh_kg + self.shank_kg)


def _vector(values: object) -> str:
    return " ".join(f"{v:.6g}" for v in values)  # type: ignore[attr-defined]


def model_xml(body: Body) -> str:
    """MuJoCo model of the figure.

    Two slides and a hinge hold the trunk in the sagittal plane; hips and knees carry motors.
    A weak spring on the pitch stands for what arms and trunk muscles do. Sites lie where the
    sensors are worn; touch sensors give each foot's normal force. The ground gives way under
    the bare foot point as heel and shoe would, by about a centimetre, and springs back fast
    enough that the last fifth of body weight is gone in as short a time as under people
    (``test_runner``); on softer ground the foot point drags along after the push.
    """
    length = body.segment_m
    legs, motors, touches = [], [], []
    for side, lateral in (("left", 0.09), ("right", -0.09)):
        shank_site = sensor_offset_m(Placement(f"{side}_shank")) - [0.0, 0.0, length]
        legs.append(f"""
      <body name="thigh_{side}" pos="0 {lateral} 0">
        <joint name="hip_{side}" axis="0 -1 0" damping="1" armature="0.02"/>
        <geom type="capsule" fromto="0 0 0 0 0 {-length}" size="0.06" mass="{body.thigh_kg}"
              contype="0" conaffinity="0"/>
        <body name="shank_{side}" pos="0 0 {-length}">
          <joint name="knee_{side}" axis="0 1 0" damping="1" armature="0.02" limited="true"
                 range="0.05 2.6"/>
          <geom type="capsule" fromto="0 0 0 0 0 {-length}" size="0.045"
                mass="{body.shank_kg}" contype="0" conaffinity="0"/>
          <geom name="foot_{side}" type="sphere" pos="0 0 {-length}" size="{FOOT_RADIUS_M}"
                mass="0.01"/>
          <site name="foot_{side}" pos="0 0 {-length}" size="{FOOT_RADIUS_M * 1.3}"/>
          <site name="{side}_shank" pos="{_vector(shank_site)}"/>
        </body>
      </body>""")
        motors += [f'<motor joint="{joint}_{side}"/>' for joint in ("hip", "knee")]
        touches.append(f'<touch site="foot_{side}"/>')
    sensors = "".join(
        f'<accelerometer site="{placement}"/><gyro site="{placement}"/>' for placement in Placement
    )
    return f"""
<mujoco>
  <compiler angle="radian"/>
  <option timestep="{STEP_S}" gravity="0 0 {-STANDARD_GRAVITY_MPS2}" integrator="implicitfast"
          cone="elliptic" impratio="1"/>
  <default>
    <geom condim="3" friction="1.6 0.01 0.001" solref="-4000 -60" solimp="0.1 0.5 0.006"/>
  </default>
  <worldbody>
    <geom name="ground" type="plane" size="100 10 1"/>
    <body name="trunk">
      <joint name="x" type="slide" axis="1 0 0"/>
      <joint name="z" type="slide" axis="0 0 1"/>
      <joint name="pitch" axis="0 1 0" stiffness="500" damping="60" springref="-0.05"/>
      <geom type="capsule" fromto="0 0 0.08 0 0 0.50" size="0.10" mass="{body.trunk_kg}"
            contype="0" conaffinity="0"/>
      <site name="pelvis" pos="{_vector(sensor_offset_m(Placement.PELVIS))}"/>{"".join(legs)}
    </body>
  </worldbody>
  <actuator>{"".join(motors)}</actuator>
  <sensor>{sensors}{"".join(touches)}
    <subtreecom body="trunk"/><subtreelinvel body="trunk"/></sensor>
</mujoco>"""
