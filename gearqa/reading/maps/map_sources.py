"""From a column map to the plans for the files it names."""

from __future__ import annotations

import codecs
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from gearqa.errors import MeasurementFileError, Problem, Reason
from gearqa.reading.folder.dialect import decimal_mark, guess_dialect
from gearqa.reading.folder.listing import files_below, matches_any
from gearqa.reading.folder.sources import (
    ColumnSource,
    Convention,
    Dialect,
    TableKind,
    TableSource,
    WidePattern,
)
from gearqa.reading.folder.table_kinds import canonical_quantity
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
    for kind in KINDS:
        tables: Sequence[TableMap] = getattr(columns_map, kind)
        taken: dict[str, int] = {}
        for number, table in enumerate(tables):
            named = (name for name in files if matches_any(name, table.file))
            names = [name for name in named if not made_by_gearqa(folder / name)]
            if not names:
                problems.append(_no_file(kind, table, present))
            convention = _convention(table.convention or columns_map.convention)
            for name in names:
                other = taken.setdefault(name, number)
                if other != number and not (table.where or tables[other].where):
                    twice = f"two [[{kind}]] tables of the column map that name it"
                    problems.append(Problem(Reason.CONTRADICTION, name, twice, "one, or a `where` in each"))
                    continue
                base = _source(folder / name, name, kind, table, problems)
                if base is not None:
                    found += _with_wides(replace(base, convention=convention), table, problems)
    if problems:
        raise MeasurementFileError(problems)
    return tuple(sorted(found, key=lambda source: os.fsencode(source.name)))


def sheet_source(path: Path, name: str, table: TableMap, problems: list[Problem]) -> TableSource | None:
    """The plan for a table of reported values or a gauge study; None where the file cannot be read."""
    source = _source(path, name, "production", table, problems, canonical_column)
    if source is None or not table.wide:
        return source and replace(source, needed=SHEET_VALUE)
    (wide,) = table.wide
    words = {word: flank_of(word) or "" for word in (*LEFT_WORDS, *RIGHT_WORDS)} | dict(wide.values)
    value = wide_value(wide)
    _, unit = canonical_column(value)
    pattern = WidePattern(
        wide.header, *SHEET_VALUE, wide.factor * unit, wide.offset * unit, words, wide.tooth_offset
    )
    own = _columns(wide.columns, name, problems, canonical_column)
    return replace(source, columns={**source.columns, **own}, wide=pattern, needed=SHEET_VALUE)


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


def _source(
    path: Path,
    name: str,
    kind: TableKind,
    table: TableMap,
    problems: list[Problem],
    canonical: Canonical = canonical_quantity,
) -> TableSource | None:
    """The plan for one file, without its wide columns; None where the file cannot be read."""
    try:
        dialect, first = _dialect(path, table)
    except NotTextError as error:
        problems.append(Problem(Reason.NOT_TEXT, name, error.found, "a text table", error.line))
        return None
    except OSError as error:
        found = error.strerror or "an unreadable file"
        problems.append(Problem(Reason.FILE_NOT_FOUND, name, found, "a readable file"))
        return None
    return TableSource(
        path, name, kind, dialect, _columns(table.columns, name, problems, canonical),
        where={column: _as_text(value) for column, value in table.where.items()},
        simulated=first.startswith(SIMULATED_MARK),
    )  # fmt: skip


def _with_wides(base: TableSource, table: TableMap, problems: list[Problem]) -> Iterator[TableSource]:
    """One plan for each pattern of wide columns, or the plan itself where there is none."""
    if not table.wide:
        yield base
    for wide in table.wide:
        value, unit = canonical_quantity(wide.value)
        pattern = WidePattern(
            wide.header, value, wide.factor * unit, wide.offset * unit, wide.values, wide.tooth_offset
        )
        own = _columns(wide.columns, base.name, problems)
        yield replace(base, columns={**base.columns, **own}, wide=pattern)


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
    ), text.partition("\n")[0]


def _columns(
    columns: Mapping[str, ColumnTable],
    name: str,
    problems: list[Problem],
    canonical: Canonical = canonical_quantity,
) -> dict[str, ColumnSource]:
    result = {}
    for key, spec in columns.items():
        column, unit = canonical(key)
        scale = factor, offset = spec.factor * unit, spec.offset * unit
        if spec.constant is not None or spec.path is not None:
            text = _constant(column, spec, scale, name, problems)
            result[column] = ColumnSource(constant=text, time_format=spec.format, timezone=spec.timezone)
        else:
            result[column] = ColumnSource(
                spec.column, None, factor, offset, spec.values, spec.columns or (), spec.format, spec.timezone
            )
    return result


def _constant(
    canonical: str, spec: ColumnTable, scale: tuple[float, float], name: str, problems: list[Problem]
) -> str:
    factor, offset = scale
    text = _as_text(spec.constant) if spec.constant is not None else ""
    if spec.path is not None:
        match = Pattern(spec.path).search(name)
        if match is None or not match.group(1):
            found = f"no match of '{spec.path}' in the path"
            problems.append(Problem(Reason.MAP_WITHOUT_FILE, name, found, f"the {canonical} in it"))
            return ""
        text = match.group(1).strip()
    if spec.values:
        words = {word.strip().casefold(): meaning for word, meaning in spec.values.items()}
        if text.casefold() not in words:
            expected = " or ".join(f"'{word}'" for word in spec.values)
            problems.append(Problem(Reason.UNKNOWN_WORD, name, f"'{text}' as {canonical}", expected))
            return ""
        text = words[text.casefold()]
    if factor == 1 and offset == 0:
        return text
    try:
        return _as_text(float(text) * factor + offset)
    except ValueError:
        found = f"'{text}' as {canonical}"
        problems.append(Problem(Reason.NOT_A_NUMBER, name, found, "a number, since factor or offset is set"))
        return ""


def _as_text(value: str | int | float) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)
