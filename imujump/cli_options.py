"""What the commands on sensors share: options that name sensors, and errors told in a sentence."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import click

from imujump.errors import ImuJumpError
from imujump.model import Placement

PLACES = tuple(str(placement) for placement in Placement)

OLD_FILE = click.Path(exists=True, path_type=Path)


def sensor_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options that say which sensors to use."""
    for option in (
        click.option(
            "--profile",
            "profiles",
            metavar="FILE",
            multiple=True,
            type=OLD_FILE,
            help="A profile of your own sensors (a TOML file or a folder of them; see README).",
        ),
        click.option("--emulate", is_flag=True, help="Use emulated sensors, without hardware."),
        click.option(
            "--play",
            "played",
            metavar="FILE",
            type=OLD_FILE,
            help="What emulated sensors send: this recording, not a simulated athlete's.",
        ),
    ):
        command = option(command)
    return command


def placements(pairs: Iterable[tuple[str, str]], option: str) -> dict[str, Placement]:
    """Read pairs of serial number and place as typed for an option.

    Raises
    ------
    click.BadParameter
        If a place is none.
    """
    found = {}
    for serial, place in pairs:
        if place not in PLACES:
            raise click.BadParameter(
                f"{place!r} is not one of {', '.join(PLACES)}", param_hint=option
            )
        found[serial] = Placement(place)
    return found


@contextlib.contextmanager
def told() -> Iterator[None]:
    """Tell what the package raises on purpose as one sentence, and end with 1."""
    try:
        yield
    except ImuJumpError as error:
        click.echo(" ".join(str(error).split()), err=True)
        raise click.exceptions.Exit(1) from error
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        click.echo(f"{place}{(error.strerror or str(error)).lower()}.", err=True)
        raise click.exceptions.Exit(1) from error
