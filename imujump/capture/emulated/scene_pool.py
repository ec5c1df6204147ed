"""One process that writes an athlete's scenes beside the process that runs the radio."""

from __future__ import annotations

import multiprocessing
import os
import threading
from concurrent.futures import Executor, ProcessPoolExecutor


def scene_pool() -> Executor:
    """Return an executor of one process, which starts with the first scene ordered."""
    return ProcessPoolExecutor(
        1, mp_context=multiprocessing.get_context("spawn"), initializer=_go_with_the_radio
    )


def _go_with_the_radio() -> None:
    """End with the process that ordered the scenes, even when that is killed."""
    radio = multiprocessing.parent_process()
    if radio is None:
        return

    def watch() -> None:
        radio.join()
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
