"""Clocks over the emulated air: the short form of ``python -m tests.capture_runs.clocks``."""

from __future__ import annotations

import asyncio

import numpy as np

from .clocks_on_air import errors_over_air


def test_three_clocks_agree_after_five_seconds() -> None:
    """Bar 3 ms at the 95th percentile over many runs; a busy computer may add to a single one."""
    errors, fits = asyncio.run(errors_over_air(0.015, 5.0, 1))
    assert np.max(np.abs(errors)) < 5e-3
    for fit in fits.values():
        assert fit.readings > 30
        assert fit.sigma_s < 1.5e-3
