"""The command line: reads arguments, prints results. Nothing is measured here."""

from __future__ import annotations

import contextlib
import shutil
import sys
import traceback
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TextIO

import click

from imujump import contract, spreadsheet
from imujump.display_units import glyphs_for
from imujump.errors import ImuJumpError
from imujump.model import Analysis
from imujump.progress import PatientBar
from imujump.sheet import attempt_sheets
from imujump.table import Named, attempts_table
from imujump.wording import sentence

PIPED_WIDTH = 100
"""Characters of a line when the output is no terminal (own choice: fits a printed page)."""


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="imujump", message="%(prog)s %(version)s")
def main() -> None:
    """Measure approach jumps from motion sensors worn on both shanks and the pelvis.

    Type "imujump analyse --help" for how to measure your recordings.
    """


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
