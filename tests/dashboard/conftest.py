"""One server process and one browser for all tests of the page."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imujump.model import Side
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import record
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from tests.dashboard.browser import SIZES, chromium, opened_browser

REPOSITORY = Path(__file__).resolve().parent.parent.parent
HEIGHTS_M = (0.42, 0.36, 0.40)
"""Rise of the three jumps, in the order in which they are made."""

RATE_HZ = 100.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """A page server in a process of its own."""

    def __init__(self, folder: Path, recordings: Path, *more: str) -> None:
        self.port, self.folder = free_port(), folder
        self.url = f"http://127.0.0.1:{self.port}"
        self._command = [
            *(sys.executable, "-W", "error", "-m", "dashboard"),
            *("--port", str(self.port), "--folder", str(folder)),
            *("--recordings", str(recordings), *more),
        ]
        self.said = folder.parent / f"{folder.name}_said.txt"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.said.open("ab") as out:
            self.process = subprocess.Popen(
                self._command, cwd=REPOSITORY, stdout=out, stderr=subprocess.STDOUT
            )
        until_s = time.monotonic() + 30.0
        while time.monotonic() < until_s:
            try:
                urllib.request.urlopen(f"{self.url}/pair", timeout=2.0).close()
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

    def stop(self) -> None:
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)
            try:
                self.process.wait(15.0)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()


@pytest.fixture(scope="session")
def three_jumps(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one recording: three one-foot jumps of an invented athlete, 25 s."""
    generator = np.random.default_rng(7)
    jumps = [
        ApproachJump(
            side=Side.LEFT,
            steps=4,
            approach_speed_mps=3.6,
            take_off_vertical_mps=float(np.sqrt(2.0 * 9.81 * height_m)),
            stand_before_s=1.4,
            stand_after_s=1.4,
            seed=number,
        )
        for number, height_m in enumerate(HEIGHTS_M, 1)
    ]
    recording = record(compose([Stand(1.0), *jumps, Stand(1.0)], generator), generator, rate_hz=RATE_HZ)
    folder = tmp_path_factory.mktemp("recordings")
    profile = compact_profile(RATE_HZ, accel_range_g=32.0)
    profiles = {sensor.placement: profile for sensor in recording.info.sensors}
    save_recording(recording, folder / "three_jumps.imujump", profiles)
    return folder


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    if chromium() is None:
        pytest.skip("no Chromium on this computer; install one or name it in IMUJUMP_CHROMIUM")
    with opened_browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory, three_jumps: Path) -> Iterator[Server]:
    running = Server(tmp_path_factory.mktemp("court"), three_jumps, "--pace", "3")
    running.start()
    yield running
    running.stop()


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
