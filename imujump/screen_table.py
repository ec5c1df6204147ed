"""Tables and sentences on a terminal; what is printed was written by people, so it is tamed."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Sequence
from typing import TextIO

import click

PIPED_WIDTH = 120
"""Characters of a line when the output is no terminal (own choice)."""


def shown(text: str, stream: TextIO | None = None) -> str:
    r"""Spell out what the stream's encoding lacks, and signs that would steer a terminal.

    >>> shown("a\x1b[2Jb")
    'a\\x1b[2Jb'
    """
    tame = "".join(
        sign if unicodedata.category(sign) not in ("Cc", "Cf") else _spelled(sign) for sign in text
    )
    encoding = (sys.stdout if stream is None else stream).encoding or "ascii"
    return tame.encode(encoding, "backslashreplace").decode(encoding)


def _spelled(sign: str) -> str:
    return " " if sign in "\n\t" else sign.encode("unicode_escape").decode("ascii")


def tell(text: str) -> None:
    """Print a sentence on standard error."""
    click.echo(shown(text, sys.stderr), err=True)


def show_table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table; nothing in a cell is taken for a command of the table's own."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for head in heads:
        table.add_column(head)
    for row in rows:
        table.add_row(*(Text(shown(cell)) for cell in row))
    Console(width=None if sys.stdout.isatty() else PIPED_WIDTH).print(table)
