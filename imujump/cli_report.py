"""The command that writes an athlete's page."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from imujump.cli_options import store_option
from imujump.cli_store import known_athlete, opened
from imujump.screen_table import shown

DAY = click.DateTime(["%Y-%m-%d"])
TASKS = ("one_foot", "two_foot", "standing")


@click.command()
@click.argument("name", metavar="ATHLETE")
@click.option("--from", "since", type=DAY, help="The first day (YYYY-MM-DD).")
@click.option("--to", "until", type=DAY, help="The last day (YYYY-MM-DD).")
@click.option("--task", type=click.Choice(TASKS), help="The kind of jump; the most usual one else.")
@click.option("--aim", metavar="TEXT", default="", help="The next aim, in your words.")
@click.option("--cue", metavar="TEXT", default="", help="The cue to keep, in your words.")
@click.option(
    "-o",
    "--output",
    "path",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Where to write it; named after athlete and day in this folder else.",
)
@store_option
def report(
    name: str,
    since: datetime | None,
    until: datetime | None,
    task: str | None,
    aim: str,
    cue: str,
    path: Path | None,
    place_of_store: str | None,
) -> None:
    """Write one page for an athlete: what changed and whether beyond error, cue, next aim.

    It is one HTML file that opens in any browser and prints on one sheet of A4. Without --aim or
    --cue there is a line to write on; a cue that surely went with higher jumps is named. An older
    report of the same name is replaced, no other file.

    \b
    Examples:
      imujump report "Ada Bell" --aim "Two more ladders, fast ones first"
      imujump report "Ada Bell" --from 2026-01-01 --to 2026-03-31 --cue "Low into plant" -o ada.html
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    with opened(place_of_store) as store:
        from imujump.report import report_file_name, report_html, report_of, write_report
        from imujump.sessions.records import Task

        found = report_of(
            store,
            known_athlete(store, name),
            None if since is None else since.date(),
            None if until is None else until.date(),
            task=None if task is None else Task(task),
            aim=aim,
            cue=cue,
        )
        if path is None:
            today = datetime.now().astimezone().date()
            path = Path(report_file_name(found.name, today))
        write_report(report_html(found), path)
    click.echo(shown(f"{path}: report of {found.name}, {found.about}."))
