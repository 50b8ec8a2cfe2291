"""The draft of the map of a table that says how gears were made, or of what heads of traces say about it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from typing import Final

from gearqa.reading.maps.family_draft import FamilyDraft, TableDraft, dialect_lines
from gearqa.reading.maps.file_names import family_pattern
from gearqa.reading.maps.head_labels import Heads, labels_like, serial_label
from gearqa.reading.maps.map_model import GAP
from gearqa.reading.maps.table_look import TableLook
from gearqa.reading.maps.trade_words import read_header
from gearqa.reading.settings.toml_text import toml_value

_SHOWN_ROWS: Final = 5
_WORDS: Final = (
    ("parts_since_dress", r"since.?(last )?dress|seit.{0,12}abricht|ドレス後"),
    ("dress", r"dress(?!er)|abricht|ドレス"),
    ("calibration_due", r"calib.*(due|until|valid)|kalib.*(bis|f(ä|ae)llig)"),
    ("calibration_ref", r"calib|kalib"),
    ("measured_at", r"measured|measurement (date|time)|gemessen|messzeit|messdatum|測定日"),
    ("finished_at", r"finish|fertig|ground at|produced|加工日"),
    ("instrument", r"instrument|messger(ä|ae)t|測定機"),
    ("operator", r"operator|bediener|pr(ü|ue)fer|werker|inspector|測定者|作業者"),
    ("grinder", r"grind|schleif|machine|maschine|研削盤|機械"),
    ("wheel", r"wheel|scheibe|schnecke|砥石"),
    ("fixture", r"fixture|spann|vorrichtung|chuck"),
    ("temperature_degC", r"temp"),
    ("remark", r"remark|bemerk|comment"),
)
"""Words of the trade for the columns of a production table: common practice, no source."""
_MADE: Final = frozenset({"parts_since_dress", "dress", "grinder", "wheel", "finished_at", "measured_at"})
_DATE, _TIME = r"date|datum|timestamp|zeitstempel|日付|日時", r"^time|uhrzeit|^zeit"
_FORMATS: Final = tuple(
    f"{day}{clock}"
    for day in ("%d.%m.%Y", "%Y/%m/%d", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%d.%m.%y")
    for clock in (" %H:%M:%S", " %H:%M", "")
)
_OF_HEADS: Final = frozenset({"measured_at", "instrument", "operator", "temperature_degC"})


def production_draft(files: Sequence[str], look: TableLook) -> TableDraft | None:
    """The draft of a production table; None where the table is none."""
    if any(read_header(header).quantity in _READINGS for header in look.header):
        return None
    found = _columns(look.header)
    serial = [h for h in look.header if h and h not in found.values() and read_header(h).quantity == "serial"]
    if not serial or len(_MADE & found.keys()) < 2:
        return None
    pattern = family_pattern(files)
    hints: list[str] = []
    lines = [f"file = {toml_value(pattern)}", *dialect_lines(look, hints), "[production.columns]"]
    lines.append(f"serial = {toml_value(serial[0])}")
    for key, header in found.items():
        lines.append(f"{key} = {_source(look, key, header)}")
    rows = look.rows[:_SHOWN_ROWS]
    return TableDraft(tuple(files), pattern, "production", look, rows, (), tuple(hints), tuple(lines))


_READINGS: Final = frozenset({"deviation", "index", "pitch", "radial", "roll_length", "roll_angle", "space"})


def _columns(names: Sequence[str]) -> dict[str, str]:
    """Canonical column -> header."""
    found: dict[str, str] = {}
    for name in filter(None, names):
        plain = name.casefold().replace("_", " ")
        key = next((key for key, pattern in _WORDS if re.search(pattern, plain)), None)
        if key is None and re.search(_DATE, plain):
            key = "finished_at"
        if key is not None:
            found.setdefault(key, name)
    return found


def _source(look: TableLook, key: str, header: str) -> str:
    name = toml_value(header)
    if key.endswith("_at") or key == "calibration_due":
        texts = look.column(header)
        clock = [h for h in look.header if h and h != header and re.search(_TIME, h.casefold())]
        if clock and not any(":" in text for text in texts):
            texts = [f"{day} {time}" for day, time in zip(texts, look.column(clock[0]), strict=True)]
            return _time(f"columns = [{name}, {toml_value(clock[0])}]", texts) or name
        return _time(f"column = {name}", texts) or name
    numbers = look.numbers(header) if key == "parts_since_dress" else []
    if numbers and min(numbers) == 0:
        return f"{{ column = {name}, offset = 1 }}  {GAP} 1 for the first part after the dress?"
    return name


def _time(source: str, texts: Sequence[str]) -> str | None:
    """Where a time comes from, with its format; None where a plain column does."""
    stated = [text for text in texts if text]
    if stated and all(map(_is_iso, stated)):
        return None if source.startswith("column =") else f"{{ {source} }}"
    fitting = [form for form in _FORMATS if stated and all(_is_time(text, form) for text in stated)]
    if not fitting:
        return f"{{ {source}, format = {toml_value(_FORMATS[0])} }}  {GAP} how are the times written?"
    gap = f"  {GAP} or {fitting[1]}?" if len(fitting) > 1 else ""
    return f"{{ {source}, format = {toml_value(fitting[0])} }}{gap}"


def _is_iso(text: str) -> bool:
    try:
        dt.datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _is_time(text: str, form: str) -> bool:
    try:
        dt.datetime.strptime(text, form)
    except ValueError:
        return False
    return True


def production_of_heads(draft: FamilyDraft, heads: Heads) -> Iterator[str]:
    """Lines of a map that takes time, instrument and operator from the heads of traces.

    None where the head does not give the serial, or says several things of one serial.
    """
    separator = draft.look.dialect.separator
    label = serial_label(heads, separator)
    if label is None:
        return
    serials = labels_like(heads, separator, f"^{re.escape(label.casefold())}$").get(label, ())
    taken: dict[str, str] = {}
    for key, pattern in (*_WORDS, ("measured_at", _DATE)):
        for name, values in labels_like(heads, separator, pattern).items():
            one_each = len({*zip(serials, values, strict=False)}) == len({*serials})
            known = any(toml_value(name) in source for source in taken.values())
            if key in _OF_HEADS and key not in taken and one_each and not known:
                source = f"head = {toml_value(name)}"
                taken[key] = (_time(source, values) if key == "measured_at" else None) or f"{{ {source} }}"
    if taken:
        yield f"file = {toml_value(family_pattern(draft.files))}"
        yield from dialect_lines(draft.look, [])
        yield "[production.columns]"
        yield f"serial = {{ head = {toml_value(label)} }}"
        yield from (f"{key} = {source}" for key, source in taken.items())
