"""Fixtures and markers shared by all tests.

Open recordings are not part of the project. They lie in ``../shared/data`` beside the
repository, or wherever ``IMUJUMP_SHARED`` points (the folder that holds ``data``). Tests
that need one carry ``@pytest.mark.requires_shared("set_name", ...)`` and skip with a reason
when it is absent.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent
SHARED = Path(os.environ.get("IMUJUMP_SHARED", REPOSITORY.parent / "shared"))


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers",
        "requires_shared(*names): skip unless these data sets lie in IMUJUMP_SHARED/data",
    )


def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker in item.iter_markers("requires_shared"):
        for name in marker.args:
            if not (SHARED / "data" / name).is_dir():
                pytest.skip(
                    f"open data set '{name}' is not in {SHARED / 'data'}; "
                    "set IMUJUMP_SHARED to the folder that holds data/"
                )


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of the open data sets; use it with the marker ``requires_shared``."""
    return SHARED / "data"
