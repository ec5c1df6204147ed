"""Writes the demo recordings and their truth again, byte for byte.

    python recordings_demo/regenerate.py [FOLDER] [--only NAME ...]

The people, the club and every number are invented; the movements come from the simulator.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Mark, Placement, Side, TakeOffStyle
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.body import Body
from imujump.simulate.imu import Gap, SensorErrors, record
from imujump.simulate.movements import Bounce, Fidget, RunThrough, Stand, TurnAround, Walk
from imujump.simulate.session import Block, compose
from imujump.simulate.truth_record import motion_record, sensor_record

FOLDER = Path(__file__).resolve().parent
CLUB = "Harbour Lane Jumpers (invented)"
GYRO_RANGE_DEGPS = 2000.0

Blocks = list[Block | ApproachJump]


@dataclass(frozen=True, slots=True)
class Demo:
    """One demo recording: who, when, what, and how it is recorded."""

    name: str
    athlete: str
    stature_m: float
    started_utc: datetime
    seed: int
    blocks: Callable[[], Blocks]
    about: str
    rate_hz: float = 200.0
    accel_range_g: float = 32.0
    gaps: tuple[Gap, ...] = ()
    legs_swapped: bool = False


def _one_foot() -> Blocks:
    jump = ApproachJump(
        side=Side.LEFT,
        steps=6,
        approach_speed_mps=4.4,
        last_step_ratio=0.91,
        lowering_m=0.15,
        take_off_vertical_mps=2.75,
        turn_rad=0.35,
        landing="right",
    )
    return [Stand(3.5), jump, Stand(2.0)]


def _two_foot() -> Blocks:
    jump = ApproachJump(
        style=TakeOffStyle.TWO_FOOT,
        side=Side.RIGHT,
        steps=5,
        approach_speed_mps=3.5,
        last_step_ratio=1.22,
        lowering_m=0.20,
        plant_interval_s=0.08,
        take_off_vertical_mps=2.75,
        turn_rad=0.9,
        landing_lag_s=-0.018,
    )
    return [Stand(3.5), jump, Stand(2.0)]


def _back(distance_m: float) -> Blocks:
    return [TurnAround(), Walk(distance_m), TurnAround(-math.pi)]


def _speed_ladder() -> Blocks:
    base = ApproachJump(
        side=Side.RIGHT, steps=6, landing="left", stand_before_s=2.5, stand_after_s=1.5
    )
    # Slow, preferred, fast, each twice, in mixed order.
    rungs = (
        (4.2, 2.65, 0.93, 0.15),
        (3.1, 2.45, 0.97, 0.15),
        (5.2, 2.70, 0.90, 0.16),
        (4.3, 2.70, 0.92, 0.15),
        (5.1, 2.65, 0.91, 0.17),
        (3.2, 2.40, 0.95, 0.14),
    )
    blocks: Blocks = [Stand(3.0)]
    for speed, upward, ratio, lowering in rungs:
        blocks.append(
            replace(
                base,
                approach_speed_mps=speed,
                take_off_vertical_mps=upward,
                last_step_ratio=ratio,
                lowering_m=lowering,
            )
        )
        blocks += _back(9.0)
    return blocks


def _two_attempts() -> Blocks:
    jump = ApproachJump(
        style=TakeOffStyle.TWO_FOOT,
        side=Side.LEFT,
        steps=6,
        approach_speed_mps=3.8,
        last_step_ratio=1.15,
        lowering_m=0.20,
        take_off_vertical_mps=2.7,
        turn_rad=-0.5,
    )
    again = replace(jump, approach_speed_mps=3.7, take_off_vertical_mps=2.65)
    return [Stand(3.0), jump, *_back(7.0), Stand(3.0), again, Stand(2.0)]


def _swapped() -> Blocks:
    jump = ApproachJump(
        side=Side.LEFT,
        steps=7,
        strike_pitch_rad=0.12,
        approach_speed_mps=4.6,
        last_step_ratio=0.90,
        lowering_m=0.15,
        take_off_vertical_mps=2.7,
        landing="right",
    )
    return [Stand(3.0), jump, Stand(2.0)]


def _long_session() -> Blocks:
    one = ApproachJump(
        side=Side.LEFT, steps=6, landing="right", stand_before_s=2.5, stand_after_s=1.5
    )
    two = replace(
        one,
        style=TakeOffStyle.TWO_FOOT,
        approach_speed_mps=3.5,
        last_step_ratio=1.2,
        lowering_m=0.20,
        landing="both",
        steps=5,
    )
    rest = Stand(126.0, sway_m=0.0015)
    return [
        Stand(6.0),
        Bounce(8),
        rest,
        replace(one, approach_speed_mps=4.1),
        *_back(9.0),
        rest,
        replace(two, take_off_vertical_mps=2.7),
        *_back(8.0),
        rest,
        RunThrough(4.3, 6),
        *_back(12.0),
        rest,
        replace(one, approach_speed_mps=4.5, last_step_ratio=0.9),
        *_back(10.0),
        Fidget(8.0),
        rest,
        replace(two, approach_speed_mps=3.7, turn_rad=0.8),
        *_back(8.0),
        rest,
        Bounce(6, flight_s=0.38),
        rest,
        replace(one, side=Side.RIGHT, landing="left", approach_speed_mps=4.0),
        *_back(9.0),
        rest,
        replace(two, side=Side.RIGHT, approach_speed_mps=3.4),
        Stand(10.0),
    ]


DEMOS: tuple[Demo, ...] = (
    Demo(
        "one_foot",
        "Mira Tolland",
        1.74,
        datetime(2025, 3, 4, 16, 5, tzinfo=UTC),
        101,
        _one_foot,
        "One-foot take-off from the left foot, six steps.",
    ),
    Demo(
        "two_foot",
        "Jonas Ebbe",
        1.88,
        datetime(2025, 3, 4, 16, 20, tzinfo=UTC),
        102,
        _two_foot,
        "Two-foot take-off, right foot first, with a turn to the left.",
    ),
    Demo(
        "speed_ladder",
        "Mira Tolland",
        1.74,
        datetime(2025, 3, 6, 15, 40, tzinfo=UTC),
        103,
        _speed_ladder,
        "Slow, preferred and fast approach, each twice in mixed order, walking back between.",
    ),
    Demo(
        "lost_sensor",
        "Safi Onwell",
        1.81,
        datetime(2025, 3, 6, 16, 30, tzinfo=UTC),
        104,
        _two_attempts,
        "Two two-foot attempts; packets of the pelvis and right shank go missing, and the left "
        "shank's sensor is lost for good before the second attempt.",
        gaps=(
            Gap(Placement.PELVIS, 7.30, 7.36),
            Gap(Placement.RIGHT_SHANK, 4.00, 4.10),
            Gap(Placement.LEFT_SHANK, 26.0),
        ),
    ),
    Demo(
        "legs_swapped",
        "Jonas Ebbe",
        1.88,
        datetime(2025, 3, 11, 16, 10, tzinfo=UTC),
        105,
        _swapped,
        "One-foot take-off from the left foot, running on the balls of the feet; the shank "
        "sensors are on the wrong legs. The truth names the athlete's true sides.",
        legs_swapped=True,
    ),
    Demo(
        "long_session",
        "Safi Onwell",
        1.81,
        datetime(2025, 3, 11, 17, 0, tzinfo=UTC),
        106,
        _long_session,
        "Twenty minutes at 100 Hz: six attempts, walking back, bouncing on the spot, fidgeting "
        "and a run-through without a jump.",
        rate_hz=100.0,
    ),
)


def write_demo(demo: Demo, folder: Path) -> Path:
    """Write one demo recording and its truth; return the recording's path."""
    generator = np.random.default_rng(demo.seed)
    # People do not step like clocks: every attempt gets its own irregularity.
    blocks = [
        replace(block, irregularity_ratio=0.03, seed=100 * demo.seed + number)
        if isinstance(block, ApproachJump)
        else block
        for number, block in enumerate(demo.blocks())
    ]
    motion = compose(blocks, generator, body=Body(demo.stature_m))
    recording = record(
        motion,
        generator,
        rate_hz=demo.rate_hz,
        errors=SensorErrors(
            accel_range_mps2=demo.accel_range_g * STANDARD_GRAVITY_MPS2,
            gyro_range_radps=math.radians(GYRO_RANGE_DEGPS),
        ),
        gaps=demo.gaps,
        legs_swapped=demo.legs_swapped,
        started_utc=demo.started_utc,
        marks=[
            Mark(round(jump.start_s, 3), f"attempt {number}")
            for number, jump in enumerate(motion.jumps, start=1)
        ],
    )
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{demo.name}.imujump"
    path.unlink(missing_ok=True)
    profile = compact_profile(demo.rate_hz, demo.accel_range_g, GYRO_RANGE_DEGPS)
    save_recording(recording, path, dict.fromkeys(Placement, profile))
    truth = {
        "recording": path.name,
        "about": demo.about,
        "athlete": demo.athlete,
        "club": CLUB,
        "seed": demo.seed,
        "legs_swapped": demo.legs_swapped,
        **motion_record(motion),
        **sensor_record(recording, demo.gaps),
    }
    text = json.dumps(truth, indent=1, ensure_ascii=False) + "\n"
    (folder / f"{demo.name}_truth.json").write_text(text, encoding="utf-8", newline="\n")
    return path


def main(arguments: Sequence[str] | None = None) -> int:
    """Regenerate all demos, or those named."""
    parser = argparse.ArgumentParser(description="Write the demo recordings again.")
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    parser.add_argument("--only", nargs="+", choices=[d.name for d in DEMOS], metavar="NAME")
    chosen = parser.parse_args(arguments)
    for demo in DEMOS:
        if chosen.only is None or demo.name in chosen.only:
            path = write_demo(demo, chosen.folder)
            sys.stdout.write(f"{path.name}: {path.stat().st_size} bytes\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
