"""Names, notes and paths as a database can keep them. Pure."""

from __future__ import annotations

import os
import re
import unicodedata
from pathlib import Path
from urllib.parse import quote, unquote_to_bytes

LONGEST_NAME = 120
"""Characters of a person's name (own choice: the longest legal names stay below)."""

_LINE_KEPT = {"\n", "\t"}
_QUOTED = "file://"


def clean_name(text: str) -> str:
    r"""Return a name on one line, without what cannot be seen.

    Raises
    ------
    ValueError
        If nothing is left, or it is too long.

    Examples
    --------
    >>> clean_name("  Ada\n Bell\x00 ")
    'Ada Bell'
    """
    name = " ".join(_storable(text, " ").split())
    if not 0 < len(name) <= LONGEST_NAME:
        raise ValueError(f"Give a name of 1 to {LONGEST_NAME} characters.")
    return name


def name_key(name: str) -> str:
    """Return what two spellings of one name share: case and width do not matter.

    >>> name_key("ADA Bell") == name_key("ada bell")
    True
    """
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())


def clean_text(text: str) -> str:
    r"""Return a note as it can be kept: line ends stay, other control signs go.

    >>> clean_text("two\r\nlines\x00")
    'two\nlines'
    """
    return _storable(text.replace("\r\n", "\n").replace("\r", "\n"), "").strip()


def _storable(text: str, instead: str) -> str:
    """Replace control signs, and halves of characters that no encoding can write."""
    kept = "".join(
        sign if sign in _LINE_KEPT or unicodedata.category(sign) != "Cc" else instead
        for sign in text
    )
    return kept.encode("utf-8", "replace").decode("utf-8")


def path_text(path: Path) -> str:
    """Return a path as text; a name that is not UTF-8 is spelled byte by byte."""
    told = str(path)
    if re.search("[\x00-\x1f\ud800-\udfff]", told) or told.startswith(_QUOTED):
        return _QUOTED + quote(os.fsencode(told))
    return told


def path_of(text: str) -> Path:
    """Return the path that :func:`path_text` wrote."""
    if text.startswith(_QUOTED):
        return Path(os.fsdecode(unquote_to_bytes(text.removeprefix(_QUOTED))))
    return Path(text)
