"""The command that fills a store with an invented club and shows its pages."""

from __future__ import annotations

import contextlib
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from imujump.cli_options import told
from imujump.progress import PatientBar
from imujump.screen_table import shown

if TYPE_CHECKING:
    from imujump.demo.truth import Seasons


@click.command()
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    help="Where the club is kept; a folder among your caches if you name none.",
)
@click.option("--fresh", is_flag=True, help="Throw an earlier demo club away and make it anew.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
def demo(folder: Path | None, fresh: bool, no_browser: bool) -> None:
    """Look at an invented club: eight athletes, half a year.

    Their sessions are simulated, recorded, measured and kept exactly as yours would be, in a
    store of their own: yours is not touched. That takes some minutes, once; then the pages are
    served until you press Ctrl-C. What is really true of the club stands beside the store in
    club_truth.json.

    \b
    Examples:
      imujump demo                      make it if need be, and look at it
      imujump demo --folder club        the same in a folder of your choice
      imujump demo --fresh              make it anew; the season then ends today
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    with told():
        from imujump.demo.pages import serving, show
        from imujump.demo.place import default_folder, prepared

        place = prepared(folder or default_folder())
        store = _club(place, fresh)
        click.echo(shown(f'Its store, for other commands: --store "{store}"'))
        with serving(place, store) as (address, server):
            click.echo(f"Demo club: {address} (end with Ctrl-C)")
            if not no_browser:
                show(address)
            with contextlib.suppress(KeyboardInterrupt):
                server.wait()


def _club(folder: Path, fresh: bool) -> Path:
    """Return the store, filled if it is not."""
    from imujump.demo import truth
    from imujump.demo.club import CLUB_PLAN, SEED
    from imujump.demo.place import STORE_NAME, clear, strangers, told_truth
    from imujump.errors import StoreError
    from imujump.pipeline_version import pipeline_version

    if fresh:
        others = strangers(folder)
        if others:
            raise StoreError(
                str(folder / STORE_NAME),
                f"it also holds {', '.join(others)}, who is not of the demo club",
                "choose another --folder, or let imujump forget take them out first",
            )
        clear(folder)
    found = told_truth(folder)
    version = pipeline_version()
    if found is not None and found["complete"]:
        if found.get("imujump") != version:
            click.echo("Another version made this demo club; --fresh makes it anew.")
        return folder / STORE_NAME
    ends_on = datetime.now().astimezone().date()
    if found is not None:
        ends_on = date.fromisoformat(found["ends_on"])
    club = truth.seasons(CLUB_PLAN, ends_on, SEED)
    document = truth.as_document(club, ends_on, SEED, version, complete=False)
    if found is not None and found != document:
        raise StoreError(
            str(folder), "another version began to make this club", "make it anew with --fresh"
        )
    truth.write_truth(folder, document)
    _fill(folder, club)
    truth.write_truth(folder, {**document, "complete": True})
    return folder / STORE_NAME


def _fill(folder: Path, club: Seasons) -> None:
    from imujump.demo.club import SEED
    from imujump.demo.filling import fill

    sessions = sum(len(trainings) for _, trainings in club)
    click.echo(f"{len(club)} athletes, {sessions} sessions: this takes some minutes, once.")
    try:
        with PatientBar(sessions) as bar:
            fill(folder, club, SEED, begun=bar.begin)
    except KeyboardInterrupt:
        click.echo("Stopped. What was made stays; imujump demo goes on from there.", err=True)
        raise click.exceptions.Exit(1) from None
