"""A real browser for tests and pictures: Debian's Chromium, never one that is downloaded."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

SIZES = {"phone": (390, 844), "tablet": (1280, 800), "laptop": (1440, 900)}
"""CSS pixels: a usual phone, a 10-inch tablet lying, a laptop."""


def chromium() -> str | None:
    """Return the path of a Chromium, None if there is none."""
    named = os.environ.get("IMUJUMP_CHROMIUM")
    if named:
        return named
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    return found or shutil.which("google-chrome")


@contextmanager
def opened_browser(folder: Path) -> Iterator[Any]:
    """Open a browser with a fresh profile.

    Raises
    ------
    RuntimeError
        If there is none.
    """
    from playwright.sync_api import sync_playwright

    path = chromium()
    if path is None:
        raise RuntimeError("no Chromium found; install one or name it in IMUJUMP_CHROMIUM")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path,
            headless=True,
            args=FLAGS,
            env={**os.environ, "HOME": str(folder), "XDG_CONFIG_HOME": str(folder)},
        )
        try:
            yield browser
        finally:
            browser.close()
