"""Settings and fixtures shared by all tests, and the count of what was checked against the outside."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings
from ideal_readings import taken_for_good

# A deadline would make the machine's load decide; in CI the same examples run every time.
settings.register_profile("gearqa", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("gearqa")

# A shell starts what runs in the background deaf to Ctrl-C, and programs that tests start would inherit that.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="module")
def ideal_readings() -> Iterator[None]:
    """Ideal readings are taken for good."""
    with taken_for_good():
        yield


KINDS = ("published", "independent", "regression")


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Print how many checks of each kind passed."""
    passed = terminalreporter.stats.get("passed", ())
    counts = {kind: sum(kind in report.keywords for report in passed) for kind in KINDS}
    if any(counts.values()):
        words = ", ".join(f"{count} {kind}" for kind, count in counts.items())
        terminalreporter.write_line(f"passed, by what they were checked against: {words}")
