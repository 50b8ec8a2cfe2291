"""The schema of column maps: what every key may hold."""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal, Self, get_args

from gearqa.errors import Reason
from gearqa.model.table import (
    BeforeValidator,
    Field,
    TomlTable,
    WithJsonSchema,
    about,
    fault,
    model_validator,
)
from gearqa.reading.folder.sources import TableKind
from gearqa.reading.rows.patterns import Pattern, PatternError
from gearqa.reading.settings.toml_text import shown_value
from gearqa.wording.nearest import nearest

KINDS: Final[tuple[TableKind, ...]] = get_args(TableKind)
GAP: Final = "# TODO:"
"""Marks what a draft leaves open; a map that holds it does not read."""
UNIT_OPEN: Final = f"{GAP} the file does not say the unit"
_WAYS: Final = ("column", "constant", "path", "head", "columns")
_GROUPS: Final = ("tooth", "space", "flank", "serial", "measurement", "parameter")
_Name = Annotated[str, Field(min_length=1)]


class ColumnTable(TomlTable):
    """Where one canonical column comes from; a header name alone means `{ column = ... }`."""

    column: _Name | None = about("header of the foreign column", default=None)
    constant: str | int | float | None = about("one value for the whole table", default=None)
    path: _Name | None = about(
        "regular expression with one group, searched in the path of the file below the folder", default=None
    )
    head: _Name | None = about(
        "what a line above the header says: the label in front of the value (Serial no), or a regular "
        "expression with one group",
        default=None,
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
            found = " and ".join(ways) or "none"
            raise fault("", found, f"exactly one of {', '.join(_WAYS)}", concerns=_WAYS)
        if self.factor == 0:
            raise fault("factor", "0", "another number than 0", reason=Reason.VALUE_OUT_OF_RANGE)
        if self.path is not None:
            _check_regex("path", self.path, one_group=True)
        if self.head is not None and _check_regex("head", self.head).groups:
            _check_regex("head", self.head, one_group=True)
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


class WideTable(TomlTable):
    """`[[profile.wide]]`: every header that the pattern matches holds one trace (or one gear's teeth)."""

    header: _Name = about(
        "regular expression searched in every header (^ and $ bind it to the ends), with named groups such "
        "as (?P<tooth>\\d+) and "
        "(?P<flank>[LR]); also serial, measurement, space in a runout table, parameter in a table of values"
    )
    value: _Name = about(
        "canonical column that the cells hold; value_um in a table of values", default="deviation_um"
    )
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


class ConventionTable(TomlTable):
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


class TableMap(TomlTable):
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
        "what to do with rows whose needed cells are empty; in a table of values only the value is needed",
        default="error",
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
            raise fault("decimal", "',' and separator ','", "different characters", concerns=("separator",))
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


class ColumnsMap(TomlTable):
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


# --- checks of single values ------------------------------------------------------------------------


def _check_regex(key: str, text: str, *, one_group: bool = False) -> Pattern:
    try:
        pattern = Pattern(text)
    except PatternError as error:
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
        near = nearest(text, zoneinfo.available_timezones())
        hint = f"did you mean {near}?" if near else ""
        expected = "a time zone such as Europe/Vienna"
        raise fault("timezone", f"'{text}'", expected, reason=Reason.UNKNOWN_WORD, hint=hint) from None
