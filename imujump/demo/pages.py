"""Shows a store's pages: starts their server as a program of its own and opens the browser."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import time
import webbrowser
from collections.abc import Iterator
from pathlib import Path

from imujump.demo.place import COURTSIDE, LOG_NAME
from imujump.errors import StoreError
from imujump.sessions.opening import STORE_VARIABLE

FIRST_PORT, PORTS = 8766, 20
"""Ports that are tried (own choice: next to that of the courtside page, which may be in use)."""

PATIENCE_S = 60.0
"""How long a server may take to start (own choice: a slow disk reads many files)."""

GOODBYE_S = 10.0


@contextlib.contextmanager
def serving(folder: Path, store: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """Serve the pages of a store as long as the context lasts.

    Yields their address and the server's process. What the pages keep besides goes into the same
    folder.

    Raises
    ------
    StoreError
        If the server does not start.
    """
    port = _free_port()
    command = [sys.executable, "-m", "dashboard", "--port", str(port)]
    command += ["--folder", str(folder / COURTSIDE), "--store", str(store)]
    # Whatever of the pages looks for the user's own store finds this one.
    environment = {**os.environ, STORE_VARIABLE: str(store)}
    with (folder / LOG_NAME).open("wb") as log:
        server = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
    try:
        _wait(server, port, folder)
        yield f"http://127.0.0.1:{port}/sessions", server
    finally:
        server.terminate()
        try:
            server.wait(GOODBYE_S)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def show(address: str) -> bool:
    """Open the browser; tells whether there is one."""
    try:
        return webbrowser.open(address)
    except webbrowser.Error:
        return False


def _free_port() -> int:
    for port in range(FIRST_PORT, FIRST_PORT + PORTS):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait(server: subprocess.Popen[bytes], port: int, folder: Path) -> None:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end and server.poll() is None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1.0):
            return
        time.sleep(0.1)
    raise StoreError(
        str(folder), "its pages could not be served", f"{LOG_NAME} in this folder says why"
    )
