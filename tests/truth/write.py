"""Command that generates development recordings: ``python -m tests.truth.write --help``."""

from __future__ import annotations

import os
from pathlib import Path

import click

from imujump.model import TakeOffStyle

from .clips import cut_names, run_up_names
from .folder import finish_folder, start_folder, write_recording
from .record import marker_recording, run_up_recording
from .runner import runner_recording

SHARED = Path(os.environ.get("IMUJUMP_SHARED", Path(__file__).resolve().parents[3] / "shared"))
EVERY_NTH_IN_OTHER_UNITS = 9


@click.group()
def main() -> None:
    """Generate virtual recordings with truth."""


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--draws", default=2, show_default=True, help="Sensor draws per run-up clip.")
@click.option("--seed", default=7000, show_default=True, help="Seed of the first recording.")
def people(folder: Path, draws: int, seed: int) -> None:
    """Write all clips of people: run-up jumps, standing jumps, walk, run."""
    data = SHARED / "data"
    start_folder(
        folder,
        "Virtual recordings from open motion capture",
        "derived from the clips' own licences (Apache-2.0; free use with credit)",
    )
    subjects: dict[str, str] = {}
    jobs: list[tuple[str, tuple[str, str, int] | None]]
    jobs = [(name, None) for _ in range(draws) for name in run_up_names(data)]
    jobs += [(part[0], part) for part in cut_names(data)]
    for number, (name, part) in enumerate(jobs):
        subject = f"c{number + 1:02d}"
        if part is None:
            recording = run_up_recording(data, name, seed + number)
        else:
            recording = marker_recording(data, part, seed + number)
        other_units = number % EVERY_NTH_IN_OTHER_UNITS == EVERY_NTH_IN_OTHER_UNITS - 1
        write_recording(folder, subject, recording, other_units=other_units)
        subjects[subject] = name
    finish_folder(folder, subjects)
    click.echo(f"{len(subjects)} recordings in {folder}")


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--count", default=40, show_default=True, help="Number of recordings.")
@click.option("--seed", default=8100, show_default=True, help="Seed of the first recording.")
def runner(folder: Path, count: int, seed: int) -> None:
    """Write simulated jumps, one-foot and two-foot in turn, half with a shorter last step."""
    start_folder(folder, "Virtual recordings of a simulated runner-jumper", "CC0")
    subjects: dict[str, str] = {}
    for number in range(count):
        take_off = TakeOffStyle.TWO_FOOT if number % 2 else TakeOffStyle.ONE_FOOT
        subject = f"r{number + 1:02d}"
        recording = runner_recording(seed + number, take_off, shorter=number % 4 >= 2)
        other_units = number % EVERY_NTH_IN_OTHER_UNITS == EVERY_NTH_IN_OTHER_UNITS - 1
        write_recording(folder, subject, recording, other_units=other_units)
        subjects[subject] = str(take_off)
    finish_folder(folder, subjects)
    click.echo(f"{count} recordings in {folder}")


if __name__ == "__main__":
    main()
