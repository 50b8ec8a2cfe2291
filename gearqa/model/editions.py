"""Tolerance systems that a drawing may name: how each is called, its classes, and how it evaluates.

The tolerances themselves are in `gearqa.standards`, one package a system.
"""

from __future__ import annotations

import re
from typing import Final, Literal

from gearqa.late_dataclass import dataclass

SlopeSpan = Literal["full", "evaluation"]
StandardTitle = Literal[
    "ISO 1328-1:2013",
    "ANSI/AGMA ISO 1328-1-B14",
    "ISO 1328-1:1995",
    "GB/T 10095.1-2008",
    "JIS B 1702-1:1998",
    "DIN 3962:1978",
    "JIS B 1702:1976",
]


@dataclass(frozen=True, slots=True)
class EditionRules:
    """What is fixed by a tolerance system beside its tolerances."""

    title: str
    """As printed on a drawing."""
    first_class: int
    last_class: int
    """The coarsest."""
    word: str
    """What a class is called there."""
    slope_span: SlopeSpan
    """Length over which slopes are stated."""
    profile_share: float
    """Share of the roll length from control to tip form diameter that is evaluated."""
    missing_in_tip_zone: float
    """Part of the material missing in the tip zone that counts; 0: none."""
    mark: str
    """Behind a class in a table where classes of several systems stand; the usual edition has none."""
    same_as: str = ""
    """The edition whose text it is."""

    @property
    def text(self) -> str:
        """Title of the edition whose text it is."""
        return self.same_as or self.title

    @property
    def evaluates_as(self) -> tuple[SlopeSpan, float, float]:
        """What the evaluation of traces depends on."""
        return self.slope_span, self.profile_share, self.missing_in_tip_zone

    @property
    def steps_by_root_2(self) -> bool:
        """Whether each class allows the root of two times the one before."""
        return self.text in EDITIONS_OF_ISO_1328_1


ISO_1328_1_2013: Final = "ISO 1328-1:2013"
ISO_1328_1_1995: Final = "ISO 1328-1:1995"
EDITIONS_OF_ISO_1328_1: Final = (ISO_1328_1_2013, ISO_1328_1_1995)
DIN_3962_1978: Final = "DIN 3962:1978"
JIS_B_1702_1976: Final = "JIS B 1702:1976"


def _newer(title: str, same_as: str = "") -> EditionRules:
    return EditionRules(title, 1, 11, "class", "full", 0.95, 0.0, "", same_as)


def _older(title: str, same_as: str = "") -> EditionRules:
    return EditionRules(title, 0, 12, "grade", "evaluation", 0.92, 1 / 3, ":1995", same_as)


EDITIONS: Final[dict[str, EditionRules]] = {
    one.title: one
    for one in (
        _newer(ISO_1328_1_2013),
        _newer("ANSI/AGMA ISO 1328-1-B14", same_as=ISO_1328_1_2013),
        _older(ISO_1328_1_1995),
        _older("GB/T 10095.1-2008", same_as=ISO_1328_1_1995),
        _older("JIS B 1702-1:1998", same_as=ISO_1328_1_1995),
        EditionRules(DIN_3962_1978, 1, 12, "quality", "evaluation", 0.92, 1 / 3, " DIN"),
        EditionRules(JIS_B_1702_1976, 0, 8, "class", "evaluation", 0.92, 1 / 3, " JIS"),
    )
}
"""Printed title -> rules. How the older systems evaluate is from memory."""

LEFT_OUT: Final[dict[str, tuple[str, str]]] = {
    "ANSI/AGMA 2015-1-A01": (r"AGMA.*2015|2015-1-A01", "its own formulas could not be seen"),
    "AGMA 2000-A88": (
        r"AGMA|\bQ ?\d{1,2}\b",
        "of its quality numbers values of some sizes are printed, the formulas are not",
    ),
    "ISO 1328-2": (
        r"1328-2|10095\.2|1702-2",
        "no printed cell confirms its radial composite tolerances; its runout goes with ISO 1328-1:1995",
    ),
    "ISO 1328:1975": (r"1328[:-]1975|10095-(19)?88", "no formula of it is printed in a source at hand"),
}
"""Systems that drawings name and that are not given here: how each is written, and why it is left out."""


def why_left_out(text: str) -> str:
    """Why a tolerance system that a drawing names is not given here; empty where it is not known at all.

    >>> why_left_out("AGMA Q12")[:60]
    'AGMA 2000-A88 is left out: of its quality numbers values of '
    >>> why_left_out("works standard 7")
    ''
    """
    for title, (pattern, reason) in LEFT_OUT.items():
        if re.search(pattern, text, re.IGNORECASE):
            limits = "enter its limits under [tolerance.limits_um], without a class"
            return f"{title} is left out: {reason}; {limits}"
    return ""
