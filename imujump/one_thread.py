"""Keeps linear algebra to one thread in our programs.

Our matrices are small: more threads gain nothing, and on a busy computer they wait for each other.
The libraries read these variables once, when numpy is loaded, so that this must come first; hence
each program begins in a module that loads nothing else before.
"""

from __future__ import annotations

import os

VARIABLES = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What the libraries that numpy may be built with go by."""


def limit_threads() -> None:
    """Ask for one thread, in this process and those that it starts; the user's own wish stands."""
    for name in VARIABLES:
        os.environ.setdefault(name, "1")
