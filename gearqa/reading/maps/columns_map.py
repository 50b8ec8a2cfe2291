"""Column maps: how to read tables that are not in the neutral format.

A map names files and says for every canonical column where it comes from. It is checked like a part
file, and gives the same plans (`TableSource`) that header recognition makes from neutral tables.
"""

from __future__ import annotations

import codecs
import datetime as dt
import difflib
import os
import re
import zoneinfo
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Annotated, Any, Final, Literal, Self, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from gearqa.errors import MeasurementFileError, Problem, Reason
from gearqa.model.part import about
from gearqa.model.table import Table, fault
from gearqa.reading.folder.dialect import decimal_mark, guess_dialect
from gearqa.reading.folder.sources import (
    ColumnSource,
    Convention,
    Dialect,
    TableKind,
    TableSource,
    WidePattern,
)
from gearqa.reading.folder.table_kinds import QUANTITIES, SIZE_METHODS, TABLES, TIME_COLUMNS, split_unit
from gearqa.reading.rows.decoding import NotTextError, decode_head, guess_encoding, read_head
from gearqa.reading.settings.input_schemas import with_units
from gearqa.reading.settings.toml_faults import table_as_far_as_known
from gearqa.reading.settings.toml_file import TomlFile, read_toml
from gearqa.reading.settings.toml_text import shown_value
from gearqa.reading.values.sheet_formats import SHEETS, canonical_column
from gearqa.symbols import FLANKS
from gearqa.wording.safety import SIMULATED_MARK

KINDS: Final[tuple[TableKind, ...]] = get_args(TableKind)
_WAYS: Final = ("column", "constant", "path", "columns")
_GROUPS: Final = ("tooth", "space", "flank", "serial")
_Name = Annotated[str, Field(min_length=1)]


class ColumnTable(Table):
    """Where one canonical column comes from; a header name alone stands for `{ column = ... }`."""

    column: _Name | None = about("header of the foreign column", default=None)
    constant: str | int | float | None = about("one value for the whole table", default=None)
    path: _Name | None = about(
        "regular expression with one group, searched in the path of the file below the folder", default=None
    )
    columns: tuple[_Name, ...] | None = about(
        "headers of several columns, joined by a blank (date and time)",
        default=None,
        strict=False,
        min_length=1,
    )
    values: dict[str, str] = about("foreign word = canonical word", default={})
    factor: float = about("canonical = value * factor + offset; may be negative", default=1.0)
    offset: float = about("see factor", default=0.0)
    format: _Name | None = about("format of a time, as strptime has it", default=None)
    timezone: _Name | None = about("time zone of a time, such as Europe/Vienna", default=None)

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        ways = [way for way in _WAYS if getattr(self, way) is not None]
        if len(ways) != 1:
            found = " and ".join(ways) or "none of them"
            raise fault("", found, "exactly one of column, constant, path, columns", concerns=_WAYS)
        if self.factor == 0:
            raise fault("factor", "0", "another number than 0", reason=Reason.VALUE_OUT_OF_RANGE)
        if self.path is not None:
            _check_regex("path", self.path, one_group=True)
        if self.format is not None:
            _check_time_format(self.format)
        if self.timezone is not None:
            _check_timezone(self.timezone)
        return self


def _spec(value: Any) -> Any:
    if isinstance(value, str):
        return {"column": value}
    if not isinstance(value, Mapping | ColumnTable):
        expected = 'a header in quotes or a table such as { column = "..." }'
        raise fault("", shown_value(value), expected, reason=Reason.WRONG_TYPE)
    return value


ColumnSpec = Annotated[ColumnTable, BeforeValidator(_spec)]


class WideTable(Table):
    """`[[profile.wide]]`: every header that the pattern matches holds one trace (or one gear's teeth)."""

    header: _Name = about(
        "regular expression searched in every header (^ and $ bind it to the ends), with named groups such "
        "as (?P<tooth>\\d+) and "
        "(?P<flank>[LR]); also serial, and space in a runout table"
    )
    value: _Name = about("canonical column that the cells hold", default="deviation_um")
    columns: dict[str, ColumnSpec] = about(
        "further columns for this pattern alone, such as its position or a constant flank", default={}
    )
    values: dict[str, str] = about("words of the flank group = left or right", default={})
    factor: float = about("canonical = value * factor + offset; may be negative", default=1.0)
    offset: float = about("see factor", default=0.0)
    tooth_offset: int = about("added to the tooth or space number in the header", default=0)

    @model_validator(mode="after")
    def _groups(self) -> Self:
        pattern = _check_regex("header", self.header)
        unknown = [g for g in pattern.groupindex if g not in _GROUPS]
        if unknown or not pattern.groupindex:
            found = f"the group '{unknown[0]}'" if unknown else "no named group"
            raise fault(
                "header", found, f"named groups out of {', '.join(_GROUPS)}", reason=Reason.UNKNOWN_WORD
            )
        if self.factor == 0:
            raise fault("factor", "0", "another number than 0", reason=Reason.VALUE_OUT_OF_RANGE)
        return self


class ConventionTable(Table):
    """`[convention]`: from where the instrument looks and how it counts."""

    seen_from: Literal["datum_face", "opposite_face"] = about(
        "face from which flanks are named, teeth are counted and face positions are measured",
        default="datum_face",
    )
    numbering: Literal["clockwise", "anticlockwise"] = about(
        "direction in which teeth are counted and pitch is positive, seen from there", default="clockwise"
    )


def _one_or_more(value: Any) -> Any:
    return [value] if isinstance(value, Mapping | str) else value


_FILE_SCHEMA = {
    "anyOf": [
        {"type": "string", "minLength": 1},
        {"type": "array", "items": {"type": "string", "minLength": 1}, "minItems": 1},
    ]
}


class TableMap(Table):
    """One foreign table, or a family of files that look alike."""

    file: Annotated[
        tuple[_Name, ...],
        BeforeValidator(_one_or_more),
        Field(strict=False, min_length=1),
        WithJsonSchema(_FILE_SCHEMA),
    ] = about("file name or pattern such as PROF_*.csv; subfolders/** too", strict=False)
    separator: Annotated[str, Field(min_length=1, max_length=1)] | None = about(
        "character between cells; found out where absent", default=None
    )
    decimal: Literal[".", ","] | None = about("decimal mark; found out where absent", default=None)
    encoding: _Name | None = about("encoding of the text; found out where absent", default=None)
    comment: str = about(
        'what begins a line that is passed over; "" where the header itself begins with #', default="#"
    )
    skip_rows: int = about("lines before the header", default=0, ge=0)
    skip_after_header: int = about("rows after the header, such as a row of units", default=0, ge=0)
    skip_last_rows: int = about("rows at the end, such as a footer", default=0, ge=0)
    blank: Literal["error", "drop"] = about(
        "what to do with rows whose needed cells are empty", default="error"
    )
    where: dict[str, str | int | float] = about("read only rows whose column holds this text", default={})
    columns: dict[str, ColumnSpec] = about("canonical column = where it comes from", default={})
    wide: Annotated[tuple[WideTable, ...], BeforeValidator(_one_or_more)] = about(
        "patterns for headers that hold one trace each", default=(), strict=False
    )
    convention: ConventionTable | None = about("for this table alone, instead of [convention]", default=None)

    @model_validator(mode="after")
    def _text(self) -> Self:
        if self.decimal == "," and self.separator == ",":
            raise fault(
                "decimal", "',' beside separator ','", "different characters", concerns=("separator",)
            )
        if self.encoding is not None:
            try:
                "a".encode(self.encoding)  # codecs.lookup also knows encodings that are not for text
            except LookupError:
                expected = "an encoding such as utf-8, utf-16 or cp1252"
                raise fault("encoding", f"'{self.encoding}'", expected, reason=Reason.UNKNOWN_WORD) from None
        if self.separator is not None and self.separator in '"\r\n':
            expected = "a character such as ; or a tab"
            raise fault("separator", repr(self.separator), expected, reason=Reason.VALUE_OUT_OF_RANGE)
        for number, pattern in enumerate(self.file):
            steps = re.split(r"[/\\]", pattern)
            if ".." in steps or not steps[0] or ":" in steps[0]:
                expected = "a path below the inspection folder"
                key = f"file.{number}"
                raise fault(key, f"'{pattern}'", expected, reason=Reason.VALUE_OUT_OF_RANGE)
        return self


Tables = Annotated[tuple[TableMap, ...], BeforeValidator(_one_or_more)]


def _tables(kind: str) -> Any:
    return about(f"{kind} tables; [{kind}], or [[{kind}]] for several", default=(), strict=False)


class ColumnsMap(Table):
    """A whole column map."""

    schema_: Literal["gearqa.columns/1"] = about(
        "format of this file", default="gearqa.columns/1", alias="schema"
    )
    ignore: tuple[_Name, ...] = about("files of the folder to leave out", default=(), strict=False)
    convention: ConventionTable = about(
        "for the files that this map names; for all files if it names none", default=ConventionTable()
    )
    profile: Tables = _tables("profile")
    helix: Tables = _tables("helix")
    pitch: Tables = _tables("pitch")
    runout: Tables = _tables("runout")
    size: Tables = _tables("size")
    production: Tables = _tables("production")
    events: Tables = _tables("events")
    reported: Tables = about("tables of reported values, for gearqa incoming", default=(), strict=False)
    study: Tables = about("tables of a gauge study, for gearqa gauge", default=(), strict=False)

    @property
    def unmapped_convention(self) -> Convention:
        """Convention of the files that the map does not name."""
        named = any(getattr(self, kind) for kind in KINDS)
        return Convention() if named else _convention(self.convention)

    def sources(self, folder: Path | str) -> tuple[TableSource, ...]:
        """The plans for all files of a folder that this map names, in byte order of their paths.

        Raises
        ------
        MeasurementFileError
            With all problems: a pattern that matches no file, a path without the wanted value, no text.
        """
        folder = Path(folder)
        files = _files_below(folder)
        problems: list[Problem] = []
        found: list[TableSource] = []
        for kind in KINDS:
            tables: Sequence[TableMap] = getattr(self, kind)
            taken: dict[str, int] = {}
            for number, table in enumerate(tables):
                names = [n for n in files if matches_any(n, table.file) and not matches_any(n, self.ignore)]
                if not names:
                    problems.append(_no_file(kind, table, files))
                for name in names:
                    other = taken.setdefault(name, number)
                    if other != number and not (table.where or tables[other].where):
                        problems.append(_named_twice(kind, name))
                        continue
                    found += _plans(folder, name, kind, table, table.convention or self.convention, problems)
        if problems:
            raise MeasurementFileError(problems)
        return tuple(sorted(found, key=lambda source: os.fsencode(source.name)))


def read_columns_map(path: Path | str, *, name: str | None = None) -> ColumnsMap:
    """Read and check a column map.

    Raises
    ------
    PartFileError
        With all problems, of single keys and between keys.
    """
    file = read_toml(path, ColumnsMap, name=name)
    return file.checked(_cross_checks(file))


def columns_json_schema() -> dict[str, Any]:
    """JSON Schema of column maps, with descriptions and units."""
    schema = ColumnsMap.model_json_schema(by_alias=True)
    definitions = schema["$defs"]
    either = [{"type": "string", "minLength": 1}, {"$ref": "#/$defs/ColumnTable"}]
    for owner in ("TableMap", "WideTable"):
        definitions[owner]["properties"]["columns"]["additionalProperties"] = {"anyOf": either}
    one_or_more = [(definitions["TableMap"]["properties"], "wide")]
    one_or_more += [(schema["properties"], kind) for kind in (*KINDS, *SHEETS)]
    for properties, key in one_or_more:
        array = properties[key]
        kept = {k: array.pop(k) for k in ("description", "default", "title") if k in array}
        properties[key] = {"anyOf": [array["items"], array], **kept}
    return with_units(schema, "gearqa column map", "How to read tables that are not in the neutral format.")


# --- checks of single values ------------------------------------------------------------------------


def _check_regex(key: str, text: str, *, one_group: bool = False) -> re.Pattern[str]:
    try:
        pattern = re.compile(text)
    except re.error as error:
        found = f"'{text}' ({error})"
        raise fault(key, found, "a regular expression", reason=Reason.VALUE_OUT_OF_RANGE) from None
    if one_group and pattern.groups != 1:
        found = f"'{text}' with {pattern.groups} groups"
        raise fault(key, found, "a regular expression with one group", reason=Reason.VALUE_OUT_OF_RANGE)
    return pattern


def _check_time_format(text: str) -> None:
    sample = dt.datetime(2001, 2, 3, 4, 5, 6, tzinfo=dt.UTC)
    try:
        dt.datetime.strptime(sample.strftime(text), text)
        good = "%" in text
    except ValueError:
        good = False
    if not good:
        expected = "a format such as %d.%m.%Y %H:%M"
        raise fault("format", f"'{text}'", expected, reason=Reason.VALUE_OUT_OF_RANGE)


def _check_timezone(text: str) -> None:
    try:
        zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        names = zoneinfo.available_timezones()
        near = difflib.get_close_matches(text, names, n=1, cutoff=0.6)
        hint = f"did you mean {near[0]}?" if near else ""
        expected = "a time zone such as Europe/Vienna"
        raise fault("timezone", f"'{text}'", expected, reason=Reason.UNKNOWN_WORD, hint=hint) from None


# --- checks between keys ----------------------------------------------------------------------------


def _cross_checks(file: TomlFile[ColumnsMap]) -> Iterator[Problem]:
    document = file.document
    if not document and not file.problems:
        yield Problem(
            Reason.MISSING_KEY, file.name, "nothing", "a table such as [profile]",
            hint="`gearqa columns FOLDER` drafts a map",
        )  # fmt: skip
    for kind in KINDS:
        tables = document.get(kind, [])
        single = isinstance(tables, Mapping)
        for number, raw in enumerate([tables] if single else tables if isinstance(tables, list) else []):
            where = kind if single else f"{kind}.{number}"
            table = table_as_far_as_known(raw, TableMap)
            if table is None:
                continue  # its own faults come first
            yield from _table_checks(file, kind, table, where)
    yield from _sheet_checks(file)


def _sheet_checks(file: TomlFile[ColumnsMap]) -> Iterator[Problem]:
    """Columns of tables of reported values and of gauge studies."""
    for kind, sheet in SHEETS.items():
        tables = file.document.get(kind, [])
        single = isinstance(tables, Mapping)
        for number, raw in enumerate([tables] if single else tables if isinstance(tables, list) else []):
            where = kind if single else f"{kind}.{number}"
            table = table_as_far_as_known(raw, TableMap)
            if table is None:
                continue
            present = {canonical_column(key)[0] for key in table.columns}
            for key, spec in table.columns.items():
                here, name = f"{where}.columns.{key}", canonical_column(key)[0]
                if name not in sheet.columns:
                    near = difflib.get_close_matches(name, sheet.columns, n=1, cutoff=0.5)
                    expected = f"'{near[0]}'" if near else f"one of {', '.join(sheet.columns)}"
                    yield file.problem(
                        here, f"the unknown column '{key}'", expected, reason=Reason.UNKNOWN_KEY
                    )
                yield from _flank_words(file, name, spec.values, f"{here}.values")
            for name in sheet.required:
                if name not in present:
                    yield file.problem(
                        f"{where}.columns", f"no column for {name}", f"one in {sheet.title}",
                        reason=Reason.MISSING_KEY,
                        hint=f'add {name} = "..." with the header as it stands in the file',
                    )  # fmt: skip


def _table_checks(
    file: TomlFile[ColumnsMap], kind: TableKind, table: TableMap, where: str
) -> Iterator[Problem]:
    yield from _column_checks(file, kind, table.columns, f"{where}.columns")
    given = {_canonical(c)[0] for c in table.columns}
    wides = table.wide or (None,)
    for number, wide in enumerate(wides):
        present = set(given)
        if wide is not None:
            here = f"{where}.wide.{number}"
            present |= {_canonical(c)[0] for c in wide.columns} | {*re.compile(wide.header).groupindex}
            value = _canonical(wide.value)[0]
            present.add(value)
            yield from _column_checks(file, kind, wide.columns, f"{here}.columns")
            yield from _flank_words(file, "flank", wide.values, f"{here}.values")
            if value not in TABLES[kind].columns:
                yield _unknown_column(file, f"{here}.value", wide.value, kind)
                present |= set(TABLES[kind].required[-1])
        for names in TABLES[kind].required:
            if not present & set(names):
                yield file.problem(
                    f"{where}.columns", f"no column for {' or '.join(names)}",
                    f"one in a {kind} table", reason=Reason.MISSING_KEY,
                    hint=f'add {names[0]} = "..." with the header as it stands in the file',
                )  # fmt: skip


def _column_checks(
    file: TomlFile[ColumnsMap], kind: TableKind, columns: Mapping[str, ColumnTable], where: str
) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for key, spec in columns.items():
        here = f"{where}.{key}"
        name, _ = _canonical(key)
        if name not in TABLES[kind].columns and not TABLES[kind].extra_are_labels:
            yield _unknown_column(file, here, key, kind)
        if name in seen:
            yield file.problem(here, f"{key} beside {seen[name]}", "one of the two")
        seen[name] = key
        yield from _flank_words(file, name, spec.values, f"{here}.values")
        times = [k for k in ("format", "timezone") if getattr(spec, k) is not None]
        if times and name not in TIME_COLUMNS:
            yield file.problem(f"{here}.{times[0]}", f"{times[0]} for {key}", f"none: {key} is no time")


def _flank_words(
    file: TomlFile[ColumnsMap], name: str, values: Mapping[str, str], where: str
) -> Iterator[Problem]:
    allowed = {"flank": FLANKS, "method": SIZE_METHODS}.get(name)
    for word, meaning in values.items():
        if allowed and meaning not in allowed:
            yield file.problem(
                f"{where}.{word}", f"'{meaning}'", " or ".join(f"'{w}'" for w in allowed),
                reason=Reason.UNKNOWN_WORD,
            )  # fmt: skip


def _unknown_column(file: TomlFile[ColumnsMap], where: str, key: str, kind: TableKind) -> Problem:
    known = TABLES[kind].columns
    near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.5)
    expected = f"'{near[0]}'" if near else f"one of {', '.join(known)}"
    hint = "did you mean that column?" if near else ""
    return file.problem(where, f"the unknown column '{key}'", expected, reason=Reason.UNKNOWN_KEY, hint=hint)


def _canonical(key: str) -> tuple[str, float]:
    """Canonical column of a key, and the factor from the key's unit to the canonical one."""
    name, unit = split_unit(key)
    if unit:
        quantity = QUANTITIES[name]
        return quantity.column, quantity.factors[unit]
    return key, 1.0


# --- files and plans ---------------------------------------------------------------------------------


def matches_any(name: str, patterns: Sequence[str]) -> bool:
    """Whether a path (relative, with slashes) fits one of some patterns; case does not matter.

    A pattern without a slash fits only files directly in the folder; `**` stands for any subfolders.

    >>> matches_any("PROF_1.CSV", ["prof_*.csv"]), matches_any("a/prof_1.csv", ["prof_*.csv"])
    (True, False)
    >>> matches_any("a/b/prof_1.csv", ["**/prof_*.csv"]), matches_any("a/b/x.csv", ["*/x.csv"])
    (True, False)
    """
    parts = name.casefold().split("/")
    return any(_fits(parts, re.split(r"[/\\]", pattern.casefold())) for pattern in patterns)


def _fits(parts: Sequence[str], steps: Sequence[str]) -> bool:
    if not steps:
        return not parts
    if steps[0] == "**" and len(steps) > 1:
        return _fits(parts, steps[1:]) or (bool(parts) and _fits(parts[1:], steps))
    return bool(parts) and fnmatchcase(parts[0], steps[0]) and _fits(parts[1:], steps[1:])


def _files_below(folder: Path) -> list[str]:
    """All files below a folder, by path with slashes, in byte order; hidden ones and TOML files left out."""
    names: list[str] = []
    for root, folders, files in os.walk(folder):
        folders[:] = [f for f in folders if not f.startswith(".")]
        wanted = (f for f in files if not f.startswith(".") and not f.lower().endswith(".toml"))
        names += [Path(root, file).relative_to(folder).as_posix() for file in wanted]
    return sorted(names, key=os.fsencode)


def _no_file(kind: TableKind, table: TableMap, files: Sequence[str]) -> Problem:
    wanted = " or ".join(table.file)
    near = difflib.get_close_matches(table.file[0], files, n=1, cutoff=0.5)
    hint = f"the nearest is {near[0]}" if near else f"there are {', '.join(files[:5]) or 'no files at all'}"
    return Problem(
        Reason.MAP_WITHOUT_FILE, wanted, "no such file", f"a file for [{kind}] of the column map", hint=hint
    )


def _named_twice(kind: TableKind, name: str) -> Problem:
    return Problem(
        Reason.CONTRADICTION, name, f"two [[{kind}]] tables of the column map that name it",
        "one, or a `where` in each",
    )  # fmt: skip


def _convention(table: ConventionTable) -> Convention:
    return Convention(table.seen_from, table.numbering)


def _plans(  # noqa: PLR0917
    folder: Path,
    name: str,
    kind: TableKind,
    table: TableMap,
    convention: ConventionTable,
    problems: list[Problem],
) -> Iterator[TableSource]:
    path = folder / name
    try:
        dialect, first = _dialect(path, table)
    except NotTextError as error:
        expected = "a text table"
        problems.append(Problem(Reason.NOT_TEXT, name, error.found, expected, error.line))
        return
    except OSError as error:
        found = error.strerror or "an unreadable file"
        problems.append(Problem(Reason.FILE_NOT_FOUND, name, found, "a readable file"))
        return
    base = TableSource(
        path, name, kind, dialect, _columns(table.columns, name, problems),
        where={column: _as_text(value) for column, value in table.where.items()},
        convention=_convention(convention), simulated=first.startswith(SIMULATED_MARK), mapped=True,
    )  # fmt: skip
    if not table.wide:
        yield base
    for wide in table.wide:
        value, unit = _canonical(wide.value)
        pattern = WidePattern(
            wide.header, value, wide.factor * unit, wide.offset * unit, wide.values, wide.tooth_offset
        )
        columns = {**base.columns, **_columns(wide.columns, name, problems)}
        yield replace(base, columns=columns, wide=pattern)


def sheet_source(path: Path, name: str, table: TableMap, problems: list[Problem]) -> TableSource | None:
    """The plan for a table of reported values or a gauge study; None where the file cannot be read."""
    try:
        dialect, first = _dialect(path, table)
    except NotTextError as error:
        problems.append(Problem(Reason.NOT_TEXT, name, error.found, "a text table", error.line))
        return None
    except OSError as error:
        found = error.strerror or "an unreadable file"
        problems.append(Problem(Reason.FILE_NOT_FOUND, name, found, "a readable file"))
        return None
    columns = {}
    for key, spec in table.columns.items():
        canonical, unit = canonical_column(key)
        factor, offset = spec.factor * unit, spec.offset * unit
        if spec.constant is not None or spec.path is not None:
            text = _constant(canonical, spec, factor, offset, name, problems)
            columns[canonical] = ColumnSource(constant=text)
        else:
            columns[canonical] = ColumnSource(
                spec.column, None, factor, offset, spec.values, spec.columns or ()
            )
    return TableSource(
        path, name, "production", dialect, columns,
        where={column: _as_text(value) for column, value in table.where.items()},
        simulated=first.startswith(SIMULATED_MARK), mapped=True,
    )  # fmt: skip


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
    columns: Mapping[str, ColumnTable], name: str, problems: list[Problem]
) -> dict[str, ColumnSource]:
    result = {}
    for key, spec in columns.items():
        canonical, unit = _canonical(key)
        factor, offset = spec.factor * unit, spec.offset * unit
        if spec.constant is not None or spec.path is not None:
            text = _constant(canonical, spec, factor, offset, name, problems)
            result[canonical] = ColumnSource(constant=text, time_format=spec.format, timezone=spec.timezone)
        else:
            result[canonical] = ColumnSource(
                spec.column, None, factor, offset, spec.values, spec.columns or (), spec.format, spec.timezone
            )
    return result


def _constant(  # noqa: PLR0917
    canonical: str, spec: ColumnTable, factor: float, offset: float, name: str, problems: list[Problem]
) -> str:
    text = _as_text(spec.constant) if spec.constant is not None else ""
    if spec.path is not None:
        match = re.search(spec.path, name)
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
