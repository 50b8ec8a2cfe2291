"""The check of a record in lines: its findings, then what they come to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Final

from gearqa.model.verification import Subject, Verification
from gearqa.wording.numbers import count_text
from gearqa.wording.visible import visible

NAMES: Final[Mapping[Subject, str]] = {
    "files": "files",
    "record": "record",
    "chain": "chain",
    "signature": "signature",
    "values": "recomputed values",
}
MOST_DIFFERENCES: Final = 50
"""Lines of one subject that are printed; the JSON result holds all of them."""


def verification_lines(verification: Verification) -> list[str]:
    """One line a finding, and one for the whole.

    >>> from gearqa.model.verification import SUBJECTS, Finding
    >>> findings = [Finding(name, "not checked", "", "no folder was given") for name in SUBJECTS[1:]]
    >>> changed = Finding("files", "differs", "", "a.csv: changed")
    >>> first, *_, last = verification_lines(Verification("L-7", "0", (changed, *findings)))
    >>> first, last
    ('files: differs: a.csv: changed', 'lot L-7: 1 difference; not checked: record, chain, signature, recomputed values')
    """  # noqa: E501
    lines: list[str] = []
    differences: Counter[Subject] = Counter()
    for one in verification.findings:
        differences[one.subject] += one.status == "differs"
        if one.status != "differs" or differences[one.subject] <= MOST_DIFFERENCES:
            lines.append(f"{NAMES[one.subject]}: {one.status}: {visible(one.sentence)}")
    lines += [
        f"{NAMES[subject]}: {count_text(count - MOST_DIFFERENCES, 'more difference')}"
        for subject, count in differences.items()
        if count > MOST_DIFFERENCES
    ]
    count = differences.total()
    outcome = count_text(count, "difference") if count else "nothing that was checked differs"
    left = [NAMES[subject] for subject, status in verification.subjects.items() if status == "not checked"]
    lines.append(
        f"lot {visible(verification.lot_id)}: {outcome}; not checked: {', '.join(left) or 'nothing'}"
    )
    return lines
