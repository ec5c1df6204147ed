"""A real PostgreSQL server for the tests: started in a folder of its own, no network port."""

from __future__ import annotations

import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

SYSTEM_USER = "postgres"
"""The server refuses to run for root; Debian's package brings this user."""

_NUMBERS = itertools.count(1)

DEBIAN = Path("/usr/lib/postgresql")


def programs() -> Path | None:
    """Find the folder of the server's programs: on the path, or the newest of Debian's."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    found = sorted(DEBIAN.glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    return found[-1].parent if found else None


@contextmanager
def running(binaries: Path) -> Iterator[str]:
    """Run a server; yields the address of an empty database."""
    # Not pytest's own folder: the server's user may not look into that.
    folder = Path(tempfile.mkdtemp(prefix="imujump-server-"))
    as_user: list[str] = []
    if os.name == "posix" and os.geteuid() == 0:
        shutil.chown(folder, SYSTEM_USER)
        as_user = ["runuser", "-u", SYSTEM_USER, "--"]
    data = folder / "data"

    def run(program: str, *arguments: str) -> None:
        subprocess.run(
            [*as_user, str(binaries / program), *arguments],
            check=True,
            cwd=folder,
            stdout=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
        )

    try:
        run("initdb", "-D", str(data), "-U", "coach", "-A", "trust", "-E", "UTF8", "--no-sync")
        # A socket in the folder instead of a port: two servers never meet.
        settings = f"-F -c listen_addresses='' -c unix_socket_directories='{folder}'"
        run("pg_ctl", "-D", str(data), "-w", "-l", str(folder / "log"), "-o", settings, "start")
        try:
            yield f"postgresql://coach@/postgres?host={folder}"
        finally:
            run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def fresh_schema(server: str) -> str:
    """Make an empty schema on the server; returns an address that sees nothing else.

    A database of its own would be some three hundred files.
    """
    name = f"club_{next(_NUMBERS)}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")
    return f"{server}&options=-csearch_path%3D{name}"
