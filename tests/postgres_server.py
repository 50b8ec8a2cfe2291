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
import time
from pathlib import Path

from outside import missing_postgres, require_postgres_driver


def programs() -> Path | None:
    """Folder of the newest server's programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    return found[-1].parent if found else None


START_SECONDS = 60
RUN = """
"$0" -D "$1" -k "$2" -c listen_addresses= -c fsync=off -c shared_buffers=32MB -c max_connections=30 \\
    >"$2/log" 2>&1 &
server=$!
cat >/dev/null
kill -QUIT $server
wait $server
rm -rf "$2"/*
"""
"""Runs the server until standard input ends: so it ends with the tests, however they end."""


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
        self._process = subprocess.Popen(
            ["sh", "-c", RUN, self._bin / "postgres", data, self.folder], stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, user=self._user, cwd=self.folder,
        )  # fmt: skip
        end = time.monotonic() + START_SECONDS
        while subprocess.run(
            [self._bin / "pg_isready", "-h", self.folder], capture_output=True, check=False
        ).returncode:
            assert time.monotonic() < end, (self.folder / "log").read_text(encoding="utf-8")
            time.sleep(0.05)

    def stop(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)

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
    require_postgres_driver()
    bin_folder = programs()
    if bin_folder is None:
        missing_postgres("the programs of a PostgreSQL server are not installed under /usr/lib/postgresql")
    server = Server(bin_folder)
    server.start()
    return server
