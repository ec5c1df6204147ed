"""Our programs compute in one thread, unless the user wishes otherwise."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from imujump.one_thread import VARIABLES

COMMAND = """
import os, sys
from imujump.launch import main
sys.argv = ["imujump", "--version"]
try:
    main()
except SystemExit:
    pass
import numpy, scipy.linalg
numpy.linalg.inv(numpy.eye(300)) @ scipy.linalg.inv(numpy.eye(300))
print(len(os.listdir("/proc/self/task")))
"""

PAGES = """
import os, sys, types
from dashboard.launch import main
assert "numpy" not in sys.modules, "numpy would be loaded before threads are limited"
start = types.ModuleType("dashboard.start")
start.main = lambda: print(os.environ["OPENBLAS_NUM_THREADS"])
sys.modules["dashboard.start"] = start
main()
"""


def said(program: str, **wish: str) -> str:
    """Run a program in a process of its own; its last line."""
    plain = {name: value for name, value in os.environ.items() if name not in VARIABLES}
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={**plain, **wish},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.splitlines()[-1]


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted on Linux")
def test_linear_algebra_keeps_to_one_thread() -> None:
    assert int(said(COMMAND)) == 1
    # The user's own wish stands. OpenBLAS starts no more threads than there are cores.
    if (os.cpu_count() or 1) > 1:
        assert int(said(COMMAND, OPENBLAS_NUM_THREADS="2")) > 1


def test_the_page_server_begins_before_numpy_is_loaded() -> None:
    assert said(PAGES) == "1"
    assert said(PAGES, OPENBLAS_NUM_THREADS="3") == "3"
