"""The draft of the map of a table of reported values: one row a value, or one row a gear."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from gearqa.reading.maps.family_draft import TableDraft, dialect_lines, regex_text
from gearqa.reading.maps.file_names import family_pattern
from gearqa.reading.maps.map_model import GAP
from gearqa.reading.maps.table_look import TableLook
from gearqa.reading.maps.trade_words import flank_of, read_header, unit_of
from gearqa.reading.settings.toml_text import toml_value
from gearqa.reading.values.parameter_names import parameter_key

_SHOWN_ROWS: Final = 5
FEWEST_HEADERS: Final = 2
"""Headers that name a parameter from which a row is taken as that of a gear."""
_FEWEST_TEETH: Final = 5
"""Teeth one after the other from which a table holds readings of every tooth."""
_UNIT: Final = re.compile(r"\s*[\[(<][^\])>]*[\])>]\s*$")
_UNIT_BEHIND: Final = r"(?:\s*[\[(<].*)?$"
_TOKENS: Final = re.compile(r"[\s_.\-/]+")
_OTHERS: Final = (
    ("tooth", r"tooth|zahn"),
    ("class", r"class|grade|klasse|quality|qualit(ä|ae)t"),
    ("standard", r"standard|norm|edition"),
    ("uncertainty_um", r"uncert|unsicher|^u$"),
    ("basis", r"basis"),
)


@dataclass(frozen=True, slots=True)
class _Named:
    """A header that names a parameter."""

    header: str
    parameter: str
    flank: str
    """The word for the flank as written; empty where there is none."""
    flank_first: bool


def reported_draft(files: Sequence[str], look: TableLook) -> TableDraft | None:
    """The draft of a table of reported values; None where the table is none."""
    named = [one for header in look.header if (one := _named(header)) is not None]
    numeric = [one for one in named if look.numbers(one.header)]
    body: list[str] = []
    hints: list[str] = []
    if len(numeric) >= FEWEST_HEADERS and not _has_positions(look):
        body = list(_wide(look, numeric, hints))
    elif (holder := _parameter_column(look)) is not None:
        body = list(_long(look, holder))
    if not body:
        return None
    pattern = family_pattern(files)
    lines = [f"file = {toml_value(pattern)}", *dialect_lines(look, hints), *body]
    rows = look.rows[:_SHOWN_ROWS]
    return TableDraft(tuple(files), pattern, "reported", look, rows, (), tuple(hints), tuple(lines))


def _has_positions(look: TableLook) -> bool:
    read = {header: read_header(header).quantity for header in look.header if header}
    if {*read.values()} & {"roll_length", "roll_angle", "face_position", "space"}:
        return True
    counted = [look.numbers(header) for header, quantity in read.items() if quantity == "tooth"]
    return any(
        len(n) >= _FEWEST_TEETH and n[:_FEWEST_TEETH] == [n[0] + k for k in range(_FEWEST_TEETH)]
        for n in counted
    )


def _named(header: str) -> _Named | None:
    """Parameter and flank of a header such as `Fα left [µm]`, or `ffb_R`."""
    bare = _UNIT.sub("", header).strip()
    if isinstance(parameter_key(bare), str):
        return _Named(header, bare, "", False)
    for first in (False, True):
        parts = _TOKENS.split(bare, maxsplit=1) if first else _TOKENS.split(bare)
        if len(parts) < 2:
            continue
        word = parts[0] if first else parts[-1]
        rest = bare[len(word) :] if first else bare[: -len(word)]
        rest = rest.strip(" _.-/")
        if flank_of(word) and isinstance(parameter_key(rest), str):
            return _Named(header, rest, word, first)
    return None


def _parameter_column(look: TableLook) -> str | None:
    """The column whose words are parameters."""
    for header in look.header:
        words = [word for word in look.words(header) if word] if header else []
        known = sum(isinstance(parameter_key(word), str) for word in words)
        if len(words) >= FEWEST_HEADERS and known >= 0.8 * len(words):
            return header
    return None


def _serial(look: TableLook) -> str:
    found = [header for header in look.header if header and read_header(header).quantity == "serial"]
    return (
        f"serial = {toml_value(found[0])}"
        if found
        else f'# serial = "..."  {GAP} which column holds the serial?'
    )


def _unit(look: TableLook, header: str) -> str | None:
    unit = read_header(header).unit
    return unit or (unit_of(look.units[look.header.index(header)]) if look.units else None)


def _wide(look: TableLook, named: Sequence[_Named], hints: list[str]) -> Iterator[str]:
    units = {_unit(look, one.header) for one in named}
    names = sorted({one.parameter for one in named}, key=len, reverse=True)
    words = sorted({one.flank for one in named if one.flank}, key=len, reverse=True)
    parameter = f"(?P<parameter>{'|'.join(map(re.escape, names))})".replace("\\ ", " ")
    flank = f"(?P<flank>{'|'.join(map(re.escape, words))})" if words else ""
    gap = r"[\s_.\-/]*"
    if any(one.flank_first for one in named):
        pattern = rf"^(?:{flank}{gap})?{parameter}"
    else:
        pattern = rf"^{parameter}(?:{gap}{flank})?" if flank else f"^{parameter}"
    yield "[reported.columns]"
    yield _serial(look)
    yield "[[reported.wide]]"
    yield f"header = {regex_text(pattern + _UNIT_BEHIND)}"
    if units == {"mm"}:
        yield "factor = 1000.0"
    elif units != {"um"}:
        yield f"factor = 1.0  {GAP} the file does not say the unit: 1.0 for micrometres, 1000.0 for mm"
    hints.append("one row a gear: parameter and flank stand in the header")


def _long(look: TableLook, holder: str) -> Iterator[str]:
    taken = {holder}
    yield "[reported.columns]"
    serial = _serial(look)
    yield serial
    yield f"parameter = {toml_value(holder)}"
    lines = []
    for key, pattern in (("flank", r"flank|side|seite|^lr$|^l/r$"), *_OTHERS):
        found = [h for h in look.header if h and h not in taken and re.search(pattern, _plain(h))]
        if found:
            taken.add(found[0])
            lines.append(f"{key} = {toml_value(found[0])}")
    left = [
        h for h in look.header if h and h not in taken and toml_value(h) not in serial and look.numbers(h)
    ]
    left = [h for h in left if re.search(r"value|wert|dev|abw|result|ist", _plain(h))] or left
    if left:
        unit = _unit(look, left[0])
        if unit == "mm":
            yield f"value_um = {{ column = {toml_value(left[0])}, factor = 1000.0 }}"
        else:
            gap = "" if unit == "um" else f"  {GAP} the file does not say the unit; micrometres?"
            yield f"value_um = {toml_value(left[0])}{gap}"
    else:
        yield f'# value_um = "..."  {GAP} which column holds the values?'
    yield from lines


def _plain(header: str) -> str:
    return _UNIT.sub("", header).strip().casefold()
