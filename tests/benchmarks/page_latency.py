"""From the arrival of the packet that holds a foot event to the painted screen.

    python -m tests.benchmarks.page_latency [EVENTS] [BROWSERS]

The whole chain: emulated sensors over the Bluetooth rig, in real time, worn by somebody who walks
up and down; capture; engine; page server; three browsers in processes of their own. An event counts
as painted when the frame after the one in which it was drawn begins. Clocks:
Python's performance counter and the browser's, both joined to the system's wall clock at the end.
Needs Linux (CPU times from /proc).
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np

from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.simulate.imu import record
from imujump.simulate.movements import Stand, TurnAround, Walk
from imujump.simulate.session import compose
from tests.dashboard.browser import FLAGS, SIZES, chromium
from tests.dashboard.serving import Server

RATE_HZ = 200.0
ROUNDS = 24
LONGEST_S = 600.0

WATCH = """
() => {
  window.seen = [];
  imujump.onFoot.push((foot) => {
    if (!foot.arrived_host_s) return;
    const came = performance.timeOrigin + performance.now();
    requestAnimationFrame(() => requestAnimationFrame(() => {
      const painted = performance.timeOrigin + performance.now();
      window.seen.push([foot.number, foot.arrived_host_s, came, painted]);
    }));
  });
}
"""


def write_walk(path: Path) -> Path:
    generator = np.random.default_rng(3)
    blocks: list[Any] = [Stand(2.0)]
    for number in range(ROUNDS):
        blocks += [Walk(12.0), TurnAround(np.pi if number % 2 else -np.pi)]
    recording = record(compose(blocks, generator), generator, rate_hz=RATE_HZ)
    profile = compact_profile(RATE_HZ, accel_range_g=32.0)
    save_recording(recording, path, {s.placement: profile for s in recording.info.sensors})
    return path


def cpu_s(process_id: int) -> float:
    """CPU time of a process and all that it has started."""
    children: dict[int, list[int]] = {}
    times: dict[int, float] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            children.setdefault(int(fields[1]), []).append(int(entry.name))
            times[int(entry.name)] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    todo, total = [process_id], 0.0
    while todo:
        each = todo.pop()
        total += times.get(each, 0.0)
        todo += children.get(each, [])
    return total


def main(wanted: int, browsers: int) -> None:
    from playwright.sync_api import sync_playwright

    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="imujump-latency-")))
        walk = write_walk(folder / "walk.imujump")
        server = Server(folder / "court", folder, "--worn", str(walk))
        server.start()
        stack.callback(server.stop)
        playwright = stack.enter_context(sync_playwright())
        pages = []
        for _ in range(browsers):
            browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
            stack.callback(browser.close)
            width, height = SIZES["tablet"]
            pages.append(browser.new_page(viewport={"width": width, "height": height}))
            pages[-1].goto(server.url)
            pages[-1].wait_for_function("() => imujump.page")
        first = pages[0]
        for action in ("{do: 'add_athlete', name: 'A'}", "{do: 'setup', source: 'emulated'}"):
            assert first.evaluate(f"imujump.act({action})") is None
        assert first.evaluate("imujump.act({do: 'begin'})") is None
        first.wait_for_function("() => imujump.page.capture.phase === 'running'", timeout=60_000)
        for page in pages:
            page.evaluate(WATCH)
        assert server.process is not None
        capture, page_server = server.capture_process(), server.process.pid

        def shares_s() -> dict[str, float]:
            # The capture is a child of the page server, which is one of this process.
            of_capture, of_server, of_all = map(cpu_s, (capture, page_server, os.getpid()))
            return {
                "capture, emulated sensors": of_capture,
                "page server": of_server - of_capture,
                "browsers and their driver": of_all - of_server,
            }

        before, begun_s = shares_s(), time.perf_counter()
        counts = [0] * browsers
        while min(counts) < wanted and time.perf_counter() - begun_s < LONGEST_S:
            time.sleep(2.0)
            counts = [page.evaluate("window.seen.length") for page in pages]
        took_s = time.perf_counter() - begun_s
        wall_ms = 1000.0 * (time.time() - time.perf_counter())
        seen = np.concatenate([np.array(page.evaluate("window.seen")) for page in pages])
        after = shares_s()
        arrived_ms = 1000.0 * seen[:, 1] + wall_ms
        say = sys.stdout.write
        say(f"{min(counts)} events, {browsers} browsers, {took_s:.0f} s\n")
        for name, column in (("in the page's script", 2), ("painted", 3)):
            late_ms = seen[:, column] - arrived_ms
            p50, p95, p99 = np.percentile(late_ms, (50, 95, 99))
            say(f"{name:22} p50 {p50:.0f}  p95 {p95:.0f}  p99 {p99:.0f}  ")
            say(f"max {late_ms.max():.0f} ms\n")
        for name, value_s in after.items():
            say(f"{name:27} {100.0 * (value_s - before[name]) / took_s:.0f} % of a core\n")
        say(f"load of the computer: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores\n")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(given[0] if given else 500, given[1] if len(given) > 1 else 3)
