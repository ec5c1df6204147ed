"""Tells in the test report which fresh recordings were drawn and what they said."""

from __future__ import annotations

import pytest

from . import fresh_draws
from .agreement_with_truth import table


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    drawn = fresh_draws.drawn_in_this_run()
    if drawn:
        terminalreporter.section("fresh recordings against their truth")
        terminalreporter.write_line(
            f"{fresh_draws.VARIABLE}={fresh_draws.fresh_seed()} repeats these draws"
        )
        for kind, outcomes in drawn.items():
            terminalreporter.write_line(f"\n{kind}: {table(outcomes)}")
