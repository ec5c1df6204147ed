"""The command that lists, places and checks sensors: arguments in, texts out."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from imujump.cli_options import placements, sensor_options, told
from imujump.wording import PLACEMENTS, sentence

if TYPE_CHECKING:
    from imujump.capture.check_words import SensorJudgement
    from imujump.capture_job import Wish

PIPED_WIDTH = 120
"""Characters of a line when the output is no terminal (own choice)."""


@click.command()
@click.option(
    "--place",
    "placed",
    nargs=2,
    multiple=True,
    metavar="SERIAL PLACE",
    help="Remember where a sensor is worn: left_shank, right_shank or pelvis.",
)
@click.option("--check", is_flag=True, help="Check each sensor while the athlete moves.")
@sensor_options
def sensors(
    placed: tuple[tuple[str, str], ...],
    check: bool,
    emulate: bool,
    played: Path | None,
    profiles: tuple[Path, ...],
) -> None:
    """List the sensors in reach, remember where they are worn, check them.

    Without options, every sensor that is heard is listed with its name, serial number, battery,
    signal strength, and where it is worn. Say that once for each with --place; it is remembered.

    With --check the athlete stands, walks and stamps as told, and each sensor is judged: good,
    look at it, or not usable, with the reason and what to do.

    \b
    Examples:
      imujump sensors                         what is in reach
      imujump sensors --place 1A2F left_shank --place 1A30 right_shank
      imujump sensors --check                 before the first run-up
      imujump sensors --check --emulate       try it without hardware

    Exit status: 0 all is well, 1 sensors could not be used or the check found one that is not
    usable, 2 the command was not understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    from imujump.capture.placement_memory import PlacementMemory
    from imujump.capture_job import Wish

    memory = PlacementMemory()
    places = placements(placed, "--place")
    wish = Wish(
        emulate=emulate or played is not None,
        emulate_file=played,
        emulate_scenes="check" if check else "jumps",
        profiles=profiles,
        memory=memory,
    )
    with told():
        if places:
            memory.remember(places)
            for serial, placement in places.items():
                click.echo(f"{serial}: {PLACEMENTS[placement]}")
            if not check:
                return
        if check:
            _print_check(wish)
        else:
            _print_found(wish)


def _print_found(wish: Wish) -> None:
    from imujump.capture.one_capture import OneCapture
    from imujump.capture_job import find, radio_of

    async def look() -> list[tuple[str, ...]]:
        async with radio_of(wish) as way:
            found = await find(wish, way)
        rows: list[tuple[str, ...]] = []
        for sensor in found:
            place = PLACEMENTS[sensor.placement] if sensor.placement else "not known yet"
            charge = "-" if sensor.battery_percent is None else f"{sensor.battery_percent} %"
            signal_dbm = "-" if sensor.rssi_dbm is None else f"{sensor.rssi_dbm} dBm"
            rows.append((sensor.name, sensor.serial, charge, signal_dbm, place))
            if sensor.problem:
                click.echo(sensor.problem, err=True)
        return rows

    with OneCapture(wish.adapter):
        rows = asyncio.run(look())
    if not rows:
        click.echo(
            "No sensor was heard: switch the sensors on, bring them close, and end their "
            "connections to other phones and computers.",
            err=True,
        )
        raise click.exceptions.Exit(1)
    _print_table(("name", "serial", "battery", "signal", "worn at"), rows)


def _print_table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for head in heads:
        table.add_column(head, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    Console(width=None if sys.stdout.isatty() else PIPED_WIDTH).print(table)


def _print_check(wish: Wish) -> None:
    from imujump.sensor_check_run import run_check

    judgements = asyncio.run(run_check(wish, click.echo))
    for judgement in judgements:
        for line in judgement_lines(judgement):
            click.echo(line)
    if any(judgement.verdict.badness == 2 for judgement in judgements):
        raise click.exceptions.Exit(1)


def judgement_lines(judgement: SensorJudgement) -> Iterator[str]:
    """Say how a sensor stands, and under it what is not good about it and what to do."""
    yield f"{PLACEMENTS[judgement.placement]} ({judgement.serial}): {judgement.verdict}"
    for finding in judgement.findings:
        if finding.verdict.badness:
            remedy = f" {sentence(finding.remedy)}" if finding.remedy else ""
            yield f"  {finding.item}, {finding.verdict}: {sentence(finding.reason)}{remedy}"
