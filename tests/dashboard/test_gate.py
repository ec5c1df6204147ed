"""Only our own pages, only under our own names, only paired devices."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path
from typing import Any

import pytest

from dashboard.gate import Gate
from dashboard.pairing import COOKIE, Pairing

HOST = "192.168.1.20:8765"


def ask(
    gate: Gate,
    *,
    kind: str = "http",
    method: str = "GET",
    path: str = "/",
    client: str = "127.0.0.1",
    **headers: str,
) -> tuple[Any, dict[str, str]]:
    """Send one request through the gate; return status (or what became of it) and headers."""
    told: dict[str, str] = {"host": "127.0.0.1:8765", **headers}
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "client": (client, 5000),
        "headers": [(k.replace("_", "-").encode(), v.encode()) for k, v in told.items()],
    }
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request"}

    asyncio.run(gate(scope, receive, send))
    first = sent[0]
    found = {k.decode(): v.decode() for k, v in first.get("headers", [])}
    return first.get("status", first["type"]), found


async def inside(scope: Any, receive: Any, send: Any) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
    else:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})


@pytest.fixture
def pairing() -> Pairing:
    return Pairing()


@pytest.fixture
def gate(pairing: Pairing) -> Gate:
    return Gate(inside, ["127.0.0.1:8765", HOST], pairing, secure=False)


def test_a_browser_on_this_computer_gets_a_careful_cookie(gate: Gate, pairing: Pairing) -> None:
    status, headers = ask(gate)
    assert status == 200
    cookie = headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Secure" not in cookie
    assert pairing.knows(cookie.split(";")[0].split("=", 1)[1])
    secure = Gate(inside, ["127.0.0.1:8765"], pairing, secure=True)
    assert "Secure" in ask(secure)[1]["set-cookie"]


def test_a_foreign_host_name_is_refused(gate: Gate) -> None:
    # DNS rebinding: the attacker's name resolves to this computer.
    for host in ("evil.example:8765", "127.0.0.1", "127.0.0.1:8765.evil.example", ""):
        assert ask(gate, host=host)[0] == 400


def test_another_device_must_pair(gate: Gate, pairing: Pairing) -> None:
    other = {"client": "192.168.1.33", "host": HOST}
    status, headers = ask(gate, **other)
    assert (status, headers["location"]) == (303, "/pair")
    assert ask(gate, path="/setup", **other)[0] == 401
    assert ask(gate, path="/_dash-layout", **other)[0] == 401
    assert ask(gate, path="/pair", **other)[0] == 200
    assert ask(gate, path="/assets/style.css", **other)[0] == 200
    for near_miss in ("/pairing", "/assets", "/assets/../_dash-layout"):
        status, _ = ask(gate, path=near_miss, **other)
        assert status in (401, 200)
        assert (status == 200) == near_miss.startswith("/assets/")
    cookie = pairing.redeem(pairing.code)
    assert ask(gate, cookie=f"{COOKIE}={cookie}", **other)[0] == 200
    assert ask(gate, cookie=f"{COOKIE}=made-up", **other)[0] == 303


def test_requests_from_other_sites_are_refused(gate: Gate, pairing: Pairing) -> None:
    cookie = f"{COOKIE}={pairing.admit()}"
    own, foreign = "http://127.0.0.1:8765", "http://evil.example"
    for kind, path in (("http", "/_dash-update-component"), ("websocket", "/push")):
        good = ask(gate, kind=kind, method="POST", path=path, cookie=cookie, origin=own)[0]
        assert good in (200, "websocket.accept")
        for origin in (foreign, "null", "https://127.0.0.1:8765", "http://127.0.0.1:9"):
            bad = ask(gate, kind=kind, method="POST", path=path, cookie=cookie, origin=origin)[0]
            assert bad in (403, "websocket.close")
        assert ask(gate, kind=kind, method="POST", path=path, cookie=cookie)[0] in (
            403,
            "websocket.close",
        )
    assert ask(gate, cookie=cookie, sec_fetch_site="cross-site", sec_fetch_mode="no-cors")[0] == 403
    assert ask(gate, kind="websocket", path="/push", origin=own)[0] == "websocket.close"


def test_a_code_is_good_once_and_guessing_is_hopeless(tmp_path: Path) -> None:
    told: list[str] = []
    clock = [1000.0]
    pairing = Pairing(tmp_path / "viewers.json", told.append, lambda: clock[0])
    first = pairing.code
    assert told == [first]
    assert pairing.redeem("AAAA-AAAA") is None
    cookie = pairing.redeem(first.lower().replace("-", " "))
    assert cookie is not None
    assert pairing.redeem(first) is None
    second = pairing.code
    assert second != first
    for _ in range(5):
        assert pairing.redeem("wrong") is None
    assert pairing.code != second
    third = pairing.code
    clock[0] += 3600.0
    assert pairing.code != third
    # A restarted server knows the device, and the file does not hold the cookie itself.
    assert Pairing(tmp_path / "viewers.json", now_s=lambda: clock[0]).knows(cookie)
    assert cookie not in (tmp_path / "viewers.json").read_text()
    clock[0] += 13 * 3600.0
    assert not pairing.knows(cookie)


@pytest.mark.parametrize("jump_s", [-86_400.0, 86_400.0])
def test_setting_the_clock_unpairs_nobody(monkeypatch: pytest.MonkeyPatch, jump_s: float) -> None:
    pairing = Pairing()
    cookie, code = pairing.admit(), pairing.code
    now_s = time.time()
    monkeypatch.setattr(time, "time", lambda: now_s + jump_s)
    assert pairing.knows(cookie)
    assert pairing.code == code
    again = pairing.redeem(code)
    assert again is not None
    assert pairing.knows(again)
