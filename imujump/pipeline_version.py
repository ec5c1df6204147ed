"""What results are kept under: the program's version and the revision of its figures."""

from __future__ import annotations

import re
from importlib.metadata import version

from imujump.pipeline.figures_revision import FIGURES_REVISION


def pipeline_version() -> str:
    """Return the version under which results are kept, as ``0.1.0/2``.

    The number behind the stroke is :data:`FIGURES_REVISION`, so that changed figures of one
    version of the program are told apart.
    """
    return f"{version('imujump')}/{FIGURES_REVISION}"


def is_newer(one: str, other: str) -> bool:
    """Tell whether a version is newer than another one, by its numbers.

    Results that were kept without a revision are older than those with one.

    >>> is_newer("0.10.0/1", "0.9.3/2"), is_newer("0.1.0/2", "0.1.0/1"), is_newer("1.0", "1.0")
    (True, True, False)
    >>> is_newer("0.1.0/1", "0.1.0"), is_newer("0.1.0", "0.1.0/1")
    (True, False)
    """
    return _numbers(one) > _numbers(other)


def _numbers(told: str) -> tuple[list[int], int]:
    program, _, revision = told.partition("/")
    return [int(n) for n in re.findall(r"\d+", program)], int(revision) if revision.isdigit() else 0
