"""The commands that put recordings into the store and list what is in it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from imujump.cli_options import OLD_FILE, failure, store_option
from imujump.cli_store import alike, count, known_athlete, opened
from imujump.display_units import glyphs_for, value_and_sigma
from imujump.progress import PatientBar
from imujump.screen_table import show_table, shown, tell
from imujump.wording import METRICS, sentence

if TYPE_CHECKING:
    from imujump.bookkeeping import Told
    from imujump.sessions.records import Athlete, Kept, Moved, StoredRecording
    from imujump.sessions.store import SessionStore

TASKS = ("one_foot", "two_foot", "standing")


@click.command()
@click.argument("paths", metavar="RECORDING...", nargs=-1, required=True, type=click.Path())
@click.option("--athlete", "name", metavar="NAME", required=True, help="Who jumped.")
@click.option("--task", type=click.Choice(TASKS), help="What was asked; else told from each jump.")
@click.option("--surface", default="", metavar="TEXT", help="What was jumped on.")
@click.option("--shoe", default="", metavar="TEXT", help="What was worn.")
@click.option("--place", default="", metavar="TEXT", help="Where it was.")
@click.option("--mounting", default="", metavar="TEXT", help="How the sensors were fastened.")
@click.option("--note", default="", metavar="TEXT", help="Anything else about the session.")
@click.option("--mass", "mass_kg", type=float, metavar="KG", help="Body mass on that day.")
@click.option(
    "--from-athlete",
    is_flag=True,
    help='The athlete sent it: it counts only after "imujump confirm".',
)
@click.option("--move", is_flag=True, help="Take it from another athlete, added by mistake.")
@click.option(
    "--columns",
    "columns_file",
    metavar="FILE",
    type=OLD_FILE,
    help="Which column holds what, for CSV and Parquet tables (a TOML file; see README).",
)
@store_option
def add(
    paths: tuple[str, ...],
    name: str,
    task: str | None,
    mass_kg: float | None,
    from_athlete: bool,
    move: bool,
    columns_file: Path | None,
    place_of_store: str | None,
    **words: str,
) -> None:
    """Measure recordings and keep them with the athlete's sessions.

    RECORDING is whatever "imujump analyse" reads, or a folder. A recording that is kept already
    is recognised by its content and not added twice; a newer version of this program measures it
    again, keeps the old figures beside the new, and says what moved; events set by hand are
    carried over. The courtside page's log beside a recording goes in with it.

    Recordings within three hours of each other make one session.

    \b
    Examples:
      imujump add tuesday.imujump --athlete "Ada Bell"
      imujump add inbox/ --athlete "Ada Bell" --from-athlete
      imujump add *.imujump --athlete "Ada Bell" --surface Track --shoe Spikes --mass 63.5

    Exit status: 0 all recordings are kept, 1 at least one is not (it is named with what to do
    about it), 2 the command was not understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    with opened(place_of_store) as store:
        from imujump.bookkeeping import Told
        from imujump.sessions.records import Task

        athlete, is_new = _athlete_for(store, name)
        said = Told(
            task=None if task is None else Task(task),
            words=words,
            from_athlete=from_athlete,
            column_map=columns_file,
        )
        failed = _add_all(store, athlete, paths, said, mass_kg, move)
        if is_new and not store.sessions(athlete.athlete_id):
            store.erase_athlete(athlete.athlete_id)
        elif is_new:
            click.echo(shown(f"{athlete.name} is new here and was added."))
    if failed:
        raise click.exceptions.Exit(1)


def _athlete_for(store: SessionStore, name: str) -> tuple[Athlete, bool]:
    """Find the athlete, or add one whose name is not nearly a known one; tells which it was."""
    found = store.find_athlete(name)
    if found is not None:
        return found, False
    near = alike(store, name)
    if near:
        raise click.UsageError(
            shown(
                f'There is no athlete "{name}", but {" and ".join(near)}; use that name, or add '
                f'the new one first: imujump athletes --add "{name}"'
            )
        )
    return store.add_athlete(name), True


def _add_all(
    store: SessionStore,
    athlete: Athlete,
    paths: Sequence[str],
    said: Told,
    mass_kg: float | None,
    move: bool,
) -> bool:
    from imujump.bookkeeping import add_recording
    from imujump.recording.files import find_recordings
    from imujump.sessions.records import BodyMeasure

    failed = False
    found: list[Path] = []
    for given in paths:
        try:
            found += find_recordings([given])
        except Exception as error:
            failed = True
            tell(failure(given, error))
    with PatientBar(len(found)) as bar:
        for path in found:
            bar.begin(shown(path.name))
            try:
                kept = add_recording(store, path, athlete.athlete_id, said, move=move)
            except Exception as error:
                bar.hide()
                failed = True
                tell(failure(str(path), error))
                continue
            bar.hide()
            _say(path, kept, athlete)
            if mass_kg is not None:
                on = (kept.recording.started_utc or datetime.now(UTC)).date()
                store.add_body_measure(athlete.athlete_id, BodyMeasure(on, mass_kg))
    return failed


def _say(path: Path, kept: Kept, athlete: Athlete) -> None:
    recording = kept.recording
    jumps = count(len(kept.attempt_ids), "jump")
    where = f"session {recording.session_id} of {athlete.name}"
    if kept.is_new:
        text = f"{jumps} kept in {where}"
        if recording.standing.value == "waiting":
            text += f", waiting: imujump confirm {recording.recording_id}"
    elif kept.analysed_again:
        text = f"measured again with version {recording.pipeline_version}, {jumps} in {where}"
    else:
        text = f"kept already, {jumps} in {where}"
        if recording.standing.value != "counted":
            text += f", {recording.standing}"
    click.echo(shown(f"{path}: {text}."))
    if kept.is_new:
        for remark in recording.remarks:
            click.echo(shown(f"  {remark}"))
    for attempt_id, moved in kept.moved.items():
        far = [change for change in moved if change.beyond]
        near = len(moved) - len(far)
        if moved:
            click.echo(
                f"  attempt {attempt_id}: {count(len(far), 'figure')} moved beyond the "
                f"uncertainty, {near} within it."
            )
        for change in far:
            click.echo(shown(f"    {_moved(change)}"))
    for attempt_id in kept.carried:
        click.echo(f"  attempt {attempt_id}: events set by hand are set in the new figures too.")
    for attempt_id, texts in kept.refused.items():
        for text in texts:
            click.echo(shown(f"  attempt {attempt_id}: {sentence(text)}"))
        if attempt_id not in kept.carried:
            click.echo(f"  attempt {attempt_id}: what was set by hand before stays shown.")
    for attempt_id in kept.lost:
        click.echo(f"  attempt {attempt_id}: not found any more; its old figures stay.")


def _moved(change: Moved) -> str:
    """Say what a figure was and is, in display units."""
    words = METRICS.get(change.metric)
    if words is None:
        return f"{change.metric}: {change.old.value} -> {change.new.value}"
    told = []
    for estimate in (change.old, change.new):
        value, sigma = value_and_sigma(estimate, words.unit, words.decimals)
        told.append(f"{value} ± {sigma}" if sigma else value)
    glyphs = glyphs_for(sys.stdout.encoding)
    return glyphs.written(f"{words.label}: {told[0]} -> {told[1]} {words.unit.symbol}".rstrip())


@click.command()
@click.option("--athlete", "name", metavar="NAME", help="Of this athlete only.")
@store_option
def sessions(name: str | None, place_of_store: str | None) -> None:
    """List sessions, newest first: attempts, how many count, how many wait for you."""
    with opened(place_of_store) as store:
        athlete_id = None if name is None else known_athlete(store, name).athlete_id
        overviews = store.sessions(athlete_id)
        if not overviews:
            click.echo('No session yet. Add a recording with imujump add FILE --athlete "NAME".')
            return
        rows = []
        for each in overviews:
            session = each.session
            rows.append(
                (
                    str(session.session_id),
                    f"{session.started_utc.astimezone():%Y-%m-%d %H:%M}",
                    each.athlete_name,
                    str(each.attempts),
                    str(each.counted),
                    str(each.waiting or ""),
                    ", ".join(filter(None, (session.surface, session.shoe, session.place))),
                )
            )
        heads = ("no.", "started", "athlete", "jumps", "count", "wait", "surface, shoe, place")
        show_table(heads, rows)


def _decided(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the numbers of recordings and the store."""
    numbers = click.argument("numbers", metavar="[NUMBER]...", nargs=-1, type=int)
    return numbers(store_option(command))


@click.command()
@_decided
def confirm(numbers: tuple[int, ...], place_of_store: str | None) -> None:
    """Let recordings that athletes sent count; without NUMBER, list those that wait.

    The list tells what the automatic checks noticed: legs, straps, gaps, ranges, jumps, task.
    """
    _decide(numbers, place_of_store, "counted", "counts now")


@click.command()
@_decided
def refuse(numbers: tuple[int, ...], place_of_store: str | None) -> None:
    """Leave recordings out of everything that counts; nothing is deleted.

    Without NUMBER, list those that wait. "imujump confirm" takes it back.
    """
    _decide(numbers, place_of_store, "refused", "is left out")


def _decide(numbers: Sequence[int], place: str | None, standing: str, done: str) -> None:
    with opened(place) as store:
        from imujump.sessions.records import Standing

        for number in numbers:
            recording = store.set_standing(number, Standing(standing))
            click.echo(shown(f"{number} {_whose(store, recording)}: {done}."))
        if numbers:
            return
        waiting = store.waiting()
        if not waiting:
            click.echo("No recording waits.")
        for recording in waiting:
            click.echo(shown(f"{recording.recording_id} {_whose(store, recording)}"))
            for remark in recording.remarks:
                click.echo(shown(f"  {remark}"))


def _whose(store: SessionStore, recording: StoredRecording) -> str:
    session = store.session(recording.session_id)
    name = store.athlete(session.athlete_id).name
    began = (recording.started_utc or session.started_utc).astimezone()
    return f"{name}, {began:%Y-%m-%d %H:%M}, {os.path.basename(recording.path)}"
