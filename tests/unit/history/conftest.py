"""Fixtures of the history store: every test of the store runs on SQLite and on PostgreSQL."""

from __future__ import annotations

import pytest
from postgres_server import running_server

from gearqa.history.store import HistoryStore

KINDS = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


@pytest.fixture(scope="session")
def postgres():
    server = running_server()
    yield server
    server.stop()


@pytest.fixture(params=KINDS)
def where(request, tmp_path):
    """Address of a fresh store."""
    if request.param == "sqlite":
        return str(tmp_path / "history.sqlite")
    return request.getfixturevalue("postgres").database()


@pytest.fixture
def store(where):
    with HistoryStore.open(where, writing=True) as opened:
        yield opened
