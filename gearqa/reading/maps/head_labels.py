"""Which label above the headers of some files gives serial, tooth, flank or the data of a measurement."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Final

from gearqa.reading.maps.head_facts import behind_label
from gearqa.reading.maps.trade_words import STRONG_SERIAL, flank_of, read_header

_CELLS: Final = re.compile(r"[;|\t\"]|\s\s+")
_MARK: Final = re.compile(r"\s*[:=]\s*")
_COUNTS: Final = re.compile(r"number of|no\.? of|count|anzahl|z(ä|ae)hnezahl|^z$|^teeth|^z(ä|ae)hne|歯数")
"""What looks like the number of one tooth and is the number of teeth."""

Heads = Sequence[Sequence[str]]


def serial_label(heads: Heads, separator: str) -> str | None:
    """The label of the serial: one that differs from file to file, and speaks of a serial, goes first."""
    found = _labels(heads, separator, lambda label: read_header(label).quantity == "serial")
    strong = [label for label in found if STRONG_SERIAL.search(label.casefold())]
    differing = [label for label in found if len(set(found[label])) > 1]
    both = [label for label in strong if label in differing]
    return next(iter([*both, *differing, *strong, *found]), None)


def tooth_label(heads: Heads, separator: str) -> str | None:
    """The label of the number of the tooth, which differs from file to file."""

    def fits(label: str) -> bool:
        return read_header(label).quantity == "tooth" and not _COUNTS.search(label.casefold())

    found = _labels(heads, separator, fits)
    numbers = (label for label, values in found.items() if all(map(str.isdigit, values)))
    return next((label for label in numbers if len(set(found[label])) > 1), None)


def flank_label(heads: Heads, separator: str) -> tuple[str, tuple[str, ...]] | None:
    """The label of the flank and its words."""
    found = _labels(heads, separator, lambda label: read_header(label).quantity == "flank")
    for label, values in found.items():
        if all(map(flank_of, values)):
            return label, tuple(sorted(set(values)))
    return None


def labels_like(heads: Heads, separator: str, pattern: str) -> dict[str, tuple[str, ...]]:
    """Labels that a pattern is found in, with their values file by file."""
    return _labels(heads, separator, lambda label: re.search(pattern, label.casefold()) is not None)


def _labels(heads: Heads, separator: str, fits: Callable[[str], bool]) -> dict[str, tuple[str, ...]]:
    """Labels that stand in every head, once each or with one value, and what stands behind them."""
    found = {}
    for label in dict.fromkeys(label for line in heads[0] for label in _in_line(line)):
        if not fits(label):
            continue
        values = [{v for line in head if (v := behind_label(line, label, separator))} for head in heads]
        if all(len(of_file) == 1 for of_file in values):
            found[label] = tuple(of_file.pop() for of_file in values)
    return found


def _in_line(line: str) -> list[str]:
    cells = [cell.strip(" #,") for cell in _CELLS.split(line.strip()) if cell.strip(" #,")]
    return [label for cell in cells if (label := _MARK.split(cell)[0]).strip()]
