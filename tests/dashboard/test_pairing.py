"""Other devices pair with the printed code; what the gate refuses the served page refuses."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from typing import Any

from tests.dashboard.serving import TRUSTING, Server, Tab


def printed_code(server: Server) -> str:
    lines = [line for line in server.said.read_text().splitlines() if line.startswith("Code,")]
    return lines[-1].split()[-1]


def test_a_device_pairs_with_the_printed_code_only(browser: Any, lan: Server) -> None:
    place = lan.url.replace("127.0.0.1", "127.0.0.2")
    assert "█" in lan.said.read_text(), "the picture for the camera"
    tab = Tab(browser, "phone", ignore_https_errors=True)
    tab.page.goto(place)
    assert tab.page.url.endswith("/pair")
    code = printed_code(lan)
    tab.page.fill("#pair-code", "ABCD-2345")
    tab.page.click("text=Pair >> nth=-1")
    tab.wait_text("#pair-told", "not the code")
    tab.page.fill("#pair-code", code)
    tab.page.click("button")
    tab.page.wait_for_url(f"{place}/")
    tab.wait_text("#shell-link", "No session")
    assert printed_code(lan) != code
    (cookie,) = tab.context.cookies()
    assert cookie["secure"]
    assert cookie["httpOnly"]
    assert cookie["sameSite"] == "Strict"
    tab.close()
    other = Tab(browser, "phone", ignore_https_errors=True)
    # As the camera opens it; the used code does not pair a second device.
    other.page.goto(f"{place}/pair#{code}")
    other.wait_text("#pair-told", "has been used")
    other.page.goto("about:blank")
    other.page.goto(f"{place}/pair#{printed_code(lan)}")
    other.page.wait_for_url(f"{place}/")
    other.close()


def test_the_served_page_refuses_what_the_gate_refuses(lan: Server) -> None:
    def status(url: str, data: bytes | None = None, **headers: str) -> int:
        request = urllib.request.Request(url, data, headers)
        try:
            with urllib.request.urlopen(request, timeout=5.0, context=TRUSTING) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            error.close()
            return error.code

    assert status(lan.url) == 200
    assert status(lan.url, Host="evil.example") == 400
    assert status(lan.url.replace("127.0.0.1", "127.0.0.2") + "/setup") == 401
    assert status(f"{lan.url}/pair", json.dumps({"code": "x"}).encode()) == 403
    forwarded = {"X-Forwarded-For": "127.0.0.1"}
    assert status(lan.url.replace("127.0.0.1", "127.0.0.2") + "/setup", **forwarded) == 401
