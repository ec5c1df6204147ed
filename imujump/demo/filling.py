"""Fills the demo club's store: every session is acted out, recorded, measured and added.

The results are those of the pipeline, the way into the store is that of ``imujump add``. Acting and
measuring run in a process for each core; the store is filled in order, so that two runs make the
same.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from pathlib import Path

from imujump.bookkeeping import Told, add_recording
from imujump.demo.place import RECORDINGS, STORE_NAME
from imujump.demo.plan import AthletePlan
from imujump.demo.season import Training
from imujump.demo.staging import act_out, recordings_of
from imujump.demo.truth import Seasons
from imujump.errors import RecordingError
from imujump.model import Analysis, SampleSource
from imujump.one_thread import VARIABLES
from imujump.pipeline.engine import analyse
from imujump.recording.content_hash import content_hash
from imujump.recording.files import open_recording
from imujump.sessions.records import Athlete, BodyMeasure
from imujump.sessions.store import SessionStore, open_store

PLACE = "Harbour Lane hall"
MOUNTING = "Belt and tight straps"
LEG_PER_STATURE = 0.53
"""Hip to floor over stature (from memory: the height of the greater trochanter in usual segment
tables)."""

MINOR_AGE = 18
MEASURED_EVERY = 3
"""Mass and stature are taken every so manyth session, and in the last."""


@dataclass(frozen=True, slots=True)
class Order:
    """One session that is to be made: what a process of the pool needs."""

    plan: AthletePlan
    training: Training
    folder: Path
    seed: tuple[int, int]


def fill(
    folder: Path,
    club: Seasons,
    seed: int,
    processes: int | None = None,
    begun: Callable[[str], None] | None = None,
) -> Path:
    """Fill the store in a folder; what is in it already stays.

    Parameters
    ----------
    folder : Path
        The demo club's own folder.
    club : sequence
        Plans and their sessions.
    seed : int
        Of the club.
    processes : int, optional
        How many make sessions at once; one for each core when ``None``, and with 1 it is done here.
    begun : callable, optional
        Told each session's name before it is waited for.

    Returns
    -------
    Path
        The store.
    """
    place = folder / STORE_NAME
    with open_store(place) as store:
        people = {plan.name: _athlete(store, plan, trainings) for plan, trainings in club}
        orders = [order for order in ordered(folder, club, seed) if not _is_kept(store, order)]
        with contextlib.closing(_made(orders, processes or _cores())) as made:
            for order in orders:
                if begun is not None:
                    begun(f"{order.plan.name} {order.training.started_utc:%Y-%m-%d}")
                _keep(store, people[order.plan.name], order, next(made))
    return place


def ordered(folder: Path, club: Seasons, seed: int) -> list[Order]:
    """List all sessions by time."""
    orders = [
        Order(plan, training, folder / RECORDINGS / plan.name.replace(" ", "_"), (seed, row))
        for row, (plan, trainings) in enumerate(club)
        for training in trainings
    ]
    return sorted(orders, key=lambda order: (order.training.started_utc, order.seed))


def make(order: Order) -> list[Analysis]:
    """Act a session out, record it, and measure its recordings."""
    act_out(order.plan, order.training, order.folder, order.seed)
    return [_measured(taken.path) for taken in recordings_of(order.training, order.folder)]


def _measured(path: Path) -> Analysis:
    source = open_recording(path)
    with contextlib.ExitStack() as stack:
        if close := getattr(source, "close", None):
            stack.callback(close)
        return analyse(source)


def _made(orders: Sequence[Order], processes: int) -> Generator[list[Analysis]]:
    """Yield what each order makes, in order."""
    if processes == 1 or len(orders) < 2:
        yield from map(make, orders)
        return
    # A fresh process everywhere: a fork would copy threads, and other systems cannot.
    context = multiprocessing.get_context("spawn")
    others = multiprocessing.active_children()
    with _one_thread_each():
        pool = ProcessPoolExecutor(
            min(processes, len(orders)), mp_context=context, initializer=_serve_parent
        )
        try:
            yield from pool.map(make, orders)
        except BaseException:
            # What is half done would be waited for; it is made anew another time.
            for child in multiprocessing.active_children():
                if child not in others:
                    child.terminate()
            raise
        finally:
            pool.shutdown(cancel_futures=True)


def _serve_parent() -> None:
    """Set up a process of the pool.

    Ctrl-C, which a terminal tells every process, is left to the one that waits for the others; if
    that one is killed, this one ends with it.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def end_with_parent() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=end_with_parent, daemon=True).start()


@contextlib.contextmanager
def _one_thread_each() -> Iterator[None]:
    """Let processes that are started now compute in one thread: they share the cores already."""
    before = {name: os.environ.get(name) for name in VARIABLES}
    os.environ.update(dict.fromkeys(VARIABLES, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _athlete(store: SessionStore, plan: AthletePlan, trainings: Sequence[Training]) -> Athlete:
    """Add an athlete, unless it is there from an earlier run that was stopped."""
    found = store.find_athlete(plan.name)
    if found is not None:
        return found
    first, last = trainings[0].started_utc.date(), trainings[-1].started_utc.date()
    stature_m = round(trainings[-1].stature_m, 3)
    return store.add_athlete(
        plan.name,
        birth_year=last.year - plan.age,
        stature_m=stature_m,
        leg_length_m=round(LEG_PER_STATURE * stature_m, 2),
        take_off_side=plan.side,
        guardian_consent_on=first - timedelta(days=7) if plan.age <= MINOR_AGE else None,
    )


def _is_kept(store: SessionStore, order: Order) -> bool:
    """Tell whether all of a session is in the store from an earlier run."""
    for taken in recordings_of(order.training, order.folder):
        try:
            known = taken.path.is_file() and store.find_recording(content_hash(taken.path))
        except RecordingError:
            known = None  # cut off when the earlier run was stopped
        if not known:
            return False
    return True


def _keep(
    store: SessionStore, athlete: Athlete, order: Order, analyses: Iterable[Analysis]
) -> None:
    """Add a session's recordings, as the command for it does, and the day's body mass."""
    training = order.training
    words = {
        "surface": order.plan.surface,
        "shoe": training.shoe,
        "place": PLACE,
        "mounting": MOUNTING,
        "note": training.note,
    }
    for taken, analysis in zip(recordings_of(training, order.folder), analyses, strict=True):
        told = Told(taken.task, words, taken.from_athlete)
        add_recording(store, taken.path, athlete.athlete_id, told, partial(_done, analysis))
    if training.number % MEASURED_EVERY == 0 or training.share == 1.0:
        measure = BodyMeasure(
            training.started_utc.date(), round(training.mass_kg, 1), round(training.stature_m, 3)
        )
        store.add_body_measure(athlete.athlete_id, measure)


def _done(analysis: Analysis, _source: SampleSource) -> Analysis:
    """Stand for the pipeline, which has run already in a process of the pool."""
    return analysis
