"""What is closed when the block that opened it ends."""

from __future__ import annotations

from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self


class Closing(ABC):
    """A context manager whose end is :meth:`close`.

    Examples
    --------
    >>> class Door(Closing):
    ...     def close(self) -> None:
    ...         print("shut")
    >>> with Door():
    ...     print("open")
    open
    shut
    """

    @abstractmethod
    def close(self) -> object:
        """Let go of what is held."""

    def __enter__(self) -> Self:
        """Begin the block."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close, however the block ended."""
        self.close()
