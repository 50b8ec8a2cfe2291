"""Column maps: how to read tables that are not in the neutral format.

A map names files and says for every canonical column where it comes from. It is checked like a part
file: each key by its schema, then columns and words against each other, so that nothing needed is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from gearqa.errors import Problem, Reason
from gearqa.reading.folder.table_kinds import (
    SIZE_METHODS,
    TABLES,
    TIME_COLUMNS,
    canonical_quantity,
    table_name,
)
from gearqa.reading.maps.map_model import GAP, KINDS, ColumnsMap, ColumnTable, TableMap
from gearqa.reading.maps.map_sources import wide_value
from gearqa.reading.rows.patterns import Pattern
from gearqa.reading.settings.input_schemas import with_units
from gearqa.reading.settings.toml_faults import table_as_far_as_known
from gearqa.reading.settings.toml_file import TomlFile, read_toml
from gearqa.reading.values.sheet_formats import SHEETS, canonical_column
from gearqa.symbols import FLANKS
from gearqa.wording.nearest import nearest


def read_columns_map(path: Path | str, *, name: str | None = None) -> ColumnsMap:
    """Read and check a column map.

    Raises
    ------
    PartFileError
        With all problems, of single keys and between keys.
    """
    file = read_toml(path, ColumnsMap, name=name)
    return file.checked((*map_problems(file), *_gaps(Path(path), file.name)))


def _gaps(path: Path, name: str) -> Iterator[Problem]:
    """What a drafted map leaves to a person: with a unit, or index for pitch, taken on trust every number
    may be wrong.
    """
    if not path.is_file():
        return
    for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), start=1):
        statement, mark, _ = line.partition(GAP)
        if mark and not statement.lstrip().startswith("#"):
            yield Problem(
                Reason.MISSING_KEY, name, f"a gap left open: {statement.strip()}  {line[len(statement) :]}",
                "a line without that remark", line=number, key=_key_of(statement),
                hint="delete the remark where the line is right as it stands, else set what is right",
            )  # fmt: skip


def _key_of(statement: str) -> str | None:
    key, equals, _ = statement.partition("=")
    return key.strip() if equals else None


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


_WORDS: Final[Mapping[str, tuple[str, ...]]] = {"flank": FLANKS, "method": SIZE_METHODS}
"""Canonical columns with a closed choice of words."""


@dataclass(frozen=True, slots=True)
class _KindColumns:
    """Columns that one kind of table may and must have."""

    name: str
    """As a sentence calls the table."""
    columns: tuple[str, ...]
    required: tuple[tuple[str, ...], ...]
    """Each entry: columns one of which must be there."""
    canonical: Callable[[str], tuple[str, float]]
    """Canonical column of a key, and the factor to its unit."""
    extra_are_labels: bool = False
    sheet: bool = False
    """Whether it is a table of values, not of readings."""


_KINDS: Final[Mapping[str, _KindColumns]] = {
    **{
        kind: _KindColumns(table_name(kind), t.columns, t.required, canonical_quantity, t.extra_are_labels)
        for kind, t in TABLES.items()
    },
    **{
        kind: _KindColumns(
            s.title, s.columns, tuple((name,) for name in s.required), canonical_column, sheet=True
        )
        for kind, s in SHEETS.items()
    },
}


def map_problems(file: TomlFile[ColumnsMap]) -> Iterator[Problem]:
    """Faults between the keys of a column map, as far as its single keys are valid."""
    if not file.document and not file.problems:
        yield Problem(
            Reason.MISSING_KEY, file.name, "nothing", "a table such as [profile]",
            hint="`gearqa columns FOLDER` drafts a map",
        )  # fmt: skip
    for kind, wanted in _KINDS.items():
        for where, raw in _tables(file.document, kind):
            table = table_as_far_as_known(raw, TableMap)
            if table is not None:  # else its own faults come first
                yield from _table_problems(file, wanted, table, where)


def _tables(document: Mapping[str, Any], kind: str) -> Iterator[tuple[str, Any]]:
    """Tables of one kind with their dotted keys: `[profile]`, or `[[profile]]` for several."""
    tables = document.get(kind, [])
    if isinstance(tables, Mapping):
        yield kind, tables
    elif isinstance(tables, list):
        for number, table in enumerate(tables):
            yield f"{kind}.{number}", table


def _table_problems(
    file: TomlFile[ColumnsMap], wanted: _KindColumns, table: TableMap, where: str
) -> Iterator[Problem]:
    yield from _column_problems(file, wanted, table.columns, f"{where}.columns")
    given = {wanted.canonical(key)[0] for key in table.columns}
    if not table.wide:
        yield from _missing(file, wanted, given, where)
        return
    if wanted.sheet and len(table.wide) > 1:
        yield file.problem(
            f"{where}.wide", f"{len(table.wide)} patterns", "one pattern, with groups that may be left out",
            reason=Reason.VALUE_OUT_OF_RANGE,
        )  # fmt: skip
    for number, wide in enumerate(table.wide):
        here = f"{where}.wide.{number}"
        value = wanted.canonical(wide_value(wide) if wanted.sheet else wide.value)[0]
        present = given | {wanted.canonical(key)[0] for key in wide.columns} | {value}
        present |= {*Pattern(wide.header).groupindex}
        yield from _column_problems(file, wanted, wide.columns, f"{here}.columns")
        for group in Pattern(wide.header).groupindex:
            if group not in wanted.columns:
                yield _unknown_column(file, wanted, f"{here}.header", group)
        yield from _word_problems(file, "flank", wide.values, f"{here}.values")
        if value not in wanted.columns:
            yield _unknown_column(file, wanted, f"{here}.value", wide.value)
            present |= {*wanted.required[-1]}
        yield from _missing(file, wanted, present, where)


def _missing(
    file: TomlFile[ColumnsMap], wanted: _KindColumns, present: set[str], where: str
) -> Iterator[Problem]:
    for names in wanted.required:
        if not present & set(names):
            yield file.problem(
                f"{where}.columns", f"no column for {' or '.join(names)}", f"one in {wanted.name}",
                reason=Reason.MISSING_KEY, hint=f'add {names[0]} = "..." with the header as in the file',
            )  # fmt: skip


def _column_problems(
    file: TomlFile[ColumnsMap], wanted: _KindColumns, columns: Mapping[str, ColumnTable], where: str
) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for key, spec in columns.items():
        here = f"{where}.{key}"
        name, _ = wanted.canonical(key)
        if name not in wanted.columns and not wanted.extra_are_labels:
            yield _unknown_column(file, wanted, here, key)
        yield from _word_problems(file, name, spec.values, f"{here}.values")
        if wanted.sheet:
            continue
        if name in seen:
            yield file.problem(here, f"{key} and {seen[name]}", "one of the two")
        seen[name] = key
        times = [option for option in ("format", "timezone") if getattr(spec, option) is not None]
        if times and name not in TIME_COLUMNS:
            yield file.problem(f"{here}.{times[0]}", f"{times[0]} for {key}", f"none: {key} is no time")


def _word_problems(
    file: TomlFile[ColumnsMap], name: str, values: Mapping[str, str], where: str
) -> Iterator[Problem]:
    allowed = _WORDS.get(name)
    for word, meaning in values.items():
        if allowed and meaning not in allowed:
            expected = " or ".join(f"'{w}'" for w in allowed)
            yield file.problem(f"{where}.{word}", f"'{meaning}'", expected, reason=Reason.UNKNOWN_WORD)


def _unknown_column(file: TomlFile[ColumnsMap], wanted: _KindColumns, where: str, key: str) -> Problem:
    near = nearest(key.lower(), wanted.columns, 0.5)
    expected = f"'{near}'" if near else f"one of {', '.join(wanted.columns)}"
    hint = "did you mean that column?" if near else ""
    return file.problem(where, f"the unknown column '{key}'", expected, reason=Reason.UNKNOWN_KEY, hint=hint)
