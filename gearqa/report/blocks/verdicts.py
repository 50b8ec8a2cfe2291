"""Verdicts as cells: the word, and the mark that goes with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gearqa.report.blocks.document import Cell, Status
from gearqa.wording.verdicts import MASTER_QUALITY, conformity_text

STATUS: Final[Mapping[bool | None, Status]] = {True: "good", False: "bad", None: "open"}
DECISION_STATUS: Final[Mapping[str, Status]] = {"release": "good", "hold": "open", "reject": "bad"}
"""Decision of a lot -> its mark."""


def conformity_cell(conforms: bool | None, state: str | None = None) -> Cell:
    """Whether a value or a gear meets the drawing; `state` is that under the measurement uncertainty."""
    return Cell(conformity_text(conforms, state), STATUS[conforms])


def master_quality_cell(reached: bool | None) -> Cell:
    """Whether a gear reached master quality."""
    return Cell(MASTER_QUALITY[reached], STATUS[reached])
