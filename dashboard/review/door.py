"""Opens the store when a page first asks for it, and again after it was out of reach."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from imujump.errors import ConsentError, NotKeptError, StoreBusyError, StoreError, StoreFullError
from imujump.sessions.store import SessionStore, open_store

PASSING = (NotKeptError, ConsentError, StoreBusyError, StoreFullError)
"""After these the store is as good as before."""


class StoreDoor:
    """The one store of a running page; threads may share it.

    Parameters
    ----------
    place : str or None
        File or address; the user's own when ``None``.
    """

    def __init__(self, place: str | None) -> None:
        self._place = place
        self._store: SessionStore | None = None
        self._lock = threading.Lock()

    @contextmanager
    def opened(self) -> Iterator[SessionStore]:
        """Hand out the store.

        Raises
        ------
        StoreError
            If it cannot be used; the next one who asks tries anew.
        """
        with self._lock:
            if self._store is None:
                self._store = open_store(self._place)
            store = self._store
        try:
            yield store
        except PASSING:
            raise
        except StoreError:
            self._let_go(store)
            raise

    def close(self) -> None:
        """Let go of the store."""
        if self._store is not None:
            self._let_go(self._store)

    def _let_go(self, store: SessionStore) -> None:
        with self._lock:
            if self._store is store:
                self._store = None
        store.close()
