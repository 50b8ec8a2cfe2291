"""What every stable code means and what to do about it: of problems, notices and gaps, for `gearqa explain`.

One entry a code; the sentence with its figures is made where the fact is found. Common practice, no source,
where nothing else is named.
"""

from __future__ import annotations

from typing import Final

from gearqa.wording.codes.drift import DRIFT
from gearqa.wording.codes.grading import GRADING
from gearqa.wording.codes.inputs import INPUTS
from gearqa.wording.codes.lot import LOT
from gearqa.wording.codes.studies import STUDIES

GROUPS: Final[dict[str, dict[str, tuple[str, str]]]] = {
    "Input that cannot be used, or was read in another way": INPUTS,
    "Drawing, grading and size of teeth": GRADING,
    "Lot": LOT,
    "Drift and diagnosis": DRIFT,
    "Supplier's report and gauge study": STUDIES,
}
"""Where a code comes up -> code -> (what it means, what to do)."""


def code_named(word: str) -> tuple[str, str] | None:
    """What a code means and what to do; None of an unknown one.

    >>> code_named("row_order")[1].startswith("Nothing")
    True
    """
    return next((codes[word] for codes in GROUPS.values() if word in codes), None)
