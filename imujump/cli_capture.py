"""The commands that capture and look on: arguments in, texts out. Nothing is measured here."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from imujump.cli_options import OLD_FILE, placements, sensor_options, told

if TYPE_CHECKING:
    from imujump.capture_job import Job, Wish
    from imujump.live import Snapshot

FILE = click.Path(dir_okay=False, path_type=Path)

KEYS = "Space bar: mark   text and Enter: note   Ctrl-C: end"
WATCH_KEYS = "Ctrl-C: stop looking on; the capture goes on"


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
@sensor_options
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

    places = placements(chosen, "--sensor")
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
    with told():
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
    from imujump.session_view import SessionView

    # The engine's thread must not keep the next step waiting.
    sys.setswitchinterval(5e-4)
    running: list[Job] = []
    note = NoteLine()
    view = SessionView(KEYS)

    def pressed(key: str) -> None:
        if running:
            session = running[0].session
            typed = note.press(key, session.now_s())
            if typed is not None:
                session.mark(typed.text, typed.time_s)
            view.typed = note.text

    def interrupt() -> None:
        if running:
            if note.text:
                pressed("\n")
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
    from imujump.session_view import SessionView

    with told():
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
            SessionView(WATCH_KEYS) as view,
        ):
            while (seen := viewer.read()) is not None:
                if seen.state:
                    view.show(seen.state, seen.events, seen.missed)
