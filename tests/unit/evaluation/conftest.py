"""The ideal traces of these tests are what no probe gives: they are taken for good, but in test_doubts."""

from __future__ import annotations

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def _ideal_readings(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.module.__name__.rpartition(".")[2] != "test_doubts":
        monkeypatch.setattr(
            "gearqa.evaluation.trace_sets.odd_rows", lambda x, y, low, high: np.zeros(len(y), dtype=np.bool_)
        )
        monkeypatch.setattr("gearqa.evaluation.pitch_sets.table_fault", lambda readings: None)
