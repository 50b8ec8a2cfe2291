"""From a column map to the plans for the files it names."""

from __future__ import annotations

import codecs
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gearqa.errors import MeasurementFileError, Problem, Reason
from gearqa.reading.folder.dialect import HeaderRow, decimal_mark, find_header, guess_dialect
from gearqa.reading.folder.listing import files_below, matches_any
from gearqa.reading.folder.shifted_decimals import shifted_decimals
from gearqa.reading.folder.sources import (
    ColumnSource,
    Convention,
    Dialect,
    TableKind,
    TableSource,
    WidePattern,
)
from gearqa.reading.folder.table_kinds import canonical_quantity
from gearqa.reading.maps.head_facts import head_lines, head_values
from gearqa.reading.maps.map_model import (
    KINDS,
    ColumnsMap,
    ColumnTable,
    ConventionTable,
    TableMap,
    WideTable,
)
from gearqa.reading.maps.trade_words import LEFT_WORDS, RIGHT_WORDS, flank_of
from gearqa.reading.rows.decoding import NotTextError, decode_head, guess_encoding, read_head
from gearqa.reading.rows.parquet_rows import ParquetFaultError, ParquetTable, is_parquet
from gearqa.reading.rows.patterns import Pattern
from gearqa.reading.values.sheet_formats import canonical_column
from gearqa.results.file_kinds import made_by_gearqa
from gearqa.wording.nearest import nearest
from gearqa.wording.safety import SIMULATED_MARK

SHEET_VALUE: Final = ("value_um",)
"""The column of a table of values that a row is dropped without."""
Canonical = Callable[[str], tuple[str, float]]
"""Gives the canonical column of a key, and the factor from the key's unit."""


def unmapped_convention(columns_map: ColumnsMap) -> Convention:
    """Convention of the files that a map does not name."""
    named = any(getattr(columns_map, kind) for kind in KINDS)
    return Convention() if named else _convention(columns_map.convention)


def sources_of(columns_map: ColumnsMap, folder: Path | str) -> tuple[TableSource, ...]:
    """The plans for all files of a folder that a map names, in byte order of their paths.

    Raises
    ------
    MeasurementFileError
        With all problems: a pattern that matches no file, a path without the wanted value, no text.
    """
    folder = Path(folder)
    present = files_below(folder)
    files = [name for name in present if not matches_any(name, columns_map.ignore)]
    problems: list[Problem] = []
    found: list[TableSource] = []
    doubtful: list[tuple[TableSource, HeaderRow]] = []
    for kind in KINDS:
        tables: Sequence[TableMap] = getattr(columns_map, kind)
        taken: dict[str, list[int]] = {}
        for number, table in enumerate(tables):
            named = (name for name in files if matches_any(name, table.file))
            names = [name for name in named if not made_by_gearqa(folder / name)]
            if not names:
                problems.append(_no_file(kind, table, present))
            convention = _convention(table.convention or columns_map.convention)
            for name in names:
                others = taken.setdefault(name, [])
                again = any(_same_readings(table, tables[other]) for other in others)
                others.append(number)
                if again:
                    twice = f"two [[{kind}]] tables of the column map that read the same of it"
                    expected = "one, or a `where` in each, or other columns"
                    problems.append(Problem(Reason.CONTRADICTION, name, twice, expected))
                    continue
                file = _File.of(folder / name, name, table, problems)
                if file is not None:
                    base = replace(_source(file, kind, table), convention=convention)
                    plans = list(_with_wides(base, table, file))
                    if table.decimal is None and file.header is not None:
                        doubtful += [(plan, file.header) for plan in plans]
                    found += plans
    for plan, header in doubtful:
        beside = [other for other in found if other.name == plan.name]
        shifted = shifted_decimals(plan, header, beside)
        if isinstance(shifted, Problem):  # who made the map has looked at what can be read both ways
            problems.append(shifted)
    if problems:
        raise MeasurementFileError(dict.fromkeys(problems))
    return tuple(sorted(found, key=lambda source: os.fsencode(source.name)))


def sheet_source(path: Path, name: str, table: TableMap, problems: list[Problem]) -> TableSource | None:
    """The plan for a table of reported values or a gauge study; None where the file cannot be read."""
    file = _File.of(path, name, table, problems)
    if file is None:
        return None
    source = replace(_source(file, "production", table, canonical_column), needed=SHEET_VALUE)
    if not table.wide:
        return source
    (wide,) = table.wide
    words = {word: flank_of(word) or "" for word in (*LEFT_WORDS, *RIGHT_WORDS)} | dict(wide.values)
    value = wide_value(wide)
    _, unit = canonical_column(value)
    pattern = WidePattern(
        wide.header, *SHEET_VALUE, wide.factor * unit, wide.offset * unit, words, wide.tooth_offset
    )
    own = file.columns(wide.columns, canonical_column)
    return replace(source, columns={**source.columns, **own}, wide=pattern)


def wide_value(wide: WideTable) -> str:
    """What the cells of a wide table of values hold: micrometres where the map does not say."""
    return wide.value if "value" in wide.model_fields_set else SHEET_VALUE[0]


def _no_file(kind: TableKind, table: TableMap, files: Sequence[str]) -> Problem:
    near = nearest(table.file[0], files, 0.5)
    hint = f"the nearest is {near}" if near else f"there are {', '.join(files[:5]) or 'no files at all'}"
    return Problem(
        Reason.MAP_WITHOUT_FILE, " or ".join(table.file), "no such file",
        f"a file for [{kind}] of the column map", hint=hint,
    )  # fmt: skip


def _convention(table: ConventionTable) -> Convention:
    return Convention(table.seen_from, table.numbering)


def _same_readings(one: TableMap, other: TableMap) -> bool:
    """Whether two tables of a map take the same cells of a file, so that every reading would come twice."""
    return one.model_dump(exclude={"file"}) == other.model_dump(exclude={"file"})


@dataclass(frozen=True, slots=True)
class _File:
    """One file that a map names, and what the map takes from its name and its first lines."""

    path: Path
    name: str
    dialect: Dialect
    head: tuple[str, ...]
    """The lines above the header."""
    header: HeaderRow | None
    simulated: bool
    problems: list[Problem]

    @classmethod
    def of(cls, path: Path, name: str, table: TableMap, problems: list[Problem]) -> _File | None:
        """The file; None, with a problem, where it cannot be read."""
        try:
            dialect, text = _parquet(path, table) if is_parquet(path) else _dialect(path, table)
        except ParquetFaultError as error:
            problems.append(Problem(Reason.UNREADABLE_PARQUET, name, error.found, "a Parquet table"))
            return None
        except NotTextError as error:
            problems.append(Problem(Reason.NOT_TEXT, name, error.found, "a text table", error.line))
            return None
        except OSError as error:
            found = error.strerror or "an unreadable file"
            problems.append(Problem(Reason.FILE_NOT_FOUND, name, found, "a readable file"))
            return None
        simulated = text.startswith(SIMULATED_MARK)
        head = () if is_parquet(path) else head_lines(text, dialect)
        header = None if is_parquet(path) else find_header(text, dialect)
        return cls(path, name, dialect, head, header, simulated, problems)

    def columns(
        self, columns: Mapping[str, ColumnTable], canonical: Canonical = canonical_quantity
    ) -> dict[str, ColumnSource]:
        """Where the canonical columns come from."""
        result = {}
        for key, spec in columns.items():
            column, unit = canonical(key)
            scale = factor, offset = spec.factor * unit, spec.offset * unit
            if spec.column is None and not spec.columns:
                text = self._constant(column, spec, scale)
                source = ColumnSource(constant=text, time_format=spec.format, timezone=spec.timezone)
            else:
                source = ColumnSource(
                    spec.column, None, factor, offset, spec.values, spec.columns or (), spec.format,
                    spec.timezone,
                )  # fmt: skip
            result[column] = source
        return result

    def _constant(self, canonical: str, spec: ColumnTable, scale: tuple[float, float]) -> str:
        text = self._one_text(canonical, spec)
        if text is None:
            return ""
        if spec.values:
            words = {word.strip().casefold(): meaning for word, meaning in spec.values.items()}
            if text.casefold() not in words:
                expected = " or ".join(f"'{word}'" for word in spec.values)
                self._fault(Reason.UNKNOWN_WORD, f"'{text}' as {canonical}", expected)
                return ""
            text = words[text.casefold()]
        factor, offset = scale
        if factor == 1 and offset == 0:
            return text
        try:
            return _as_text(float(text) * factor + offset)
        except ValueError:
            expected = "a number, since factor or offset is set"
            self._fault(Reason.NOT_A_NUMBER, f"'{text}' as {canonical}", expected)
            return ""

    def _one_text(self, canonical: str, spec: ColumnTable) -> str | None:
        """The value that holds for the whole file; None, with a problem, where it has none."""
        if spec.constant is not None:
            return _as_text(spec.constant)
        if spec.path is not None:
            match = Pattern(spec.path).search(self.name)
            if match is not None and match.group(1):
                return str(match.group(1).strip())
            found = f"no match of '{spec.path}' in the path"
            self._fault(Reason.MAP_WITHOUT_FILE, found, f"the {canonical} in it")
            return None
        wanted = spec.head or ""
        values = head_values(self.head, wanted, self.dialect.separator)
        if len(values) == 1:
            return values[0]
        if values:
            found = f"{' and '.join(map(repr, values[:3]))} for '{wanted}' above the header"
            self._fault(
                Reason.CONTRADICTION, found, f"one {canonical}", "name a label or a pattern of one line"
            )
        else:
            found = f"no '{wanted}' with a value above the header"
            lines = [line for line in self.head if line.strip()]
            shown = (
                f"these lines stand there: {' | '.join(lines[:4])}" if lines else "skip_rows says where it is"
            )
            self._fault(Reason.MAP_WITHOUT_FILE, found, f"the {canonical}", shown)
        return None

    def _fault(self, reason: Reason, found: str, expected: str, hint: str = "") -> None:
        self.problems.append(Problem(reason, self.name, found, expected, hint=hint))


def _source(
    file: _File, kind: TableKind, table: TableMap, canonical: Canonical = canonical_quantity
) -> TableSource:
    """The plan for one file, without its wide columns."""
    return TableSource(
        file.path, file.name, kind, file.dialect, file.columns(table.columns, canonical),
        where={column: _as_text(value) for column, value in table.where.items()}, simulated=file.simulated,
    )  # fmt: skip


def _with_wides(base: TableSource, table: TableMap, file: _File) -> Iterator[TableSource]:
    """One plan for each pattern of wide columns, or the plan itself where there is none."""
    if not table.wide:
        yield base
    for wide in table.wide:
        value, unit = canonical_quantity(wide.value)
        pattern = WidePattern(
            wide.header, value, wide.factor * unit, wide.offset * unit, wide.values, wide.tooth_offset
        )
        yield replace(base, columns={**base.columns, **file.columns(wide.columns)}, wide=pattern)


def _parquet(path: Path, table: TableMap) -> tuple[Dialect, str]:
    """Numbers and texts need no dialect; rows are left out as of text."""
    return Dialect(
        skip_after_header=table.skip_after_header,
        skip_last_rows=table.skip_last_rows,
        drop_blank=table.blank == "drop",
    ), ParquetTable.of(path).mark


def _dialect(path: Path, table: TableMap) -> tuple[Dialect, str]:
    head = read_head(path)
    whole = path.stat().st_size <= len(head)
    encoding = table.encoding or guess_encoding(head, whole=whole)
    if codecs.lookup(encoding).name == "utf-8":
        encoding = "utf-8-sig"
    text = decode_head(head, encoding, whole=whole)
    dialect = guess_dialect(text, encoding, table.skip_rows, table.comment)
    if table.separator is not None and table.separator != dialect.separator:
        dialect = replace(dialect, separator=table.separator, decimal=".")
        if table.separator != ",":
            dialect = replace(dialect, decimal=decimal_mark(text, dialect) or ".")
    return replace(
        dialect,
        decimal=table.decimal or dialect.decimal,
        skip_rows=table.skip_rows,
        skip_after_header=table.skip_after_header,
        skip_last_rows=table.skip_last_rows,
        drop_blank=table.blank == "drop",
    ), text


def _as_text(value: str | int | float) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)
