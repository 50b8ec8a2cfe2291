"""What the lines above the header of a table say: serial, flank, time and the like, as reports print them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from gearqa.reading.folder.dialect import find_header, physical_lines
from gearqa.reading.folder.sources import Dialect
from gearqa.reading.rows.patterns import Pattern

_MARKS: Final = ":;=|,\t"
"""Between a label and its value, beside the separator of the table and two blanks."""


def head_lines(text: str, dialect: Dialect) -> tuple[str, ...]:
    """The lines above the header, comment lines among them."""
    header = find_header(text, dialect)
    lines = [line.rstrip("\r\n") for line in physical_lines(text)]
    return tuple(lines if header is None else lines[: header.line - 1])


def head_values(lines: Sequence[str], wanted: str, separator: str) -> tuple[str, ...]:
    """The different values that a label, or a regular expression with one group, finds.

    >>> head_values(["# gear: OT-0308", "Part no.: X   Serial: Y"], "serial", ";")
    ('Y',)
    >>> head_values(["Side;L;;Serial;OT-1"], "Serial", ";"), head_values(["gear OT-1"], "gear (OT.*)", ";")
    (('OT-1',), ('OT-1',))
    """
    pattern = Pattern(f"(?m){wanted}") if is_pattern(wanted) else None
    if pattern is not None:
        found = pattern.every_group("\n".join(lines))
    else:
        found = [value for line in lines if (value := behind_label(line, wanted, separator))]
    return tuple(dict.fromkeys(value for text in found if (value := text.strip().strip('"').strip())))


def is_pattern(wanted: str) -> bool:
    """Whether a text has a group, and so is a regular expression, not a label."""
    return Pattern(wanted).groups > 0


def behind_label(line: str, label: str, separator: str) -> str:
    """The cell behind a label; empty where the line has no such label.

    >>> behind_label("Serial number: A1", "Serial", ","), behind_label("Serial no.,A1,x", "serial no.", ",")
    ('', 'A1')
    """
    marks = re.escape(_MARKS + separator)
    plain = r"\s+".join(map(re.escape, label.split()))
    found = re.search(rf'(?<![^\W_]){plain}"?(?:\s*[{marks}][\s{marks}"]*|\s\s+)(.*)', line, re.IGNORECASE)
    if found is None:
        return ""
    ends = re.escape(";|\t" + separator)
    return re.split(rf'[{ends}"]|\s\s+', found.group(1), maxsplit=1)[0].strip()
