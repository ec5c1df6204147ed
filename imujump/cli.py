"""The command line: reads arguments, prints results. Nothing is measured here."""

from __future__ import annotations

import contextlib
import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from imujump import (
    cli_athletes,
    cli_capture,
    cli_demo,
    cli_report,
    cli_sensors,
    cli_sessions,
    cli_stored,
    contract,
    spreadsheet,
)
from imujump.cli_options import failure
from imujump.display_units import glyphs_for
from imujump.errors import ImuJumpError
from imujump.model import Analysis
from imujump.progress import PatientBar
from imujump.sheet import attempt_sheets
from imujump.table import Named, attempts_table
from imujump.wording import sentence

if TYPE_CHECKING:
    from imujump.validation.pairing import Tally

PIPED_WIDTH = 100
"""Characters of a line when the output is no terminal (own choice: fits a printed page)."""


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="imujump", message="%(prog)s %(version)s")
def main() -> None:
    """Measure approach jumps from motion sensors worn on both shanks and the pelvis.

    Type "imujump capture --help" for how to record, "imujump analyse --help" for how to measure
    your recordings, "imujump add --help" for how to keep them, and "imujump validate --help" for
    how well that agrees with recordings whose truth is known.
    """


for _command in (
    cli_sensors.sensors,
    cli_capture.capture,
    cli_capture.watch,
    cli_sessions.add,
    cli_athletes.athletes,
    cli_sessions.sessions,
    cli_sessions.confirm,
    cli_sessions.refuse,
    cli_report.report,
    cli_stored.export,
    cli_stored.forget,
    cli_demo.demo,
):
    main.add_command(_command)


@main.command()
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=click.Path())
@click.option("--all", "everything", is_flag=True, help="Under the table, show every metric.")
@click.option("--csv", "as_csv", is_flag=True, help="Write rows for a spreadsheet instead.")
@click.option("--json", "as_json", is_flag=True, help="Write data for other programs instead.")
@click.option(
    "--columns",
    "columns_file",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Which column holds what, for CSV and Parquet tables (a TOML file; see README).",
)
def analyse(
    paths: tuple[str, ...],
    everything: bool,
    as_csv: bool,
    as_json: bool,
    columns_file: Path | None,
) -> None:
    """Find the jumps in recordings and measure each of them.

    PATH is a recording file, a Motion-BIDS "..._motion.tsv" or a folder that holds any of
    these; or a CSV or Parquet table. Give as many as you like.

    You get one line for each jump. Each number comes with its uncertainty; where something
    could not be measured, the reason stands underneath. Times count from the recording's
    first sample.

    \b
    Examples:
      imujump analyse tuesday.imujump         the jumps of one recording
      imujump analyse season/                 all recordings of a folder
      imujump analyse --all tuesday.imujump   every metric of each jump
      imujump analyse --csv season/ > season.csv
                                              a table for your spreadsheet
      imujump analyse --columns map.toml phone.csv
                                              a table from another device

    Exit status: 0 all recordings were analysed, 1 at least one could not be (it is named
    with what to do about it, the others are still analysed), 2 the command was not understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    if as_csv and as_json:
        raise click.UsageError("--csv and --json exclude each other; choose one.")
    if everything and (as_csv or as_json):
        raise click.UsageError("--all is for the table; --csv and --json always hold everything.")
    run = _Run(paths, columns_file)
    if as_json:
        for name, analysis in run:
            _write(contract.line(analysis, name))
    elif as_csv:
        _print_csv(run)
    else:
        _print_table(run, everything)
    if run.failed:
        raise click.exceptions.Exit(1)


@main.command()
@click.argument("folder", required=False, type=click.Path(exists=True, path_type=Path))
@click.option(
    "--page",
    "page_file",
    metavar="FILE",
    default="imujump_agreement.html",
    show_default=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="Where to write the page with plots and methods.",
)
def validate(folder: Path | None, page_file: Path) -> None:
    """Show how well the program agrees with recordings whose truth is known.

    Without FOLDER a fixed set of simulated jumps is made and measured: the same on every
    machine, half a minute. With FOLDER, all its recordings that have a truth file beside
    them (NAME_truth.json) are measured; "recordings_demo" is such a folder.

    You get a table, one line for each metric, and a page with plots for your browser.

    \b
    Examples:
      imujump validate                        simulated jumps
      imujump validate recordings_demo        the demo recordings
      imujump validate --page agreement.html my_recordings/

    Exit status: 0 all was compared, 1 a recording could not be (it is named), 2 the command
    was not understood.
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    from datetime import datetime

    from imujump.validation import words
    from imujump.validation.page import page
    from imujump.validation.pairing import Tally

    tally, failures = Tally(), []
    for sentence_of_failure in _compare(folder, tally):
        failures.append(sentence_of_failure)
        _tell(sentence_of_failure)
    if not tally.recordings:
        raise click.exceptions.Exit(1)
    _print_agreement(words.HEADS, words.rows(tally))
    click.echo(_encodable(words.counts(tally), sys.stdout))
    source = f"Recordings in {folder}." if folder else "A fixed set of simulated approach jumps."
    try:
        page_file.write_text(
            page(tally, source, failures, datetime.now().astimezone()), encoding="utf-8"
        )
    except OSError as error:
        _tell(failure(str(page_file), error))
        raise click.exceptions.Exit(1) from error
    click.echo(_encodable(f"Plots and methods: {page_file}", sys.stdout))
    if failures:
        raise click.exceptions.Exit(1)


def _compare(folder: Path | None, tally: Tally) -> Iterator[str]:
    """Measure recordings and compare them with their truth; yields a sentence on each failure."""
    from imujump.pipeline.engine import analyse
    from imujump.validation import protocol
    from imujump.validation.folder import with_truth
    from imujump.validation.truths import read_truth, truth_file

    if folder is None:
        with PatientBar(protocol.JUMPS) as bar:
            for jump in protocol.recordings():
                bar.begin(jump.name)
                tally.add(jump.name, analyse(jump.recording), jump.truth)
        return
    try:
        paths = with_truth(folder)
    except ImuJumpError as error:
        yield failure(str(folder), error)
        return
    with PatientBar(len(paths)) as bar:
        for path in paths:
            bar.begin(path.name)
            try:
                truth = read_truth(truth_file(path))
                analysis = analyse_recording(path, None)
            except Exception as error:
                bar.hide()
                yield failure(str(path), error)
                continue
            tally.add(path.name, analysis, truth)


def _print_agreement(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for head in heads:
        table.add_column(head, justify="right" if head else "left", no_wrap=not head)
    for row in rows:
        table.add_row(*row)
    console = Console(width=None if sys.stdout.isatty() else PIPED_WIDTH + 20)
    console.print(table)


class _Run:
    """Analyses the recordings under some paths one after the other.

    Iterating yields name and analysis of each that succeeds; each that fails is told on
    standard error and sets ``failed``.
    """

    def __init__(self, paths: Iterable[str], column_map: Path | None) -> None:
        self._paths = tuple(paths)
        self._column_map = column_map
        self.failed = False

    def __iter__(self) -> Iterator[Named]:
        recordings = [recording for path in self._paths for recording in self._find(path)]
        with PatientBar(len(recordings)) as bar:
            for recording in recordings:
                bar.begin(recording.name)
                try:
                    analysis = analyse_recording(recording, self._column_map)
                except Exception as error:
                    bar.hide()
                    self._fail(str(recording), error)
                    continue
                bar.hide()
                yield str(recording), analysis

    def _find(self, path: str) -> list[Path]:
        try:
            return find_recordings(path)
        except Exception as error:
            self._fail(path, error)
            return []

    def _fail(self, path: str, error: Exception) -> None:
        self.failed = True
        _tell(failure(path, error))


def find_recordings(path: str) -> list[Path]:
    """List the recordings under one path as the user typed it."""
    # Loading the readers and the pipeline takes a second that --help need not spend.
    from imujump.recording import files

    return files.find_recordings([path])


def analyse_recording(path: Path, column_map: Path | None) -> Analysis:
    """Open one recording and run the pipeline over it."""
    from imujump.pipeline.engine import analyse
    from imujump.recording import files

    source = files.open_recording(path, column_map)
    with contextlib.ExitStack() as stack:
        if close := getattr(source, "close", None):
            stack.callback(close)
        return analyse(source)


def _print_csv(run: _Run) -> None:
    _write(spreadsheet.header())
    for name, analysis in run:
        _write(spreadsheet.rows(name, analysis.attempts))
        if not analysis.attempts:
            _tell(f"{name}: No jump found.")
        for warning in analysis.warnings:
            _tell(f"{name}: {sentence(warning)}")


def _print_table(run: _Run, everything: bool) -> None:
    recordings = list(run)
    if not recordings:
        return
    width = shutil.get_terminal_size((PIPED_WIDTH, 24)).columns
    glyphs = glyphs_for(sys.stdout.encoding)
    text = attempts_table(recordings, width, glyphs)
    if everything:
        text += "\n" + attempt_sheets(recordings, width, glyphs)
    click.echo(_encodable(text, sys.stdout), nl=False)


def _write(text: str) -> None:
    """Write data in UTF-8 with exactly its own line ends, and hand it on at once."""
    sys.stdout.buffer.write(text.encode("utf-8", "backslashreplace"))
    sys.stdout.buffer.flush()


def _tell(text: str) -> None:
    click.echo(_encodable(text, sys.stderr), err=True)


def _encodable(text: str, stream: TextIO) -> str:
    """Spell out characters that the stream's encoding lacks, for instance in file names."""
    encoding = stream.encoding or "ascii"
    return text.encode(encoding, "backslashreplace").decode(encoding)
