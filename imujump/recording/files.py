"""Opens whatever holds a recording, and finds recordings in folders."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from imujump.errors import RecordingError
from imujump.model import SampleSource
from imujump.recording.column_map import ColumnMap, parse_column_map, read_column_map
from imujump.recording.format import is_sqlite
from imujump.recording.motion_bids import MOTION_SUFFIX, open_motion_bids
from imujump.recording.reader import RecordingReader
from imujump.recording.tables import open_csv, open_parquet

RECORDING_SUFFIX = ".imujump"
PARQUET_SUFFIXES = (".parquet", ".pq")
TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
_TABLES = (".csv", ".parquet")


def open_recording(
    path: Path | str, column_map: Path | str | None = None, column_text: str | None = None
) -> SampleSource:
    """Open a recording of any kind that this program reads.

    Parameters
    ----------
    path : Path or str
        A recording file, a Motion-BIDS ``…_motion.tsv`` file, a CSV or a Parquet table.
    column_map : Path or str, optional
        TOML file that names the columns of a foreign table; see
        :mod:`imujump.recording.column_map`.
    column_text : str, optional
        The text of such a file, instead.

    Returns
    -------
    SampleSource
        Samples in SI units; ``info.warnings`` is complete after the last batch.

    Raises
    ------
    RecordingError
        If the file cannot be used; the sentence says why and what to do.
    """
    file = Path(path)
    if file.is_dir():
        raise RecordingError(file, "this is a folder", "name a recording inside it")
    if not file.exists():
        raise RecordingError(file, "there is no such file", "check the name")
    if file.suffix == RECORDING_SUFFIX or is_sqlite(file):
        return RecordingReader(file)
    if file.name.endswith(MOTION_SUFFIX):
        return open_motion_bids(file)
    columns = _columns(file, column_map, column_text)
    if file.suffix in PARQUET_SUFFIXES:
        return open_parquet(file, columns)
    if file.suffix in TEXT_SUFFIXES or columns is not None:
        return open_csv(file, columns)
    raise RecordingError(
        file,
        f"the name does not end in {', '.join((RECORDING_SUFFIX, MOTION_SUFFIX, *_TABLES))}",
        "choose a recording, or give a column map for a table",
    )


def _columns(file: Path, column_map: Path | str | None, text: str | None) -> ColumnMap | None:
    if column_map is not None:
        return read_column_map(Path(column_map))
    return None if text is None else parse_column_map(text, file)


def find_recordings(paths: Iterable[Path | str]) -> list[Path]:
    """Expand folders to the recordings inside them.

    Parameters
    ----------
    paths : iterable of Path or str
        Files, which are kept as they are, and folders, which are searched to any depth for
        recording files and ``…_motion.tsv``.

    Returns
    -------
    list of Path
        In the order given, each folder's recordings sorted, without repeats.

    Raises
    ------
    RecordingError
        If a path does not exist or a folder holds no recording.
    """
    found: dict[Path, None] = {}
    for given in map(Path, paths):
        if not given.exists():
            raise RecordingError(given, "there is no such file or folder", "check the name")
        if not given.is_dir():
            found[given] = None
            continue
        inside = sorted(
            entry
            for pattern in (f"*{RECORDING_SUFFIX}", f"*{MOTION_SUFFIX}")
            for entry in given.rglob(pattern)
            if entry.is_file()
        )
        if not inside:
            raise RecordingError(
                given,
                f"the folder holds no recording (*{RECORDING_SUFFIX} or *{MOTION_SUFFIX})",
                "choose another folder",
            )
        found.update(dict.fromkeys(inside))
    return list(found)
