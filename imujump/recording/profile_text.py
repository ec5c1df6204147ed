"""The text of a sensor profile, and the sentence that says what is wrong with one of its keys."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from imujump.errors import RecordingError
from imujump.recording.toml_lines import KeyPath, key_lines, line_of

_PART = re.compile(r"\[(\d+)\]|([^.\[\]]+)")
_STATED_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")


class ProfileText:
    """A profile's TOML, parsed, and able to name the line of any key.

    Parameters
    ----------
    text : str
        TOML.
    origin : Path or str
        Where it comes from, for messages.

    Raises
    ------
    RecordingError
        If the text is not TOML; names the line.
    """

    def __init__(self, text: str, origin: Path | str) -> None:
        self._text = text
        self._origin = origin
        try:
            self.table: Mapping[str, Any] = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            stated = _STATED_LINE.search(str(error))
            line = int(stated[1]) if stated else len(text.splitlines()) or 1
            reason = _STATED_LINE.sub("", str(error))
            raise RecordingError(
                origin, f"line {line}: the profile is not TOML ({reason})", "correct that line"
            ) from error

    def bad(self, key: str, problem: str, remedy: str, *, at: str | None = None) -> RecordingError:
        """Return the error that complains about a key.

        Parameters
        ----------
        key : str
            Dotted, list positions in brackets: ``sample[2].unit``. For a key that is missing
            the line of what should hold it is named.
        problem, remedy : str
            What is wrong and what to do, each without a full stop.
        at : str, optional
            Key whose line to name, where it is another.
        """
        line = line_of(key_lines(self._text), key_path(at or key))
        return RecordingError(
            self._origin, f"line {line}: the profile's key {key} {problem}", remedy
        )


def key_path(key: str) -> KeyPath:
    """Split a dotted key with positions.

    Examples
    --------
    >>> key_path("sample[2].unit")
    ('sample', 2, 'unit')
    """
    return tuple(int(number) if number else name for number, name in _PART.findall(key))
