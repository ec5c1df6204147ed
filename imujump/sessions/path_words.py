"""A kept path as a person reads it. Pure."""

from __future__ import annotations

from imujump.sessions.plain_text import path_of


def file_name(path: str) -> str:
    r"""Return a file's name without its folder, as it can be shown.

    >>> file_name("/jumps/monday.imujump"), file_name("C:\\jumps\\monday.imujump")
    ('monday.imujump', 'monday.imujump')
    """
    told = str(path_of(path)).encode("utf-8", "replace").decode("utf-8")
    return told.replace("\\", "/").rsplit("/", 1)[-1]
