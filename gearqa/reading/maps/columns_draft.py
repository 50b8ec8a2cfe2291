"""A first draft of a column map for tables without one: what `gearqa columns` shows.

Looks at layout and headers, guesses what trade words say clearly, and marks the rest as gaps. Which
flank is which, and from where an instrument looks, is never guessed from numbers.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from gearqa.errors import GearqaError, MeasurementFileError, Problem, Reason
from gearqa.reading.folder.recognition import recognise
from gearqa.reading.folder.sources import TableKind
from gearqa.reading.folder.table_kinds import QUANTITIES, TABLES
from gearqa.reading.maps.file_names import family_pattern, path_regex
from gearqa.reading.maps.table_look import TableLook, look_at_table
from gearqa.reading.maps.trade_words import (
    flank_of,
    kind_of_words,
    other_flank_word,
    read_header,
    unit_of,
)
from gearqa.reading.rows.decoding import NotTextError
from gearqa.reading.settings.toml_text import toml_key, toml_value
from gearqa.wording.numbers import short_text

GAP: Final = "# TODO:"
_SHOWN_ROWS: Final = 5
_MAX_FILES: Final = 3000
_NO_TABLES: Final = (
    ".toml",
    ".md",
    ".json",
    ".html",
    ".pdf",
    ".png",
    ".jpg",
    ".svg",
    ".xlsx",
    ".xls",
    ".zip",
)
_LABEL_COLUMNS: Final = {"profile": "face_position_mm", "helix": "diameter_mm"}


@dataclass(frozen=True, slots=True)
class TableDraft:
    """One foreign table, or a family of files with the same header."""

    files: tuple[str, ...]
    """Paths below the folder."""
    pattern: str
    """File name or glob for the map."""
    kind: TableKind | None
    look: TableLook
    first_rows: tuple[tuple[str, ...], ...]
    flank_words: tuple[str, ...]
    """Words in the column that seems to hold the flank."""
    hints: tuple[str, ...]
    lines: tuple[str, ...]
    """Its part of the map."""


@dataclass(frozen=True, slots=True)
class ColumnsDraft:
    """What the tables look like, and a map to read them."""

    folder: Path
    tables: tuple[TableDraft, ...]
    neutral: tuple[str, ...]
    """Files that need no map."""
    left_out: tuple[tuple[str, str], ...]
    """Files that are no tables, and why."""
    toml: str
    """The map, gaps marked; empty where no table needs one."""

    @property
    def gaps(self) -> int:
        """Number of gaps in the map."""
        return self.toml.count(GAP)


def draft_columns(path: Path | str) -> ColumnsDraft:
    """Look at a folder or a single file and draft a column map.

    Raises
    ------
    MeasurementFileError
        If there is no such file or folder, or the file is no table.
    """
    path = Path(path)
    if not path.exists():
        found = "no such file or folder"
        raise MeasurementFileError([Problem(Reason.FILE_NOT_FOUND, str(path), found, "a table or a folder")])
    single = path.is_file()
    folder = path.parent if single else path
    names = [path.name] if single else _candidates(folder)
    looks: dict[str, TableLook] = {}
    neutral: list[str] = []
    left_out: list[tuple[str, str]] = []
    for name in names:
        if not single and "/" not in name and name.lower().endswith(".csv"):
            seen = recognise(folder / name, name)
            if seen.source is not None:
                neutral.append(name)
                continue
            if seen.left_out is not None:
                left_out.append((name, seen.left_out))
                continue
        try:
            look = look_at_table(folder / name)
        except NotTextError as error:
            left_out.append((name, f"no text: {error.found}"))
        except OSError as error:
            left_out.append((name, error.strerror or "unreadable"))
        else:
            if look is None:
                left_out.append((name, "no rows of numbers under a header"))
            else:
                looks[name] = look
    if single and not looks:
        why = left_out[0][1]
        raise MeasurementFileError(
            [Problem(Reason.UNRECOGNISED_TABLE, path.name, why, "a table of readings")]
        )
    width = _face_width(folder)
    tables = [_Draft(files, looks[files[0]], width).finish() for files in _families(looks)]
    return ColumnsDraft(folder, tuple(tables), tuple(neutral), tuple(left_out), _map_text(tables))


def _candidates(folder: Path) -> list[str]:
    names: list[str] = []
    for root, folders, files in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and f != "templates")
        wanted = (f for f in files if not f.startswith(".") and not f.lower().endswith(_NO_TABLES))
        names += [Path(root, file).relative_to(folder).as_posix() for file in wanted]
        if len(names) > _MAX_FILES:
            break
    return sorted(names, key=os.fsencode)[:_MAX_FILES]


def _families(looks: Mapping[str, TableLook]) -> list[list[str]]:
    """Files that look alike: same folder depth, ending, header and separator."""
    families: dict[tuple[object, ...], list[str]] = {}
    for name, look in looks.items():
        depth, ending = name.count("/"), Path(name).suffix.lower()
        words = kind_of_words(name)
        key = (depth, ending, words, look.header, look.dialect.separator, look.dialect.skip_rows)
        families.setdefault(key, []).append(name)
    return list(families.values())


def _face_width(folder: Path) -> float | None:
    from gearqa.reading.settings.part_file import read_part

    try:
        return read_part(folder / "part.toml").gear.face_width_mm
    except GearqaError:
        return None


def _map_text(tables: Sequence[TableDraft]) -> str:
    if not tables:
        return ""
    kinds = [table.kind or "profile" for table in tables]
    parts = [
        "# Column map, drafted from the headers: check every line before use.\n"
        "# For an instrument that looks from the other face or counts anticlockwise add\n"
        '# [convention] with seen_from = "opposite_face" or numbering = "anticlockwise".'
    ]
    for table, kind in zip(tables, kinds, strict=True):
        header = f"[[{kind}]]" if kinds.count(kind) > 1 else f"[{kind}]"
        body = "\n".join(table.lines).replace("[KIND.", f"[{kind}.").replace("[[KIND.", f"[[{kind}.")
        note = "" if table.kind else f"  {GAP} profile, helix, pitch or runout? The file does not say"
        parts.append(f"{header}{note}\n{body}")
    return "\n\n".join(parts) + "\n"


# --- one family of files ---------------------------------------------------------------------------


@dataclass(slots=True)
class _Wide:
    """Headers that differ in a number (and a flank word): one trace each."""

    pattern: str
    headers: tuple[str, ...]
    words: dict[str, str]
    unit: str | None
    from_zero: bool
    has_flank: bool


@dataclass(slots=True)
class _Draft:
    files: list[str]
    look: TableLook
    face_width: float | None
    hints: list[str] = field(default_factory=list)
    flank_words: tuple[str, ...] = ()
    found: dict[str, str] = field(default_factory=dict)
    """Quantity -> header."""
    units: dict[str, str | None] = field(default_factory=dict)
    """Header -> unit."""

    def finish(self) -> TableDraft:
        wide = self._wide()
        self._read_headers(set(wide.headers) if wide else set())
        kind = self._kind(wide is not None)
        columns = [f"{key} = {value}" for key, value in self._columns(kind or "profile", wide)]
        pattern = family_pattern(self.files)
        lines = [f"file = {toml_value(pattern)}", *self._dialect_lines(kind or "profile")]
        lines += ["[KIND.columns]", *columns]
        if wide is not None:
            lines += self._wide_lines(kind or "profile", wide)
        return TableDraft(
            tuple(self.files), pattern, kind, self.look, self.look.rows[:_SHOWN_ROWS], self.flank_words,
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
            if quantity is not None:
                self.found.setdefault(quantity, header)

    def _kind(self, wide: bool) -> TableKind | None:
        has = self.found.__contains__
        spoken = kind_of_words(" ".join([self.files[0], *self.look.preamble]))
        readings = has("deviation") or wide
        rules: tuple[tuple[TableKind, bool], ...] = (
            ("runout", has("space") or (has("radial") and not has("tooth"))),
            ("pitch", has("index") or has("pitch")),
            ("profile", has("roll_length") or has("roll_angle")),
            ("helix", has("face_position") and readings),
        )
        said = next((kind for kind, fits in rules if fits), None) or spoken
        if said is None and has("diameter") and readings:
            said = "profile"
        return said

    # --- wide tables ----------------------------------------------------------------------------------

    def _wide(self) -> _Wide | None:
        families: dict[str, list[tuple[str, str, str]]] = {}
        for header in self.look.header:
            if not header or not self.look.numbers(header):
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
        pattern = _wide_pattern(shape, list(words))
        return _Wide(
            pattern, tuple(m[0] for m in members),
            {word: flank for word, flank in words.items() if word not in {"left", "right"}},
            read_header(members[0][0]).unit, any(int(m[1]) == 0 for m in members), bool(words),
        )  # fmt: skip

    def _wide_lines(self, kind: TableKind, wide: _Wide) -> Iterator[str]:
        yield "[[KIND.wide]]"
        number = "space" if kind == "runout" else "tooth"
        yield f"header = {_regex(wide.pattern.replace('<number>', f'<{number}>'))}"
        value = {"pitch": "index_um", "runout": "radial_um"}.get(kind, "deviation_um")
        gap = f"  {GAP} or pitch_um" if kind == "pitch" else ""
        yield f"value = {toml_value(value)}{gap}"
        unit = wide.unit or self._wide_unit(wide)
        if unit == "mm":
            yield "factor = 1000.0"
        elif unit is None:
            yield f"factor = 1.0  {GAP} the file does not say the unit: 1.0 for micrometres, 1000.0 for mm"
        if wide.words:
            yield f"values = {_inline(wide.words)}"
        if wide.from_zero:
            self.hints.append("teeth are numbered from 0: tooth_offset = 1")
            yield "tooth_offset = 1"

    def _wide_unit(self, wide: _Wide) -> str | None:
        at = self.look.header.index(wide.headers[0])
        return unit_of(self.look.units[at]) if self.look.units and self.look.units[at] else None

    # --- the map ----------------------------------------------------------------------------------------

    def _dialect_lines(self, kind: TableKind) -> Iterator[str]:
        dialect = self.look.dialect
        yield f"separator = {toml_value(dialect.separator)}"
        yield f"decimal = {toml_value(dialect.decimal)}"
        if dialect.encoding != "utf-8-sig":
            yield f"encoding = {toml_value(dialect.encoding)}"
        if not dialect.comment:
            yield 'comment = ""'
        for key in ("skip_rows", "skip_after_header", "skip_last_rows"):
            if getattr(dialect, key):
                yield f"{key} = {getattr(dialect, key)}"
        numeric = [h for h in self.look.header if h and self.look.numbers(h)]
        if any("" in self.look.column(h) for h in numeric):
            self.hints.append("some cells are empty: such rows are dropped and counted")
            yield 'blank = "drop"'

    def _columns(self, kind: TableKind, wide: _Wide | None) -> Iterator[tuple[str, str]]:
        in_header = set()
        if wide is not None:
            in_header |= {"space" if kind == "runout" else "tooth"} | ({"flank"} if wide.has_flank else set())
        for names in TABLES[kind].required:
            quantity = (
                names[0].rpartition("_")[0]
                if names[0] not in {"serial", "flank", "tooth", "space"}
                else names[0]
            )
            if quantity in in_header:
                continue
            if quantity in {"serial", "tooth"}:
                yield from self._numbered(quantity)
            elif quantity == "space":
                yield from self._counted("space", self.found.get("space") or self.found.get("tooth"))
            elif quantity == "flank":
                yield from self._flank()
            elif kind == "profile" and quantity == "roll_length":
                yield self._profile_position()
            elif quantity == "face_position":
                yield self._face_position()
            elif wide is None:
                yield self._value(kind)
        label = _LABEL_COLUMNS.get(kind, "")
        if label and (header := self.found.get(label.removesuffix("_mm"))) is not None:
            if kind == "helix":
                yield label, toml_value(header)
            elif self.found.get("roll_length") or self.found.get("roll_angle"):
                yield self._face_position()

    def _numbered(self, quantity: str) -> Iterator[tuple[str, str]]:
        header = self.found.get(quantity)
        if quantity == "tooth":
            yield from self._counted("tooth", header)
        elif header is not None:
            yield "serial", toml_value(header)
        else:
            regex = path_regex(self.files, "serial") or ""
            self.hints.append("no column holds the serial: it is taken from the file name")
            check = "" if len(self.files) > 1 else f"  {GAP} is this the serial?"
            yield "serial", f"{{ path = {_regex(regex)} }}{check}"

    def _counted(self, key: str, header: str | None) -> Iterator[tuple[str, str]]:
        if header is not None:
            numbers = self.look.numbers(header)
            if numbers and min(numbers) == 0:
                self.hints.append(f"{key} is counted from 0 in '{header}': offset = 1")
                yield key, f"{{ column = {toml_value(header)}, offset = 1 }}"
            else:
                yield key, toml_value(header)
            return
        regex = path_regex(self.files, "tooth") if key == "tooth" else None
        if regex:
            yield key, f"{{ path = {_regex(regex)} }}"
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
        regex = path_regex(self.files, "flank")
        if regex:
            words = sorted({m.group(1) for name in self.files if (m := re.search(regex, name))})
            self.flank_words = tuple(words)
            meaning = {word: flank_of(word) or "" for word in words}
            yield "flank", f"{{ path = {_regex(regex)}, values = {_inline(meaning)} }}"
        else:
            yield "# flank", f'"..."  {GAP} which column holds the flank? Or {{ constant = "left" }}'

    def _profile_position(self) -> tuple[str, str]:
        for quantity, key in (
            ("roll_length", "roll_length_mm"),
            ("roll_angle", "roll_angle_deg"),
            ("diameter", "diameter_mm"),
        ):
            header = self.found.get(quantity)
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
        """A column with the factor from its unit, or a gap where the unit is not said or not known."""
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
        return (
            f"{name}  {GAP} the file does not say the unit; from mm: {{ column = {name}, factor = 1000.0 }}"
        )


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


def _inline(words: Mapping[str, str]) -> str:
    return (
        "{ "
        + ", ".join(f"{toml_key(word)} = {toml_value(meaning)}" for word, meaning in words.items())
        + " }"
    )


def _regex(pattern: str) -> str:
    return f"'{pattern}'" if "'" not in pattern else toml_value(pattern)
