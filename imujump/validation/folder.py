"""Recordings in a folder that have a truth file beside them."""

from __future__ import annotations

from pathlib import Path

from imujump.errors import RecordingError
from imujump.recording.files import find_recordings
from imujump.validation.truths import SUFFIX, truth_file


def with_truth(folder: Path) -> list[Path]:
    """List the recordings of a folder whose truth is known.

    Raises
    ------
    RecordingError
        When there is none.
    """
    found = [path for path in find_recordings([str(folder)]) if truth_file(path).is_file()]
    if not found:
        raise RecordingError(
            folder,
            f"no recording in it has a truth file beside it (NAME{SUFFIX})",
            "give a folder with both, such as recordings_demo",
        )
    return found
