"""How soon trends, an athlete and a report are usable after a click: 1,000 sessions × 20 attempts.

    python -m tests.benchmarks.season_pages [ATHLETES [SESSIONS]]

With 2 athletes, the usual here, each has 500 sessions. A click in a real browser to the page being
laid out with its pictures; then the memory of server and browser over 40 pages. Linux; about a
minute.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from imujump.sessions.store import open_store
from tests.benchmarks.review_pages import fill, memory_mb, say, timed, told
from tests.dashboard.browser import opened_browser
from tests.dashboard.serving import Server, Tab

CLICKS = 12

TRENDS = "document.querySelector('.graph .points path')"
OTHER = f"document.querySelector('.answer')?.textContent.includes('pproach speed') && {TRENDS}"
ATHLETE = (
    "document.querySelector('#athlete-load svg') && document.querySelector('#athlete-speed svg')"
)
LIST = "document.querySelector('#athletes-add')"


def walk(tab: Tab, server: Server) -> None:
    """From athletes to one of them, to trends, to another metric, and back."""
    times: dict[str, list[float]] = {}

    def take(name: str, click: str, ready: str) -> None:
        times.setdefault(name, []).append(timed(tab, click, ready))

    tab.page.goto(f"{server.url}/athletes")
    tab.wait(f"() => {LIST}")
    # Whoever has read the list for some seconds; what is loaded once is loaded by then.
    tab.page.wait_for_timeout(6000)
    say(f"{'trends, the first time':44} {timed(tab, NAV.format('trends'), TRENDS):.0f} ms\n")
    timed(tab, NAV.format("athletes"), LIST)
    say(f"{'athlete, the first time':44} {timed(tab, '.list tbody a', ATHLETE):.0f} ms\n")
    for _ in range(CLICKS):
        take("athletes", NAV.format("athletes"), LIST)
        take("athlete", ".list tbody a", ATHLETE)
        take("trends", ".head nav a", TRENDS)
        # A choice in a list is a change of the address, as this is.
        tab.page.evaluate(
            """() => {
            const list = document.getElementById("trends-metric");
            const way = document.createElement("a");
            way.id = "other";
            way.href = [...list.options].find((each) => each.text === "Approach speed").value;
            list.closest(".filters").append(way);
            }"""
        )
        take("trends of another metric", "#other", OTHER)
    for name, taken in times.items():
        told(name, taken)


NAV = "#shell-pages a[href='/{}']"


def report(tab: Tab) -> None:
    taken = [
        float(
            tab.page.evaluate(
                """async () => {
                const began = performance.now();
                await (await fetch("/review/report/1")).text();
                return performance.now() - began;
                }"""
            )
        )
        for _ in range(CLICKS)
    ]
    told("report", taken)


def remembered(tab: Tab, server: Server) -> None:
    """Memory before and after many pages."""
    assert server.process is not None
    for number in range(21):
        timed(tab, NAV.format("trends"), TRENDS)
        timed(tab, NAV.format("athletes"), LIST)
        if number % 10 == 0:
            tab.context.new_cdp_session(tab.page).send("HeapProfiler.collectGarbage")
            heap_mb = float(tab.page.evaluate("performance.memory.usedJSHeapSize / 1e6"))
            own_mb = memory_mb(server.process.pid)
            say(f"after {2 * number + 2:3} pages: server {own_mb:.0f} MB, page {heap_mb:.1f} MB\n")


def main(athletes: int, sessions: int) -> None:
    with tempfile.TemporaryDirectory(prefix="imujump-seasons-") as kept:
        own = Path(kept)
        place = own / "store.sqlite"
        with open_store(place) as store:
            fill(store, sessions, athletes)
        say(f"{sessions} sessions × 20 attempts of {athletes} athletes\n")
        server = Server(own / "court", own, "--store", str(place))
        server.start()
        try:
            with opened_browser(own / "profile") as browser:
                tab: Any = Tab(browser, "laptop")
                walk(tab, server)
                report(tab)
                remembered(tab, server)
                assert not tab.faults, tab.faults
        finally:
            server.stop()


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    main(given[0] if given else 2, given[1] if len(given) > 1 else 1000)
