"""A private PostgreSQL server for tests: its own folder, a Unix socket, no network, nothing kept.

Debian puts the server's programs into /usr/lib/postgresql/VERSION/bin. The server refuses to run as root;
then it runs as user postgres, whom Debian's package creates.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

REQUIRED = "GEARQA_REQUIRE_POSTGRES"
"""Set where a missing server is a failure."""


def programs() -> Path | None:
    """Folder of the newest server's programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    return found[-1].parent if found else None


class Server:
    """A running server; `database` makes a fresh database and returns its address."""

    def __init__(self, bin_folder: Path) -> None:
        self._bin = bin_folder
        self.folder = Path(tempfile.mkdtemp(prefix="gq-pg-", dir="/tmp"))
        self._user: str | None = None
        if os.geteuid() == 0:
            self._user = "postgres"
            shutil.chown(self.folder, "postgres", pwd.getpwnam("postgres").pw_gid)
        self._count = 0

    def start(self) -> None:
        data = self.folder / "data"
        self._run("initdb", "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "-N")
        settings = "-c listen_addresses='' -c fsync=off -c shared_buffers=32MB -c max_connections=30"
        log = self.folder / "log"
        self._run("pg_ctl", "-D", data, "-w", "-l", log, "-o", f"-k {self.folder} {settings}", "start")

    def stop(self) -> None:
        self._run("pg_ctl", "-D", self.folder / "data", "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder)

    def database(self) -> str:
        self._count += 1
        name = f"gears{self._count}"
        self._run("psql", "-h", self.folder, "-U", "postgres", "-qc", f"CREATE DATABASE {name}", "postgres")
        return f"postgresql://postgres@/{name}?host={self.folder}"

    def _run(self, program: str, *words: object) -> None:
        subprocess.run(
            [self._bin / program, *map(str, words)], check=True, user=self._user, cwd=self.folder,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL,
        )  # fmt: skip


def running_server() -> Server:
    """Start a server, or skip the test where there is none to start."""
    bin_folder = programs()
    if bin_folder is None:
        if os.environ.get(REQUIRED):
            pytest.fail("no PostgreSQL server programs under /usr/lib/postgresql")
        pytest.skip("no PostgreSQL server programs under /usr/lib/postgresql")
    server = Server(bin_folder)
    server.start()
    return server
