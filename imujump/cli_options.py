"""What commands share: options for sensors and for the store, and errors told in a sentence."""

from __future__ import annotations

import contextlib
import traceback
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


def failure(path: str, error: Exception) -> str:
    """Say in one sentence which file failed, where, and what to do.

    An error that the package did not raise on purpose is a fault of the program; it is told
    with its place in the code, so that it can be reported.
    """
    if isinstance(error, ImuJumpError):
        text = str(error)
        told = text if path in text else f"{path}: {text}"
    elif isinstance(error, OSError) and error.strerror:
        told = f"{path}: {error.strerror.lower()}; check the file and who may read it."
    else:
        frame = traceback.extract_tb(error.__traceback__)[-1]
        told = (
            f"{path}: the program failed at {Path(frame.filename).name} line {frame.lineno} "
            f"({type(error).__name__}: {error}); please report this together with the recording."
        )
    return " ".join(told.split())


def store_option(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the option that says where sessions are kept."""
    option = click.option(
        "--store",
        "place_of_store",
        metavar="FILE|URL",
        envvar="IMUJUMP_STORE",
        help="Where sessions are kept: a file, or postgresql://user@host/database.",
    )
    return option(command)
