"""The commands that deal with sensors: arguments in, texts out. Nothing is measured here."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from imujump.display_units import glyphs_for
from imujump.errors import ImuJumpError
from imujump.model import Placement
from imujump.wording import PLACEMENTS, sentence

if TYPE_CHECKING:
    from imujump.capture.check_words import SensorJudgement
    from imujump.capture_job import Job, Wish
    from imujump.live import Snapshot

FRAMES_PER_S = 10
"""How often the terminal is drawn anew (own choice: as fast as figures can be read)."""

PIPED_WIDTH = 120
"""Characters of a line when the output is no terminal (own choice)."""

PLACES = tuple(str(placement) for placement in Placement)

FILE = click.Path(dir_okay=False, path_type=Path)
OLD_FILE = click.Path(exists=True, path_type=Path)


def _sensor_options(command: Callable[..., None]) -> Callable[..., None]:
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
@_sensor_options
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
    places = {}
    for serial, place in placed:
        if place not in PLACES:
            raise click.BadParameter(
                f"{place!r} is not one of {', '.join(PLACES)}", param_hint="--place"
            )
        places[serial] = Placement(place)
    wish = Wish(
        emulate=emulate or played is not None, emulate_file=played, profiles=profiles, memory=memory
    )
    with _told():
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


@click.command()
@click.argument("file", required=False, type=FILE)
@click.option(
    "--replay", metavar="FILE", type=OLD_FILE, help="Replay a recording instead; needs no sensors."
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.0, min_open=True),
    default=1.0,
    show_default=True,
    help="Pace of the replay: 1 is real time, 4 four times as fast.",
)
@click.option("--rate", "rate_hz", type=float, metavar="HZ", help="Samples a second.")
@click.option(
    "--sensor",
    "chosen",
    nargs=2,
    multiple=True,
    metavar="SERIAL PLACE",
    help="Use this sensor at this place; give it for each. Default: all that have a place.",
)
@_sensor_options
def capture(
    file: Path | None,
    replay: Path | None,
    speed: float,
    rate_hz: float | None,
    chosen: tuple[tuple[str, str], ...],
    emulate: bool,
    played: Path | None,
    profiles: tuple[Path, ...],
) -> None:
    """Record from the sensors and show steps and jumps while they happen.

    FILE is the new recording; without it, the date and time name one in this folder. A replay
    is recorded only into a FILE that you name.

    The terminal shows every sensor, the last steps and the last jumps. Press the space bar to
    set a mark; type a text and press Enter to leave a note, stamped with its first key. Press
    Ctrl-C to end: the sensors are stopped and the file is closed.

    \b
    Examples:
      imujump capture tuesday.imujump         record
      imujump capture --emulate               try everything without hardware
      imujump capture --replay tuesday.imujump --speed 4
                                              see a recording as if it happened now

    Exit status: 0 ended in good order, 1 could not go on (told in a sentence), 2 the command
    was not understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    from imujump.capture_job import Wish

    places = {}
    for serial, place in chosen:
        if place not in PLACES:
            raise click.BadParameter(
                f"{place!r} is not one of {', '.join(PLACES)}", param_hint="--sensor"
            )
        places[serial] = Placement(place)
    wish = Wish(
        replay=replay,
        speed=speed,
        emulate=emulate or played is not None,
        emulate_file=played,
        rate_hz=rate_hz,
        profiles=profiles,
        chosen=places or None,
    )
    if file is None and replay is None:
        file = Path(datetime.now().astimezone().strftime("%Y-%m-%d_%H%M%S.imujump"))
    with _told():
        last = asyncio.run(_captured(wish, file))
    click.echo(closing_sentence(last, file))


def closing_sentence(last: Snapshot, file: Path | None) -> str:
    """Say what was recorded where."""
    from imujump.display_units import clock_time

    jumps = {0: "no jump", 1: "1 jump"}.get(last.attempt_count, f"{last.attempt_count} jumps")
    told = f"{clock_time(last.time_s)} min, {jumps}"
    if last.marks:
        told += f", {last.marks} marks" if last.marks > 1 else ", 1 mark"
    if last.recording is None or file is None:
        return f"Shown: {told}; nothing was recorded."
    lost = sum(state.lost for state in last.sensors)
    told += f"; {lost} packets of the sensors were lost" if lost else ""
    text = f"Recorded: {told}, in {last.recording.path}."
    return f"{text} {last.recording.sentence}" if last.recording.sentence else text


async def _captured(wish: Wish, file: Path | None) -> Snapshot:
    """Run a capture on this terminal."""
    import imujump.capture_job as jobs
    from imujump.keyboard import Keyboard, NoteLine

    # The engine's thread must not keep the next step waiting.
    sys.setswitchinterval(5e-4)
    running: list[Job] = []
    note = NoteLine()
    view = _View()

    def pressed(key: str) -> None:
        if running:
            session = running[0].session
            typed = note.press(key, session.now_s())
            if typed is not None:
                session.mark(typed.text, typed.time_s)
            view.typed = note.text

    def interrupt() -> None:
        if running:
            running[0].source.end()
        elif task is not None:
            task.cancel()

    task = asyncio.current_task()
    with contextlib.ExitStack() as stack:
        stack.enter_context(_interrupts(interrupt))
        stack.enter_context(Keyboard(pressed))
        stack.enter_context(view)
        try:
            return await jobs.capture(wish, file, view.show, running.append)
        except asyncio.CancelledError:
            raise click.exceptions.Exit(1) from None


@contextlib.contextmanager
def _interrupts(act: Callable[[], None]) -> Iterator[None]:
    """Let Ctrl-C and a request to terminate end a capture in good order."""
    loop = asyncio.get_running_loop()
    before = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        before[number] = signal.signal(number, lambda *_: loop.call_soon_threadsafe(act))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _View:
    """Shows a session on the standard output, whatever that is."""

    def __init__(self) -> None:
        from rich.console import Console
        from rich.live import Live

        from imujump.capture_screen import PlainLines

        self.typed = ""
        self._glyphs = glyphs_for(sys.stdout.encoding)
        self._state: Mapping[str, Any] | None = None
        self._plain = PlainLines(self._glyphs)
        self._live: Live | None = None
        if sys.stdout.isatty():
            self._live = Live(
                get_renderable=self._drawn,
                console=Console(),
                refresh_per_second=FRAMES_PER_S,
                transient=False,
            )

    def __enter__(self) -> _View:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(self, *problem: object) -> None:
        if self._live is not None:
            self._live.stop()

    def show(
        self, state: Mapping[str, Any], events: Sequence[Mapping[str, Any]], missed: int
    ) -> None:
        self._state = state
        if self._live is None:
            for line in self._plain.lines(state, events, missed):
                click.echo(line)

    def _drawn(self) -> Any:
        from rich.text import Text

        from imujump.capture_screen import screen

        if self._state is None:
            return Text("Looking for the sensors …")
        return screen(self._state, self._glyphs, self.typed)


@click.command()
def watch() -> None:
    """Look at a capture that is running in another window.

    Shows what the capture shows. Ending this, or a crash of it, does not disturb the capture;
    look again as often as you like.

    \b
    Examples:
      imujump watch

    Exit status: 0 the capture ended, 1 there is none, 2 the command was not understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    from imujump.capture.one_capture import DEFAULT_ADAPTER
    from imujump.capture.viewer import CaptureViewer, find_capture
    from imujump.capture_job import EMULATED, REPLAYED
    from imujump.errors import NoCaptureError

    with _told():
        found = None
        for adapter in (DEFAULT_ADAPTER, EMULATED, REPLAYED):
            with contextlib.suppress(NoCaptureError):
                found = find_capture(adapter)
                break
        if found is None:
            raise NoCaptureError(DEFAULT_ADAPTER)
        with (
            contextlib.suppress(KeyboardInterrupt),
            CaptureViewer(found) as viewer,
            _View() as view,
        ):
            while (seen := viewer.read()) is not None:
                if seen.state:
                    view.show(seen.state, seen.events, seen.missed)


@contextlib.contextmanager
def _told() -> Iterator[None]:
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
