"""How soon review pages are usable after a click, on a store of 1,000 sessions with 20 attempts.

    python -m tests.benchmarks.review_pages [SESSIONS]

A click in a real browser to the page being laid out (and, for an attempt, its signals painted); the
frames of zooming through 10 s of eighteen channels at 400 Hz; the memory of server and browser over
200 pages. Linux; about three minutes.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import insert

from imujump.bookkeeping import add_recording
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.sessions import schema
from imujump.sessions.figures_text import events_kept, steps_kept
from imujump.sessions.store import SessionStore, open_store
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import record
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from tests.analyses import one_foot_attempt
from tests.dashboard.browser import opened_browser
from tests.dashboard.serving import Server, Tab

ATTEMPTS, ATHLETES = 20, 25
CLICKS = 20
ROUNDS = 50
START = datetime(2024, 1, 8, 17, 0, tzinfo=UTC)


def say(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def fill(store: SessionStore, sessions: int, athletes: int = ATHLETES) -> None:
    """Insert sessions row by row into the tables, much quicker than keeping analyses."""
    for number in range(athletes):
        store.add_athlete(f"Athlete {number + 1}")
    one, generator = one_foot_attempt(), np.random.default_rng(3)
    with store._write() as connection:
        for number in range(1, sessions + 1):
            began = START + timedelta(hours=9 * number)
            connection.execute(
                insert(schema.sessions).values(
                    session_id=number, athlete_id=1 + number % athletes, started_utc=began,
                    surface="Track", shoe="Spikes", place="Hall", note="",
                )
            )  # fmt: skip
            connection.execute(
                insert(schema.recordings).values(
                    recording_id=number, session_id=number, sha256=f"{number:064d}",
                    path=f"/gone/{number}.imujump", standing="counted", remarks=[],
                    started_utc=began, duration_s=900.0, pipeline_version="0.1.0", added_utc=began,
                )
            )  # fmt: skip
            ids = range((number - 1) * ATTEMPTS + 1, number * ATTEMPTS + 1)
            connection.execute(
                insert(schema.attempts),
                [
                    {"attempt_id": i, "recording_id": number, "number": k, "task": "one_foot",
                     "taken_utc": began + timedelta(seconds=40 * k), "result_id": i}
                    for k, i in enumerate(ids, 1)
                ],
            )  # fmt: skip
            connection.execute(
                insert(schema.results),
                [
                    {"result_id": i, "attempt_id": i, "pipeline_version": "0.1.0",
                     "hand_events": False, "made_utc": began, "start_s": one.start_s,
                     "end_s": one.end_s, "toe_off_s": one.toe_off_s, "landing_s": one.landing_s,
                     "style": "one_foot", "side": "left", "valid": True, "reasons": []}
                    for i in ids
                ],
            )  # fmt: skip
            connection.execute(
                insert(schema.contacts),
                [
                    {"result_id": i, "events": events_kept(one.events),
                     "steps": steps_kept(one.steps)}
                    for i in ids
                ],
            )  # fmt: skip
            factors = 1.0 + 0.03 * generator.standard_normal(ATTEMPTS)
            connection.execute(
                insert(schema.metrics),
                [
                    {"result_id": i, "name": name, "sigma": e.sigma, "reason": e.reason,
                     "value": None if e.value is None else e.value * float(factor),
                     "method": e.method}
                    for i, factor in zip(ids, factors, strict=True)
                    for name, e in one.metrics.items()
                ],
            )  # fmt: skip


def long_attempt(folder: Path) -> Path:
    """Write one jump after a long run-up, three sensors at 400 Hz."""
    generator = np.random.default_rng(5)
    jump = ApproachJump(steps=12, approach_speed_mps=6.0, stand_before_s=2.0, stand_after_s=2.0)
    made = record(compose([Stand(1.0), jump, Stand(2.0)], generator), generator, rate_hz=400.0)
    path = folder / "long.imujump"
    profile = compact_profile(400.0, accel_range_g=32.0)
    save_recording(made, path, {sensor.placement: profile for sensor in made.info.sensors})
    return path


def memory_mb(process: int) -> float:
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * 4096 / 1e6


def timed(tab: Tab, click: str, ready: str) -> float:
    """Click, and take the time until the page says that it is there, in ms."""
    return float(
        tab.page.evaluate(
            """([click, ready]) => new Promise((done, failed) => {
            const is = new Function(`return Boolean(${ready})`);
            const began = performance.now();
            document.querySelector(click).click();
            const look = () => {
              if (is()) requestAnimationFrame(() => done(performance.now() - began));
              else if (performance.now() - began > 20000) failed(new Error(ready));
              else setTimeout(look, 5);
            };
            look();
            })""",
            [click, ready],
        )
    )


def told(name: str, times_ms: list[float]) -> None:
    p50, p95 = np.percentile(times_ms, (50, 95))
    say(f"{name:44} p50 {p50:5.0f}  p95 {p95:5.0f}  max {max(times_ms):5.0f} ms\n")


LIST = (
    "document.querySelector('.review h1')?.textContent === 'Sessions' "
    "&& document.querySelector('.turning')"
)
SESSION = "document.querySelectorAll('.attempts .attempt').length >= 1"
ATTEMPT = "document.querySelectorAll('#attempt-metrics tbody tr').length > 30"
DRAWN = "document.querySelector('#attempt-figure')?.dataset.ready === 'true'"


def walk(tab: Tab, server: Server) -> None:
    """From the list to a session to an attempt and back to the list, again and again."""
    times: dict[str, list[float]] = {name: [] for name in ("list", "session", "attempt", "older")}
    tab.page.goto(f"{server.url}/sessions")
    tab.wait(f"() => {LIST}")
    for number in range(CLICKS):
        row = f".list tbody tr:nth-child({1 + number}) a"
        times["session"].append(timed(tab, row, SESSION))
        link = f".attempts .attempt:nth-of-type({1 + number % 20}) h3 a"
        times["attempt"].append(timed(tab, link, ATTEMPT))
        times["list"].append(timed(tab, "#shell-pages a[href='/sessions']", LIST))
    for page in range(2, 2 + CLICKS // 2):
        there = f"document.querySelector('.turning')?.textContent.includes('Page {page} of')"
        times["older"].append(timed(tab, ".turning a:last-child", there))
    told("list of sessions", times["list"])
    told("older sessions", times["older"])
    told("session of 20 attempts", times["session"])
    told("attempt: every number", times["attempt"])


def signals(tab: Tab, server: Server, session_id: int) -> None:
    tab.page.goto(f"{server.url}/session/{session_id}")
    tab.wait(f"() => {SESSION}")
    first = timed(tab, ".attempts h3 a", DRAWN)
    tab.page.go_back()
    tab.wait(f"() => {SESSION}")
    again = timed(tab, ".attempts h3 a", DRAWN)
    say(f"{'attempt: signals painted':44} first {first:.0f}, again {again:.0f} ms\n")
    tab.page.evaluate(
        "imujump.figure.show(imujump.figure.own.data.startS - imujump.figure.own.zeroS, "
        "imujump.figure.own.data.startS - imujump.figure.own.zeroS + 10)"
    )
    frames: list[list[float]] = tab.page.evaluate(
        """async () => {
        const gaps = [], took = [];
        let last = performance.now();
        for (let k = 0; k < 90; k += 1) {
          const {fromS, toS} = imujump.figure.view, by = k < 45 ? 0.02 : -0.02;
          imujump.figure.show(fromS + by * (toS - fromS), toS - by * (toS - fromS));
          await new Promise(requestAnimationFrame);
          await new Promise((done) => setTimeout(done));
          const now = performance.now();
          gaps.push(now - last); took.push(imujump.figure.tookMs);
          last = now;
        }
        return [gaps, took];
        }"""
    )
    samples = tab.page.evaluate(
        "Object.values(imujump.figure.own.data.signals)[0].channels[0].length"
    )
    told(f"zoom, a frame ({samples} samples × 18 channels)", frames[0][3:])
    told("  of it drawing", frames[1][3:])


def remembered(tab: Tab, server: Server) -> None:
    """Memory before and after many pages."""
    assert server.process is not None
    heap = "performance.memory.usedJSHeapSize / 1e6"

    def look() -> tuple[float, float]:
        tab.context.new_cdp_session(tab.page).send("HeapProfiler.collectGarbage")
        assert server.process is not None
        return memory_mb(server.process.pid), float(tab.page.evaluate(heap))

    tab.page.goto(f"{server.url}/sessions")
    tab.wait(f"() => {LIST}")
    seen: list[tuple[float, float]] = []
    for number in range(2 * ROUNDS + 1):
        timed(tab, f".list tbody tr:nth-child({1 + number % 50}) a", SESSION)
        timed(tab, "#shell-pages a[href='/sessions']", LIST)
        if number % ROUNDS == 0:
            seen.append(look())
    for number, (server_mb, browser_mb) in enumerate(seen):
        pages = 2 + 2 * ROUNDS * number
        say(f"after {pages:3} pages: server {server_mb:.0f} MB, page {browser_mb:.1f} MB\n")


def main(sessions: int) -> None:
    with tempfile.TemporaryDirectory(prefix="imujump-review-") as kept:
        own = Path(kept)
        place = own / "store.sqlite"
        began = time.monotonic()
        with open_store(place) as store:
            fill(store, sessions)
            athlete = store.add_athlete("Long Run")
            added = add_recording(store, long_attempt(own), athlete.athlete_id)
        size_mb = place.stat().st_size / 1e6
        say(f"{sessions} sessions × {ATTEMPTS} attempts, {size_mb:.0f} MB, ")
        say(f"filled in {time.monotonic() - began:.0f} s\n")
        server = Server(own / "court", own, "--store", str(place))
        server.start()
        try:
            with opened_browser(own / "profile") as browser:
                tab: Any = Tab(browser, "laptop")
                walk(tab, server)
                signals(tab, server, added.recording.session_id)
                remembered(tab, server)
                # Invented recordings have no file, and the page is told so.
                assert not [fault for fault in tab.faults if "404" not in fault], tab.faults
        finally:
            server.stop()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
