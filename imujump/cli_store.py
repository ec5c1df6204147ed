"""What the commands on kept sessions share: the open store, and athletes by name."""

from __future__ import annotations

import contextlib
import difflib
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from imujump.cli_options import told
from imujump.screen_table import shown

if TYPE_CHECKING:
    from imujump.sessions.records import Athlete
    from imujump.sessions.store import SessionStore


@contextlib.contextmanager
def opened(place: str | None) -> Iterator[SessionStore]:
    """Open the store; what the package raises on purpose is told in one sentence."""
    with told():
        from imujump.sessions.store import open_store  # loading it takes a second

        with open_store(place) as store:
            try:
                yield store
            except ValueError as error:
                raise click.UsageError(str(error)) from error


def known_athlete(store: SessionStore, name: str) -> Athlete:
    """Return the athlete of that name, or end with a sentence that names the nearest ones."""
    found = store.find_athlete(name)
    if found is None:
        near = alike(store, name)
        hint = f"; do you mean {' or '.join(near)}?" if near else "."
        raise click.UsageError(shown(f'There is no athlete "{name}"{hint}'))
    return found


def alike(store: SessionStore, name: str) -> list[str]:
    """List names that are spelled nearly like this one."""
    names = {athlete.name.casefold(): athlete.name for athlete in store.athletes()}
    near = difflib.get_close_matches(name.casefold(), list(names), n=3, cutoff=0.75)
    return [f'"{names[each]}"' for each in near]


def count(number: int, what: str) -> str:
    """Say how many; the word gets an s unless it is one.

    >>> count(1, "jump"), count(2, "jump")
    ('1 jump', '2 jumps')
    """
    return f"{number} {what}{'' if number == 1 else 's'}"
