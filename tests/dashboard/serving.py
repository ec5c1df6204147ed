"""A page server in a process of its own, and a browser tab that looks at it."""

from __future__ import annotations

import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from tests.dashboard.browser import SIZES

REPOSITORY = Path(__file__).resolve().parent.parent.parent


TRUSTING = ssl._create_unverified_context()
"""For certificates that a test has made itself."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """A page server in a process of its own."""

    def __init__(self, folder: Path, recordings: Path, *more: str) -> None:
        self.port, self.folder = free_port(), folder
        self.store = folder.with_name(f"{folder.name}_sessions.sqlite")
        self.scheme = "https" if "--certificate" in more else "http"
        self.url = f"{self.scheme}://127.0.0.1:{self.port}"
        self._command = [
            *(sys.executable, "-W", "error", "-m", "dashboard"),
            *("--port", str(self.port), "--folder", str(folder)),
            *("--recordings", str(recordings), *more),
            *(() if "--store" in more else ("--store", str(self.store))),
        ]
        self.said = folder.parent / f"{folder.name}_said.txt"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.launch()
        self.wait()

    def launch(self) -> None:
        with self.said.open("ab") as out:
            self.process = subprocess.Popen(
                self._command, cwd=REPOSITORY, stdout=out, stderr=subprocess.STDOUT
            )

    def wait(self) -> None:
        """Wait until it answers."""
        assert self.process is not None
        until_s = time.monotonic() + 30.0
        while time.monotonic() < until_s:
            try:
                urllib.request.urlopen(f"{self.url}/pair", timeout=2.0, context=TRUSTING).close()
                return
            except (urllib.error.URLError, OSError):
                assert self.process.poll() is None, self.said.read_text()
                time.sleep(0.1)
        raise AssertionError(f"the server did not answer: {self.said.read_text()}")

    def kill(self) -> None:
        """End the server as a crash would; its capture goes on."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def capture_process(self) -> int:
        """Return the process of the capture that this page has started."""
        (lock,) = self.folder.glob("imujump-capture-*.lock")
        return int(json.loads(lock.read_text())["process"])

    def stop(self) -> None:
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)
            try:
                self.process.wait(15.0)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()


class Tab:
    """A browser tab, and what it asked for and complained of."""

    def __init__(self, browser: Any, size: str, **settings: Any) -> None:
        width, height = SIZES[size]
        self.context = browser.new_context(viewport={"width": width, "height": height}, **settings)
        self.page = self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.asked: list[str] = []
        self.faults: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda line: self.asked.append(line.url))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on(
            "console",
            lambda said: self.faults.append(said.text) if said.type == "error" else None,
        )

    def text(self, selector: str) -> str:
        return str(self.page.inner_text(selector))

    def wait(self, condition: str, seconds: float = 15.0) -> None:
        """Wait for a condition in the page's own words, JavaScript."""
        self.page.wait_for_function(condition, timeout=1000 * seconds, polling=50)

    def wait_text(self, selector: str, part: str, seconds: float = 15.0) -> None:
        condition = "([s, t]) => document.querySelector(s)?.textContent.includes(t)"
        self.page.wait_for_function(
            condition, arg=[selector, part], timeout=1000 * seconds, polling=50
        )

    def close(self) -> None:
        self.context.close()
