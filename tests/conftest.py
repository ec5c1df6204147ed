"""Fixtures and markers shared by all tests.

Open recordings are not part of the project. They lie in ``../shared/data`` beside the
repository, or wherever ``IMUJUMP_SHARED`` points (the folder that holds ``data``). Tests
that need one carry ``@pytest.mark.requires_shared("set_name", ...)`` and skip with a reason
when it is absent.

Two processes share the tests: what waits for the emulated radio and the browser goes to one, what
computes to the other, so that neither holds up the other and nothing is computed twice.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from xdist.scheduler import LoadScopeScheduling

from tests.truth.fresh_report import fresh_report

REPOSITORY = Path(__file__).resolve().parent.parent
SHARED = Path(os.environ.get("IMUJUMP_SHARED", REPOSITORY.parent / "shared"))

WAITING = {"capture", "capture_runs", "dashboard"}
"""Folders of tests that mostly wait."""

_REPORTS: list[str] = []


def pytest_configure(config: pytest.Config) -> None:
    # Test processes are told the width of the screen; what they start must not be.
    os.environ.pop("COLUMNS", None)
    config.addinivalue_line(
        "markers",
        "requires_shared(*names): skip unless these data sets lie in IMUJUMP_SHARED/data",
    )


class ByKind(LoadScopeScheduling):
    """Gives each of two processes one kind of tests."""

    def _split_scope(self, nodeid: str) -> str:
        folders = nodeid.split("::")[0].split("/")
        return "waiting" if WAITING.intersection(folders[1:2]) else "computing"


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> ByKind:
    return ByKind(config, log)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """What this process drew afresh goes to the one that prints the report."""
    _REPORTS.append(fresh_report())
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["fresh_report"] = _REPORTS[0]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    _REPORTS.append(node.workeroutput.get("fresh_report", "") if node.workeroutput else "")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    told = [report for report in _REPORTS if report]
    if told:
        terminalreporter.section("fresh recordings against their truth")
        for report in told:
            terminalreporter.write_line(report)


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
