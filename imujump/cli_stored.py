"""The commands that take things out of the store: export them, or erase a person."""

from __future__ import annotations

from pathlib import Path

import click

from imujump.cli_options import failure, store_option
from imujump.cli_store import count, known_athlete, opened
from imujump.progress import PatientBar
from imujump.screen_table import shown, tell

NEW_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.option("--athlete", "name", metavar="NAME", help="Of this athlete only.")
@click.option("--csv", "csv_file", metavar="FILE", type=NEW_FILE, help="A table for spreadsheets.")
@click.option("--parquet", "parquet_file", metavar="FILE", type=NEW_FILE, help="The same, typed.")
@click.option(
    "--bids",
    "bids_folder",
    metavar="FOLDER",
    type=click.Path(file_okay=False, path_type=Path),
    help="The recordings as Motion-BIDS, people as numbers.",
)
@store_option
def export(
    name: str | None,
    csv_file: Path | None,
    parquet_file: Path | None,
    bids_folder: Path | None,
    place_of_store: str | None,
) -> None:
    """Write what is kept for other programs.

    The tables have one row an attempt: what is known of it and its session, then each metric with
    its standard deviation and the reason when it is missing, in SI units. The Motion-BIDS data
    set holds the recordings themselves with a table of participants, without names.

    \b
    Examples:
      imujump export --csv season.csv
      imujump export --athlete "Ada Bell" --parquet ada.parquet --bids ada_recordings/

    Exit status: 0 all was written, 1 something was not (it is named), 2 the command was not
    understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    if csv_file is None and parquet_file is None and bids_folder is None:
        raise click.UsageError("Say what to write: --csv FILE, --parquet FILE or --bids FOLDER.")
    failed = False
    with opened(place_of_store) as store:
        from imujump.session_export import export_bids, export_csv, export_parquet

        athlete_id = None if name is None else known_athlete(store, name).athlete_id
        overviews = store.sessions(athlete_id)[::-1]
        for write, path in ((export_csv, csv_file), (export_parquet, parquet_file)):
            if path is None:
                continue
            with PatientBar(len(overviews)) as bar:
                rows = write(store, overviews, path, bar.begin)
            click.echo(shown(f"{path}: {count(rows, 'attempt')}."))
        if bids_folder is not None:
            written = 0
            with PatientBar(1) as bar:
                for told in export_bids(store, overviews, bids_folder, bar.begin):
                    bar.hide()
                    if isinstance(told, Path):
                        written += 1
                    else:
                        failed = True
                        tell(failure(str(getattr(told, "path", "")), told))
            click.echo(shown(f"{bids_folder}: {count(written, 'recording')}."))
    if failed:
        raise click.exceptions.Exit(1)


@click.command()
@click.argument("name", metavar="ATHLETE")
@click.option("--yes", is_flag=True, help="Do not ask first.")
@store_option
def forget(name: str, yes: bool, place_of_store: str | None) -> None:
    """Erase an athlete: the person, all results and notes, and the recordings' files.

    It asks first, and says what was erased and what could not be. It cannot be taken back.
    """
    with opened(place_of_store) as store:
        from imujump.forgetting import forget as erase
        from imujump.forgetting import recordings_of

        athlete = known_athlete(store, name)
        files = recordings_of(store, athlete)
        sessions = store.sessions(athlete.athlete_id)
        attempts = sum(each.attempts for each in sessions)
        click.echo(
            shown(
                f"This erases {athlete.name} for good: {count(len(sessions), 'session')}, "
                f"{count(attempts, 'attempt')}, all notes and body measures, and "
                f"{count(len(files), 'recording')} with the files."
            )
        )
        for recording in files:
            click.echo(shown(f"  {recording.path}"))
        if not yes and not click.confirm("Erase all this?"):
            click.echo("Nothing was erased.")
            raise click.exceptions.Exit(1)
        gone = erase(store, athlete)
    told = gone.erased
    click.echo(
        shown(
            f"Erased: {told.name}, {count(told.sessions, 'session')}, "
            f"{count(told.attempts, 'attempt')}, {count(told.notes, 'note')}, "
            f"{count(told.body_measures, 'body measure')}, {count(len(gone.files), 'file')}."
        )
    )
    for sentence in gone.left:
        click.echo(shown(sentence))
