"""One server process and one browser for all tests of the page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.dashboard.browser import chromium, opened_browser
from tests.dashboard.certificate import write_certificate
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
def launched(
    tmp_path_factory: pytest.TempPathFactory, three_jumps: Path
) -> Iterator[dict[str, Server]]:
    """All servers, launched at once: each takes seconds until it answers."""
    folder = tmp_path_factory.mktemp("pages")
    certificate, key = write_certificate(folder)
    # A second loopback address stands in for the local network: it is no local name.
    lan = ["--lan", "--address", "127.0.0.2"]
    lan += ["--certificate", str(certificate), "--key", str(key)]
    servers = {
        "court": Server(folder / "court", three_jumps, "--pace", "2.5"),
        "lan": Server(folder / "lan", three_jumps, *lan),
        "rig": Server(
            folder / "rig", three_jumps, "--worn", str(three_jumps / "three_jumps.imujump")
        ),
    }
    for server in servers.values():
        server.launch()
    yield servers
    for server in servers.values():
        server.stop()


@pytest.fixture(scope="session")
def server(launched: dict[str, Server]) -> Server:
    """Replays the three jumps."""
    launched["court"].wait()
    return launched["court"]


@pytest.fixture(scope="session")
def lan(launched: dict[str, Server]) -> Server:
    """Serves other devices, with TLS."""
    launched["lan"].wait()
    return launched["lan"]


@pytest.fixture(scope="session")
def rig(launched: dict[str, Server]) -> Server:
    """Has emulated sensors that play the three jumps."""
    launched["rig"].wait()
    return launched["rig"]
