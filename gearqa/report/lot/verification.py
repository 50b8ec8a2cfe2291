"""The check of a record in lines: each of its subjects, then what it came to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gearqa.wording.visible import visible

NAMES: Final[Mapping[str, str]] = {
    "files": "files",
    "record": "record",
    "chain": "chain",
    "signature": "signature",
    "values": "recomputed values",
}
MOST_DIFFERENCES: Final = 50
"""Lines of one subject that are printed; the JSON result holds all of them."""


def verification_lines(table: Mapping[str, Any]) -> list[str]:
    """Lines of a verification as `verify --json` lays it out.

    >>> found = {"subject": "files", "status": "differs", "where": "", "sentence": "a.csv: changed"}
    >>> verification_lines({"lot_id": "L-7", "subjects": {"files": "differs"}, "findings": [found]})
    ['files: differs: a.csv: changed', 'lot L-7: 1 difference; not checked: nothing']
    """
    lines, counts = [], dict.fromkeys(NAMES, 0)
    differences = 0
    for one in table["findings"]:
        subject, status = one["subject"], one["status"]
        differences += status == "differs"
        counts[subject] += status == "differs"
        if status == "differs" and counts[subject] > MOST_DIFFERENCES:
            continue
        told = visible(one["sentence"])
        head = f"{NAMES[subject]} {status}"
        lines.append(told if told.startswith(head) else f"{NAMES[subject]}: {status}: {told}")
    lines += [
        f"{NAMES[subject]}: and {count - MOST_DIFFERENCES} more differences"
        for subject, count in counts.items()
        if count > MOST_DIFFERENCES
    ]
    left = [NAMES[subject] for subject, status in table["subjects"].items() if status == "not checked"]
    told = "nothing that was checked differs"
    if differences:
        told = f"{differences} difference{'' if differences == 1 else 's'}"
    lines.append(f"lot {visible(table['lot_id'])}: {told}; not checked: {', '.join(left) or 'nothing'}")
    return lines
