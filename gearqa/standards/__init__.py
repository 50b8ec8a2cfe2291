"""Tolerance standards, one package per edition, found by the title that is printed on a drawing."""

from __future__ import annotations

import importlib
from types import ModuleType
from typing import Final

DEFAULT_STANDARD: Final = "ISO 1328-1:2013"
"""Grades where the drawing names no other."""
GRADING: Final[dict[str, str]] = {DEFAULT_STANDARD: "gearqa.standards.iso1328_1_2013"}
"""Printed title -> package, of the standards that a drawing may name."""

COMPARISON: Final[dict[str, str]] = {"ISO 1328-1:1995": "gearqa.standards.iso1328_1_1995"}
"""Printed title -> package, of editions kept only to compare figures that others have stated."""


def standard(title: str) -> ModuleType:
    """Return the package of a standard by its printed title.

    Every package has `__title__`, `__edition__`, `CLASSES`, `scope` and `tolerance_table`.

    Source: the titles are those printed on the standards themselves.

    Parameters
    ----------
    title : str
        Printed title with the year of the edition. [-]

    Returns
    -------
    module
        The package. [-]

    Raises
    ------
    KeyError
        If no edition of that title is here.

    Examples
    --------
    >>> standard("ISO 1328-1:2013").__edition__
    2013
    """
    return importlib.import_module({**GRADING, **COMPARISON}[title])
