"""One server process and one browser for all tests of the page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.dashboard.browser import chromium, opened_browser
from tests.dashboard.serving import Server
from tests.dashboard.three_jumps import write_three_jumps


@pytest.fixture(scope="session")
def three_jumps(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one recording of three jumps."""
    return write_three_jumps(tmp_path_factory.mktemp("recordings")).parent


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    # Not for the whole session: while it is open, no other test could run an event loop.
    if chromium() is None:
        pytest.skip("no Chromium on this computer; install one or name it in IMUJUMP_CHROMIUM")
    with opened_browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory, three_jumps: Path) -> Iterator[Server]:
    running = Server(tmp_path_factory.mktemp("court"), three_jumps, "--pace", "2.5")
    running.start()
    yield running
    running.stop()
