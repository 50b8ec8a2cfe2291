"""Fixtures shared by all tests; no logic."""

import pytest

KINDS = ("published", "independent", "regression")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print how many checks of each kind passed."""
    passed = terminalreporter.stats.get("passed", [])
    counts = (f"{sum(kind in report.keywords for report in passed)} {kind}" for kind in KINDS)
    terminalreporter.write_line(f"checks against sources passed: {', '.join(counts)}")
