"""The draft of the map of one foreign table, or of a family of files with the same header."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from gearqa.reading.folder.sources import TableKind
from gearqa.reading.folder.table_kinds import LABEL_COLUMNS, PROFILE_POSITIONS, QUANTITIES, TABLES, split_unit
from gearqa.reading.maps.file_names import family_pattern, path_regex
from gearqa.reading.maps.head_labels import Heads, flank_label, serial_label, tooth_label
from gearqa.reading.maps.map_model import GAP, UNIT_OPEN
from gearqa.reading.maps.table_look import JAPANESE, TableLook, WideHeaders, wide_headers
from gearqa.reading.maps.trade_words import (
    STRONG_SERIAL,
    flank_of,
    kind_of_words,
    other_flank_word,
    read_header,
    unit_of,
)
from gearqa.reading.settings.toml_text import toml_key, toml_value
from gearqa.wording.numbers import short_text

_SHOWN_ROWS: Final = 5


@dataclass(frozen=True, slots=True)
class TableDraft:
    """One foreign table, or a family of files with the same header."""

    files: tuple[str, ...]
    """Paths below the folder."""
    pattern: str
    """File name or glob for the map."""
    kind: TableKind | Literal["reported"] | None
    look: TableLook
    first_rows: tuple[tuple[str, ...], ...]
    flank_words: tuple[str, ...]
    """Words in the column that seems to hold the flank."""
    hints: tuple[str, ...]
    lines: tuple[str, ...]
    """Its part of the map."""


@dataclass(slots=True)
class FamilyDraft:
    """The draft of the map of some files that look alike, in the making."""

    files: list[str]
    look: TableLook
    face_width: float | None
    heads: Heads = ()
    """The lines above the header, file by file."""
    only: TableKind | None = None
    """The kind, where a column of words says it."""
    where: str = ""
    """The line that picks the rows of that kind."""
    flank: str | None = None
    """The flank, where a line above this part of a file says it."""
    hints: list[str] = field(default_factory=list)
    flank_words: tuple[str, ...] = ()
    found: dict[str, str] = field(default_factory=dict)
    """Quantity -> header."""
    units: dict[str, str | None] = field(default_factory=dict)
    """Header -> unit."""

    def finish(self) -> TableDraft:
        """Read the headers and write the map."""
        wide = wide_headers(self.look)
        self._read_headers(set(wide.headers) if wide else set())
        found = self.only or self._kind(wide)
        kind = found or "profile"
        columns = [f"{key} = {value}" for key, value in self._columns(kind, wide)]
        pattern = family_pattern(self.files)
        lines = [
            f"file = {toml_value(pattern)}",
            *dialect_lines(self.look, self.hints),
            *filter(None, (self.where,)),
            f"[{kind}.columns]",
            *columns,
        ]
        if wide is not None:
            lines += self._wide_lines(kind, wide)
        return TableDraft(
            tuple(self.files), pattern, found, self.look, self.look.rows[:_SHOWN_ROWS], self.flank_words,
            tuple(self.hints), tuple(lines),
        )  # fmt: skip

    # --- what the headers say -------------------------------------------------------------------------

    def _read_headers(self, taken: set[str]) -> None:
        look = self.look
        for at, header in enumerate(look.header):
            if header in taken or not header:
                continue
            word = read_header(header)
            unit = word.unit
            if unit is None and look.units and look.units[at]:
                unit = unit_of(look.units[at])
            self.units[header] = unit
            quantity = word.quantity
            if quantity in {"roll_length", "position"} and unit == "deg":
                quantity = "roll_angle"
            strong = quantity == "serial" and STRONG_SERIAL.search(header.casefold())
            if quantity is not None and (quantity not in self.found or strong):
                self.found[quantity] = header

    def _kind(self, wide: WideHeaders | None) -> TableKind | None:
        over = {read_header(wide.headers[0]).quantity} if wide else set()
        has = {*self.found, *over}.__contains__
        spoken = kind_of_words(" ".join([self.files[0], *self.look.preamble]))
        readings = has("deviation") or wide is not None
        rules: tuple[tuple[TableKind, bool], ...] = (
            ("runout", has("space") or (has("radial") and not has("tooth"))),
            ("pitch", has("index") or has("pitch")),
            ("profile", has("roll_length") or has("roll_angle")),
            ("helix", has("face_position") and readings),
        )
        found = next((kind for kind, fits in rules if fits), None) or spoken
        return "profile" if found is None and has("diameter") and readings else found

    # --- wide tables ----------------------------------------------------------------------------------

    def _wide_lines(self, kind: TableKind, wide: WideHeaders) -> Iterator[str]:
        yield f"[[{kind}.wide]]"
        number = "space" if kind == "runout" else "tooth"
        yield f"header = {regex_text(wide.pattern.replace('<number>', f'<{number}>'))}"
        value = {"pitch": "index_um", "runout": "radial_um"}.get(kind, "deviation_um")
        said = read_header(wide.headers[0]).quantity
        if kind == "pitch" and said == "pitch":
            value = "pitch_um"
        gap = f"  {GAP} or pitch_um" if kind == "pitch" and said not in {"index", "pitch"} else ""
        yield f"value = {toml_value(value)}{gap}"
        if wide.unit == "mm":
            yield "factor = 1000.0"
        elif wide.unit is None:
            yield f"factor = 1.0  {UNIT_OPEN}: 1.0 for micrometres, 1000.0 for mm"
        if wide.words:
            yield f"values = {_inline(wide.words)}"
        if wide.from_zero:
            self.hints.append("teeth are numbered from 0: tooth_offset = 1")
            yield "tooth_offset = 1"

    # --- the map ----------------------------------------------------------------------------------------

    def _columns(self, kind: TableKind, wide: WideHeaders | None) -> Iterator[tuple[str, str]]:
        in_header = set()
        if wide is not None:
            in_header |= {"space" if kind == "runout" else "tooth"} if wide.numbered else set()
            in_header |= {"flank"} if wide.has_flank else set()
        for names in TABLES[kind].required:
            quantity, _ = split_unit(names[0])
            if quantity in in_header:
                continue
            if quantity == "serial":
                yield self._serial()
            elif quantity in {"tooth", "space"}:
                yield from self._counted(quantity)
            elif quantity == "flank":
                yield from self._flank()
            elif kind == "profile" and quantity == "roll_length":
                yield self._profile_position()
            elif quantity == "face_position":
                yield self._face_position()
            elif wide is None:
                yield self._value(kind)
        label = LABEL_COLUMNS.get(kind, "")
        if label and (header := self.found.get(label.removesuffix("_mm"))) is not None:
            if kind == "helix":
                yield label, toml_value(header)
            elif self.found.get("roll_length") or self.found.get("roll_angle"):
                yield self._face_position()

    def _serial(self) -> tuple[str, str]:
        header = self.found.get("serial")
        if header is not None:
            return "serial", toml_value(header)
        label = serial_label(self.heads, self.look.dialect.separator) if self.heads else None
        if label is not None:
            self.hints.append("no column holds the serial: it is taken from the lines above the header")
            sure = len(self.heads) > 1 or STRONG_SERIAL.search(label.casefold())
            check = "" if sure else f"  {GAP} is this the serial?"
            return "serial", f"{{ head = {toml_value(label)} }}{check}"
        regex = path_regex(self.files, "serial") or ""
        self.hints.append("no column holds the serial: it is taken from the file name")
        check = "" if len(self.files) > 1 else f"  {GAP} is this the serial?"
        return "serial", f"{{ path = {regex_text(regex)} }}{check}"

    def _counted(self, key: str) -> Iterator[tuple[str, str]]:
        header = self.found.get(key) or self.found.get("tooth")
        if header is not None:
            numbers = self.look.numbers(header)
            if numbers and min(numbers) == 0:
                self.hints.append(f"{key} is counted from 0 in '{header}': offset = 1")
                yield key, f"{{ column = {toml_value(header)}, offset = 1 }}"
            else:
                yield key, toml_value(header)
            return
        label = tooth_label(self.heads, self.look.dialect.separator) if self.heads else None
        if label is not None and key == "tooth":
            yield key, f"{{ head = {toml_value(label)} }}"
            return
        regex = path_regex(self.files, "tooth") if key == "tooth" else None
        if regex:
            yield key, f"{{ path = {regex_text(regex)} }}"
        else:
            yield f"# {key}", f'"..."  {GAP} which column holds the {key} number?'

    def _flank(self) -> Iterator[tuple[str, str]]:
        header = self.found.get("flank")
        if header is not None:
            self.flank_words = self.look.words(header)
            meaning = {word: flank_of(word) or "" for word in self.flank_words}
            if all(word.casefold() in {"left", "right"} for word in meaning):
                yield "flank", toml_value(header)
            elif all(meaning.values()):
                for word in list(meaning):  # the file may hold one flank only
                    other = other_flank_word(word)
                    if other is not None:
                        meaning.setdefault(other, flank_of(other) or "")
                yield "flank", f"{{ column = {toml_value(header)}, values = {_inline(meaning)} }}"
            else:
                said = _inline({word: flank or "left or right?" for word, flank in meaning.items()})
                gap = f"{GAP} which is left and which right? gearqa explain flanks"
                yield "# flank", f"{{ column = {toml_value(header)}, values = {said} }}  {gap}"
            return
        if self.flank is not None:
            yield "flank", f"{{ constant = {toml_value(self.flank)} }}"
            return
        labelled = flank_label(self.heads, self.look.dialect.separator) if self.heads else None
        regex = path_regex(self.files, "flank")
        if labelled is not None:
            label, self.flank_words = labelled
            meaning = {word: flank_of(word) or "" for word in self.flank_words}
            yield "flank", f"{{ head = {toml_value(label)}, values = {_inline(meaning)} }}"
        elif regex:
            words = sorted({m.group(1) for name in self.files if (m := re.search(regex, name))})
            self.flank_words = tuple(words)
            meaning = {word: flank_of(word) or "" for word in words}
            yield "flank", f"{{ path = {regex_text(regex)}, values = {_inline(meaning)} }}"
        else:
            yield "# flank", f'"..."  {GAP} which column holds the flank? Or {{ constant = "left" }}'

    def _profile_position(self) -> tuple[str, str]:
        for key in PROFILE_POSITIONS:
            header = self.found.get(split_unit(key)[0])
            if header is not None:
                return key, self._scaled(header, key)
        header = self.found.get("position") or self.found.get("face_position")
        if header is not None:
            gap = f"  {GAP} or roll_angle_deg, or diameter_mm?"
            return "roll_length_mm", self._scaled(header, "roll_length_mm") + gap
        return "# roll_length_mm", f'"..."  {GAP} which column holds the position along the profile?'

    def _face_position(self) -> tuple[str, str]:
        header = self.found.get("face_position") or self.found.get("position")
        if header is None:
            return "# face_position_mm", f'"..."  {GAP} which column holds the position along the face width?'
        numbers = self.look.numbers(header)
        if numbers and min(numbers) < -1:
            return "face_position_mm", self._from_mid_face(header)
        return "face_position_mm", self._scaled(header, "face_position_mm")

    def _from_mid_face(self, header: str) -> str:
        self.hints.append(f"'{header}' has negative positions: it seems to count from mid-face")
        if self.face_width is None:
            gap = f"  {GAP} counts from mid-face? then offset = half the face width"
            return f"{{ column = {toml_value(header)}, offset = 0.0 }}{gap}"
        return f"{{ column = {toml_value(header)}, offset = {short_text(self.face_width / 2)} }}"

    def _value(self, kind: TableKind) -> tuple[str, str]:
        wanted = {"pitch": ("index", "pitch"), "runout": ("radial", "deviation")}.get(kind, ("deviation",))
        for quantity in wanted:
            header = self.found.get(quantity)
            if header is not None:
                name = "radial" if kind == "runout" else quantity
                return f"{name}_um", self._scaled(header, f"{name}_um")
        spare = [h for h in self.look.header if h not in self.found.values() and h and self.look.numbers(h)]
        key = f"{wanted[0]}_um"
        if len(spare) == 1:
            return key, self._scaled(spare[0], key)
        return f"# {key}", f'"..."  {GAP} which column holds the readings?'

    def _scaled(self, header: str, key: str) -> str:
        """A column with the factor from its unit, or a gap where the unit is missing or unknown."""
        quantity, wanted = key.rpartition("_")[0], key.rpartition("_")[2]
        unit, name = self.units.get(header), toml_value(header)
        if unit == wanted:
            return name
        if unit == "in":
            factor = 25.4 if wanted == "mm" else 25400.0
            return f"{{ column = {name}, factor = {factor} }}"
        if unit is not None and unit in QUANTITIES[quantity].factors:
            return f"{{ column = {name}, factor = {QUANTITIES[quantity].factors[unit]!r} }}"
        if unit is None and wanted in {"mm", "deg"}:
            return name
        return f"{name}  {UNIT_OPEN}; from mm: {{ column = {name}, factor = 1000.0 }}"


def _inline(words: Mapping[str, str]) -> str:
    pairs = (f"{toml_key(word)} = {toml_value(meaning)}" for word, meaning in words.items())
    return f"{{ {', '.join(pairs)} }}"


def dialect_lines(look: TableLook, hints: list[str]) -> Iterator[str]:
    """Layout of a table as lines of its map; what a reader should know is added to the hints."""
    dialect = look.dialect
    yield f"separator = {toml_value(dialect.separator)}"
    yield f"decimal = {toml_value(dialect.decimal)}"
    if dialect.encoding != "utf-8-sig":
        yield f"encoding = {toml_value(dialect.encoding)}"
    if dialect.encoding == JAPANESE:
        hints.append(
            "read as Japanese (Shift JIS), being neither UTF-8 nor Windows-1252: look at the headers"
        )
    if not dialect.comment:
        yield 'comment = ""'
    for key in ("skip_rows", "skip_after_header", "skip_last_rows"):
        if getattr(dialect, key):
            yield f"{key} = {getattr(dialect, key)}"
    numeric = [h for h in look.header if h and look.numbers(h)]
    if any("" in look.column(h) for h in numeric):
        hints.append("some cells are empty: such rows are dropped and counted")
        yield 'blank = "drop"'


def regex_text(pattern: str) -> str:
    """A regular expression as TOML, without escapes where that is possible."""
    return f"'{pattern}'" if "'" not in pattern else toml_value(pattern)
