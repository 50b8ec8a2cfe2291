"""The traces of these tests are ideal, but in test_doubts."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True, scope="module")
def _ideal(request: pytest.FixtureRequest) -> None:
    if request.module.__name__.rpartition(".")[2] != "test_doubts":
        request.getfixturevalue("ideal_readings")
