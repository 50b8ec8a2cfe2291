"""What is written is read back bit by bit, in every dialect and row order; both readers agree on any text."""

from __future__ import annotations

import random
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from fuzz_targets import NEVER_FAST, outcome
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from inspection_folder import TEETH, write

from gearqa.reading.folder import passes as reading
from gearqa.reading.folder.passes import read_folder

# --- write, then read -------------------------------------------------------------------------------------

serials = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs"), exclude_characters="\u0085"),
    min_size=1,
    max_size=8,
).filter(lambda s: s == s.strip(" \t\v\f\u00a0") and s and not s.isspace())
values = st.floats(-1e9, 1e9)
positions = st.lists(st.integers(0, 10**9), min_size=1, max_size=12, unique=True).map(
    lambda whole: sorted(n * 2e-6 for n in whole)
)


@dataclass(frozen=True)
class Dialect:
    encoding: str
    separator: str
    decimal: str
    newline: str
    shuffled: bool


dialects = st.builds(
    lambda pair, encoding, newline, shuffled: Dialect(encoding, *pair, newline, shuffled),
    st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.booleans(),
)


def cell(value: Any, dialect: Dialect) -> str:
    if isinstance(value, float):
        return repr(value).replace(".", dialect.decimal)
    text = str(value)
    if dialect.separator in text or '"' in text or text.startswith("#"):
        return '"' + text.replace('"', '""') + '"'
    return text


def table(header: list[str], rows: list[list[Any]], dialect: Dialect, seed: int) -> bytes:
    if dialect.shuffled:
        random.Random(seed).shuffle(rows)
    lines = [dialect.separator.join(cell(value, dialect) for value in row) for row in [header, *rows]]
    return dialect.newline.join([*lines, ""]).encode(dialect.encoding)


@st.composite
def lots(draw: st.DrawFn) -> dict[str, dict[tuple[str, str, int], tuple[list[float], list[float]]]]:
    """Serial -> (kind, flank, tooth) -> positions and values."""
    lot = {}
    for serial in draw(st.lists(serials, min_size=1, max_size=4, unique=True)):
        traces = {}
        for kind in draw(st.sets(st.sampled_from(["profile", "helix"]), min_size=1)):
            flanks = st.tuples(st.sampled_from(["left", "right"]), st.integers(1, TEETH))
            for flank, tooth in draw(st.sets(flanks, min_size=1, max_size=3)):
                where = draw(positions)
                what = draw(st.lists(values, min_size=len(where), max_size=len(where)))
                traces[kind, flank, tooth] = (where, what)
        lot[serial] = traces
    return lot


@given(lot=lots(), dialect=dialects, seed=st.integers(0, 99), chunk=st.integers(1, 50), fast=st.booleans())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_traces_come_back_bit_by_bit(lot: Any, dialect: Dialect, seed: int, chunk: int, fast: bool) -> None:
    files = {}
    for kind, position in {"profile": "roll_length_mm", "helix": "face_position_mm"}.items():
        rows = [
            [serial, flank, tooth, where, what]
            for serial, traces in lot.items()
            for (own, flank, tooth), points in traces.items()
            if own == kind
            for where, what in zip(*points, strict=True)
        ]
        if rows:
            header = ["serial", "flank", "tooth", position, "deviation_um"]
            files[f"{kind}.csv"] = table(header, rows, dialect, seed)
    with tempfile.TemporaryDirectory() as folder, patch.object(
        reading, "FAST_FROM_BYTES", 0 if fast else NEVER_FAST
    ):  # fmt: skip
        write(Path(folder), files)
        with read_folder(folder, chunk_rows=chunk) as inspection:
            found = {
                gear.serial: {
                    (t.kind, t.flank, t.tooth): (t.position_mm.tolist(), t.deviation_um.tolist())
                    for t in gear.traces
                }
                for gear in inspection
            }
    assert set(found) == set(lot)
    for serial, traces in lot.items():
        # repr, so that the sign of zero counts
        assert repr(sorted(found[serial].items())) == repr(sorted(traces.items()))


@given(
    index=st.lists(values, min_size=TEETH, max_size=TEETH),
    radial=st.lists(values, min_size=TEETH, max_size=TEETH),
    dialect=dialects,
    fast=st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_pitch_and_runout_come_back_bit_by_bit(
    index: list[float], radial: list[float], dialect: Dialect, fast: bool
) -> None:
    pitch = [["A", "right", tooth, value] for tooth, value in enumerate(index, 1)]
    runout = [["A", space, value] for space, value in enumerate(radial, 1)]
    files = {
        "i.csv": table(["serial", "flank", "tooth", "index_um"], pitch, dialect, 1),
        "r.csv": table(["serial", "space", "radial_um"], runout, dialect, 2),
    }
    with tempfile.TemporaryDirectory() as folder, patch.object(
        reading, "FAST_FROM_BYTES", 0 if fast else NEVER_FAST
    ):  # fmt: skip
        write(Path(folder), files)
        with read_folder(folder, chunk_rows=2) as inspection:
            (gear,) = inspection
    assert repr(gear.pitch["right"].index_um.tolist()) == repr(index)
    assert gear.runout is not None
    assert repr(gear.runout.radial_um.tolist()) == repr(radial)


# --- the two readers ------------------------------------------------------------------------------------

NASTY = [
    "", " ", "nan", "NaN", "inf", "-Infinity", "1_0", "0x1f", "1e400", "-1e400", "1e-400", "1.5.2",
    "1,5", "1.5", '"2"', '"2', '2"', '"2"3', '""', "'3'", "#", "#1", "１", "٣", "\v1", "1\f", "\t1",
    "1\u00a0", "True", "1 2", "+4", "--4", "+-4", "1e", "2e+0", "2E-1", ".5", "5.", ".", "-.5", "e5",
    "1d5", "NA", "NULL", "1f", "1%", "007", "3.0", "2.5", "0", "6", "-1", "left", "LEFT", " right ",
    "links", "9007199254740993", "1" * 320, "\x1a", "\x00", "1\x00", "\ufeff1", "\u2028", "\x85", "é",
    "0.1000000000000000055511151231257827", "\x1c1", "1\x1f",
]  # fmt: skip
HEADERS = {
    "serial,flank,tooth,roll_length_mm,deviation_um": ["A", "left", "1", "2.5", "0.25"],
    "serial,flank,tooth,roll_length_mm,deviation_um,note": ["A", "left", "1", "2.5", "0.25", "x"],
    "note,deviation_mm,tooth,flank,face_position_mm,diameter_mm,serial": [
        "",
        "1",
        "2",
        "right",
        "3",
        "22",
        "B",
    ],
    "serial,flank,tooth,diameter_mm,deviation_um": ["A", "left", "1", "21.5", "0.25"],
    "serial,flank,tooth,index_um": ["A", "left", "3", "0.5"],
    "serial,space,radial_um": ["A", "3", "0.5"],
}


@st.composite
def foul_tables(draw: st.DrawFn) -> bytes:
    header = draw(st.sampled_from(sorted(HEADERS)))
    separator, decimal = draw(st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ".")]))
    newline = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    good = HEADERS[header]
    number = next(at for at, name in enumerate(header.split(",")) if name.endswith(("_mm", "_um", "_deg")))
    lines = [header.replace(",", separator)]
    for count in range(draw(st.integers(0, 9))):
        row = [text.replace(".", decimal) for text in good]
        row[number] = f"{21 + count}"
        for _ in range(draw(st.sampled_from([0, 0, 0, 1, 1, 2]))):
            at = draw(st.integers(0, len(row) - 1))
            row[at] = draw(st.sampled_from(NASTY) | st.text(max_size=4))
        change = draw(st.sampled_from(["", "", "", "", "short", "long", "blank", "comment", "stray"]))
        if change == "short":
            row.pop()
        elif change == "long":
            row.append(draw(st.sampled_from(["", "x", "1"])))
        line = separator.join(row)
        lines.append({"blank": " ", "comment": "#" + line, "stray": line + "\r"}.get(change, line))
    text = newline.join(lines) + draw(st.sampled_from(["", newline]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"]))
    return text.encode(encoding, errors="replace" if encoding == "cp1252" else "surrogatepass")


@given(foul=foul_tables(), chunk=st.integers(1, 12))
@example(foul=b"serial,space,radial_um\nA,3,1\nA,4,1,\nA,5\n", chunk=99)
@example(foul=b"serial,space,radial_um,note\nA,3,1,a,b\nA,4,1,c\nA,5,1\n", chunk=99)
@example(foul=b'serial,space,radial_um\n"A\n#",3,1\nB,4,1\n', chunk=1)
@example(foul=b"serial,space,radial_um\r\nA,3,1\r\n\rB,4,1", chunk=1)
@example(foul=b"serial,space,radial_um\nA,3,1\n\xef\xbb\xbfB,4,1\n", chunk=1)
@example(foul=b"serial,space,radial_um\n\xef\xbb\xbfB,4,1\n", chunk=9)
@example(foul=b"serial,space,radial_um,note\n,1,2,x\nA,2,1,x\n", chunk=99)
@example(foul=b"serial,space,radial_um\n,1,2\nA,2,1\n", chunk=99)
@example(foul=b"serial,space,radial_um\nA,1,nan\nA,2,1\n", chunk=99)
@example(foul=b"serial,space,radial_um\nA,1,True\nA,2,False\n", chunk=99)
@example(foul=b"serial;space;radial_um\nA.1;1;2.5\nA.1;2;2,5\n", chunk=99)
@example(foul=b"serial;space;radial_um;note\nA;1;2,5;3.4.\nA;2;2,5;.\n", chunk=99)
@example(foul=b"serial,space,radial_um\nA ,1 , 1.5 \n \nA , 2,1  \n  ,3,1 \nA,4,1 ", chunk=99)
@example(foul=b"serial;space;radial_um;note\r\nA. ;1 ;1,5 ;x \r\n . ;2 ;.5 ; . \r\n", chunk=99)
@example(foul=b"serial,space,radial_um\n\nA,1,1\n\n\nA,2,1\n,,\n", chunk=99)
@example(foul=b'serial,space,radial_um,"Note "q""\nA,3,1,x\nA,4,1,y\n', chunk=9)
@example(foul=b'serial,space,radial_um,"Note ""q"""\nA,3,1,x\nA,4,1,y\n', chunk=1)
@example(foul=b'"serial",space,radial_um\n\xef\xbb\xbfA,3,1\nA,4,1\n', chunk=1)
@example(foul=b"serial,space,radial_um\nA,3,1\nA,4,1\n\xef\xbb\xbfA,5,1\n", chunk=2)
@example(foul=b"\xef\xbb\xbf\xef\xbb\xbfserial,space,radial_um\nA,3,1\n", chunk=2)
@example(foul=b"serial,space,radial_um\r\xef\xbb\xbfA,3,1\r", chunk=9)
@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_both_readers_agree_on_any_text(foul: bytes, chunk: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = write(Path(name), {"t.csv": foul})
        assert outcome(folder, True, chunk) == outcome(folder, False, chunk)
