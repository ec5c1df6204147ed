"""Knows a recording by its content, wherever it lies and whatever it is called."""

from __future__ import annotations

import hashlib
from pathlib import Path

from imujump.errors import RecordingError
from imujump.recording.format import log_path
from imujump.recording.motion_bids import MOTION_SUFFIX

_BLOCK = 1 << 20
_HALF = 32


def content_files(path: Path) -> list[Path]:
    """List the files that make up a recording, the named one first; only those that are there.

    Parameters
    ----------
    path : Path
        A recording as :func:`imujump.recording.files.open_recording` takes it.
    """
    beside: list[Path] = [log_path(path)]
    if path.name.endswith(MOTION_SUFFIX):
        stem = path.name.removesuffix(MOTION_SUFFIX)
        ends = ("_channels.tsv", "_channels.json", "_motion.json", "_events.tsv", "_events.json")
        beside = [path.with_name(stem + end) for end in ends]
    return [path, *(file for file in beside if file.is_file() and file.stat().st_size)]


def content_hash(path: Path, column_map: Path | None = None) -> str:
    """Return what a recording is known by: 64 hexadecimal digits.

    For a single file they are its SHA-256. With side files (a Motion-BIDS recording's, a table's
    column map) they are the first half of the file's, then of that of all the others' together.

    Raises
    ------
    RecordingError
        If a file cannot be read.
    """
    own, *others = content_files(path)
    try:
        told = _file_hash(own)
        rest = [_file_hash(file) for file in (*others, *([column_map] if column_map else ()))]
    except OSError as error:
        raise RecordingError(
            path, (error.strerror or str(error)).lower(), "check the file and who may read it"
        ) from error
    if not rest:
        return told
    return told[:_HALF] + hashlib.sha256("".join(rest).encode("ascii")).hexdigest()[:_HALF]


def holds_content(path: Path, sha256: str) -> bool:
    """Tell whether a file is the one that :func:`content_hash` named.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    return _file_hash(path)[:_HALF] == sha256[:_HALF]


def _file_hash(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()
