"""Programs and libraries from outside that some tests need; where one is missing, they skip and name it."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")
"""The browser of the tests: Debian's, or the one that is named."""

NO_POPPLER = "poppler-utils is not installed: no program pdftotext"

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None or not Path(CHROMIUM).exists(),
    reason="Chromium is not installed, and CHROMIUM names none",
)
needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason=NO_POPPLER)


@contextmanager
def running_chromium() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as playwright:
        engine = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield engine
        engine.close()


def pdf_text(path: Path, *options: str) -> str:
    """Text of a PDF as poppler reads it, pages ended by form feeds."""
    if shutil.which("pdftotext") is None:
        pytest.skip(NO_POPPLER)
    done = subprocess.run(["pdftotext", *options, path, "-"], capture_output=True, check=True)
    return done.stdout.decode()


def require_postgres_driver() -> None:
    """Skip the test where psycopg is missing, or finds no libpq."""
    try:
        import psycopg  # noqa: F401
    except ImportError as error:
        missing_postgres(f"the PostgreSQL driver (pip install 'gearqa[postgres]') is missing: {error}")


def missing_postgres(what: str) -> None:
    """Skip the test, or fail it where GEARQA_REQUIRE_POSTGRES is set."""
    if os.environ.get("GEARQA_REQUIRE_POSTGRES"):
        pytest.fail(what)
    pytest.skip(what)
