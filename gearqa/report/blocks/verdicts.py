"""Verdicts as cells: the word, and the mark that goes with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gearqa.report.blocks.document import Cell, Status
from gearqa.wording.verdicts import CONFORMITY, MASTER_QUALITY

STATUS: Final[Mapping[bool | None, Status]] = {True: "good", False: "bad", None: "open"}
DECISION_STATUS: Final[Mapping[str, Status]] = {"release": "good", "hold": "open", "reject": "bad"}
"""Decision of a lot -> its mark."""


def conformity_cell(conforms: bool | None) -> Cell:
    """Whether a value or a gear meets the drawing."""
    return Cell(CONFORMITY[conforms], STATUS[conforms])


def master_quality_cell(reached: bool | None) -> Cell:
    """Whether a gear reached master quality."""
    return Cell(MASTER_QUALITY[reached], STATUS[reached])
