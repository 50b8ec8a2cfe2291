"""How an unknown table is laid out: separator, lines before the header, units row, footer, wide columns."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Final, Literal

from gearqa.reading.folder.dialect import physical_lines, split_line
from gearqa.reading.folder.sources import Dialect
from gearqa.reading.maps.trade_words import flank_of, read_header, unit_of
from gearqa.reading.rows.csv_rows import is_skipped
from gearqa.reading.rows.decoding import NotTextError, decode_head, guess_encoding, read_head

_SEPARATORS: Final = (";", "\t", ",", "|")
_NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
JAPANESE: Final = "cp932"
_TAIL_BYTES: Final = 8192
_LOOKED_AT: Final = 400
_LINES_SEARCHED: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class TableLook:
    """The layout of one table file."""

    path: Path
    dialect: Dialect
    preamble: tuple[str, ...]
    """Lines before the header that are no comments."""
    head: tuple[str, ...]
    """All lines before the header."""
    header_line: int
    header: tuple[str, ...]
    units: tuple[str, ...]
    """Cells of the units row; empty where there is none."""
    rows: tuple[tuple[str, ...], ...]
    """The first rows of numbers."""
    footer: tuple[str, ...]
    """Rows at the end that are no readings."""

    def column(self, name: str) -> list[str]:
        """Cells of a column in the first rows."""
        at = self.header.index(name)
        return [row[at] for row in self.rows]

    def words(self, name: str) -> tuple[str, ...]:
        """Distinct cells of a column of words in the whole file, the footer's left out, as first met."""
        at, width = self.header.index(name), len(self.header)
        found = dict.fromkeys(self.column(name))
        with self.path.open(encoding=self.dialect.encoding, errors="replace", newline="") as text:
            lines = islice(text, self.header_line, _LINES_SEARCHED)
            with suppress(csv.Error):  # then what was found so far must do
                for row in csv.reader(lines, delimiter=self.dialect.separator):
                    if len(row) == width:
                        found.setdefault(row[at].strip())
        return tuple(word for word in found if word and word not in self.units)

    def numbers(self, name: str) -> list[float]:
        """The numbers of a column in the first rows; empty where a cell is neither number nor blank."""
        cells = [cell for cell in self.column(name) if cell]
        if not all(map(is_number, cells)):
            return []
        return [float(cell.replace(",", ".")) for cell in cells]


def is_number(cell: str) -> bool:
    """Whether a cell is a number, with decimal point or comma."""
    return _NUMBER.fullmatch(cell.strip()) is not None


def look_at_table(path: Path) -> TableLook | None:
    """Layout of a table, or None where the file holds nothing that looks like one.

    Raises
    ------
    NotTextError
        If the file is no text.
    OSError
        If it cannot be read.
    """
    head = read_head(path)
    whole = path.stat().st_size <= len(head)
    encoding, text = _text(head, whole)
    lines = [line.rstrip("\r\n") for line in physical_lines(text)]
    if not whole:
        lines = lines[:-1]
    best = _best_layout(lines, "#")
    if (best is None or best.without_header) and any(line.startswith("#") for line in lines):
        whole_lines = _best_layout(lines, "")
        best = whole_lines if whole_lines and lines[whole_lines.header_at].startswith("#") else best
    if best is None:
        return None
    footer = best.footer if whole else _footer_of_tail(path, encoding, best)
    decimal: Literal[".", ","] = "." if best.separator == "," else best.decimal
    skipped = tuple(line for line in lines[: best.header_at] if not is_skipped(line, best.comment))
    dialect = Dialect(
        encoding, best.separator, decimal,
        skip_rows=best.header_at if skipped else 0,
        skip_after_header=1 if best.units else 0,
        skip_last_rows=len(footer),
        comment=best.comment,
    )  # fmt: skip
    return TableLook(
        path, dialect, skipped, tuple(lines[: best.header_at]), best.header_at + 1, best.header, best.units,
        tuple(best.rows[:_LOOKED_AT]), tuple(footer),
    )  # fmt: skip


def _text(head: bytes, whole: bool) -> tuple[str, str]:
    """Encoding and text; what is neither UTF-8 nor Windows-1252 is tried as Japanese."""
    encoding = guess_encoding(head, whole=whole)
    try:
        return encoding, decode_head(head, encoding, whole=whole)
    except NotTextError:
        try:
            return JAPANESE, decode_head(head, JAPANESE, whole=whole)
        except NotTextError:
            pass
        raise


def _best_layout(lines: Sequence[str], comment: str) -> _Layout | None:
    candidates = [_Layout.of(lines, separator, comment) for separator in _SEPARATORS]
    return max((c for c in candidates if c is not None), key=lambda c: c.weight, default=None)


@dataclass(frozen=True, slots=True)
class _Layout:
    separator: str
    comment: str
    header_at: int
    header: tuple[str, ...]
    units: tuple[str, ...]
    rows: list[tuple[str, ...]]
    footer: list[str]
    numeric: frozenset[int]

    @property
    def weight(self) -> tuple[int, int]:
        return len(self.rows) * (len(self.header) - 1), len(self.header)

    @property
    def decimal(self) -> Literal[".", ","]:
        marks = Counter(mark for row in self.rows for at in self.numeric for mark in ".," if mark in row[at])
        return "," if marks[","] > marks["."] else "."

    @property
    def without_header(self) -> bool:
        """Whether what would be the header is a row of readings too."""
        return bool(self.numeric) and all(is_number(self.header[at]) for at in self.numeric)

    @classmethod
    def of(cls, lines: Sequence[str], separator: str, comment: str) -> _Layout | None:
        table = [
            (at, tuple(split_line(line, separator)))
            for at, line in enumerate(lines)
            if not is_skipped(line, comment)
        ]
        widths = Counter(len(cells) for _, cells in table if len(cells) > 1)
        if not widths:
            return None
        width = max(widths, key=lambda w: (widths[w] * (w - 1), w))
        body = [place for place, (_, cells) in enumerate(table) if len(cells) == width]
        # the last column names before the readings are the header, a units row may follow it
        first = next((p for p in body if any(map(is_number, table[p][1])) and p > body[0]), None)
        if first is None:
            return None
        numeric = _numeric_columns([table[p][1] for p in body if p >= first])
        above = [p for p in body if p < first]
        # a header of bare tooth numbers looks like readings, but not in every column
        while first in body and _is_header_like(table[first][1], numeric) and len(above) < 2:
            above.append(first)
            first = next((p for p in body if p > first), len(table))
        header_place = above[-1]
        units: tuple[str, ...] = ()
        if len(above) > 1 and _are_units(table[above[-1]][1]):
            units, header_place = table[above[-1]][1], above[-2]
        readings = [p for p in body if p >= first and _is_reading(table[p][1], numeric)]
        if not readings:
            return None
        footer = [lines[table[p][0]] for p in range(readings[-1] + 1, len(table))]
        return cls(
            separator, comment, table[header_place][0], table[header_place][1], units,
            [table[p][1] for p in readings], footer, numeric,
        )  # fmt: skip


def _numeric_columns(rows: Sequence[Sequence[str]]) -> frozenset[int]:
    filled = [[cell for cell in cells if cell] for cells in zip(*rows, strict=True)]
    return frozenset(at for at, cells in enumerate(filled) if sum(map(is_number, cells)) > 0.7 * len(cells))


def _is_header_like(cells: Sequence[str], numeric: frozenset[int]) -> bool:
    return any(cells[at] and not is_number(cells[at]) for at in numeric)


def _is_reading(cells: Sequence[str], numeric: frozenset[int]) -> bool:
    filled = [cells[at] for at in numeric if cells[at]]
    return bool(filled) and all(map(is_number, filled))


def _are_units(cells: Sequence[str]) -> bool:
    units = [unit_of(cell) for cell in cells if cell]
    return any(units) and sum(unit is not None for unit in units) > len(units) / 2


def _footer_of_tail(path: Path, encoding: str, layout: _Layout) -> list[str]:
    if encoding == "utf-16":
        return []  # where a character begins is not known in the middle of such a file
    with path.open("rb") as file:
        file.seek(-_TAIL_BYTES, 2)
        tail = file.read().decode(encoding, errors="replace")
    lines = [line for line in tail.splitlines()[1:] if not is_skipped(line, layout.comment)]
    footer: list[str] = []
    for line in reversed(lines):
        cells = split_line(line, layout.separator)
        if len(cells) == len(layout.header) and _is_reading(cells, layout.numeric):
            break
        footer.insert(0, line)
    return footer


@dataclass(frozen=True, slots=True)
class WideHeaders:
    """Headers that differ in a number (and a flank word): one trace each."""

    pattern: str
    headers: tuple[str, ...]
    words: dict[str, str]
    unit: str | None
    from_zero: bool
    has_flank: bool
    numbered: bool = True
    """Whether a number of tooth or space stands in the headers."""


def wide_headers(look: TableLook) -> WideHeaders | None:
    """The largest family of headers of a table that differ in a number or in the flank alone; None: none."""
    return _numbered_headers(look) or _flank_pair(look)


def _flank_pair(look: TableLook) -> WideHeaders | None:
    """Two headers that differ in the word for the flank alone; those of an index go first."""
    pairs: dict[str, dict[str, str]] = {}
    for header in look.header:
        said = [word for word in re.findall(r"[^\W\d_]+", header) if flank_of(word)]
        if len(said) == 1 and look.numbers(header):
            shape = re.sub(rf"(?<![^\W\d_]){re.escape(said[0])}(?![^\W\d_])", "\1", header, count=1)
            pairs.setdefault(shape, {})[said[0]] = header
    whole = [
        (shape, of) for shape, of in pairs.items() if {flank_of(word) for word in of} == {"left", "right"}
    ]
    if not whole:
        return None
    shape, of_words = next((one for one in whole if read_header(one[0]).quantity == "index"), whole[0])
    words = {word: flank_of(word) or "" for word in of_words}
    headers = tuple(of_words.values())
    pattern = f"^{re.escape(shape)}$".replace("\\ ", " ")
    pattern = pattern.replace("\1", f"(?P<flank>{'|'.join(map(re.escape, words))})")
    named = {word: flank for word, flank in words.items() if word not in {"left", "right"}}
    return WideHeaders(pattern, headers, named, _unit_of(look, headers[0]), False, True, numbered=False)


def _unit_of(look: TableLook, header: str) -> str | None:
    below = look.units[look.header.index(header)] if look.units else ""
    return read_header(header).unit or (unit_of(below) if below else None)


def _numbered_headers(look: TableLook) -> WideHeaders | None:
    families: dict[str, list[tuple[str, str, str]]] = {}
    for header in look.header:
        if not header or not look.numbers(header):
            continue
        split = _split_wide(header)
        if split is not None:
            shape, number, word = split
            families.setdefault(shape, []).append((header, number, word))
    best = max(families.items(), key=lambda item: len(item[1]), default=None)
    if best is None or len(best[1]) < 2:
        return None
    shape, members = best
    words = {word: flank_of(word) or "" for _, _, word in members if word}
    return WideHeaders(
        _wide_pattern(shape, list(words)), tuple(m[0] for m in members),
        {word: flank for word, flank in words.items() if word not in {"left", "right"}},
        _unit_of(look, members[0][0]), any(int(m[1]) == 0 for m in members), bool(words),
    )  # fmt: skip


def _split_wide(header: str) -> tuple[str, str, str] | None:
    """Shape of a header with its number and flank word taken out, the number, and the word."""
    bare = re.sub(r"\s*[\[(][^\])]*[\])]\s*$", "", header)
    numbers = re.findall(r"\d+", bare)
    if len(numbers) != 1:
        return None
    word = ""
    shape = bare.replace(numbers[0], "\0", 1)
    for token in re.findall(r"[^\W\d_]+", bare):
        if flank_of(token):
            word = token
            shape = re.sub(rf"(?<![^\W\d_]){re.escape(token)}(?![^\W\d_])", "\1", shape, count=1)
            break
    return shape, numbers[0], word


def _wide_pattern(shape: str, words: Sequence[str]) -> str:
    either = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    pattern = re.escape(shape).replace("\0", r"(?P<number>\d+)").replace("\1", f"(?P<flank>{either})")
    return f"^{pattern}".replace("\\ ", " ") + ("$" if shape in {"\0", "\1"} else r"(?:\W|$)")
