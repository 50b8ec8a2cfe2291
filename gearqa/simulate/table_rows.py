"""Measured gears as the neutral tables: text of traces written by whole arrays, the rest by rows."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable
from dataclasses import fields
from datetime import datetime, time
from typing import BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, IntArray
from gearqa.model.measurement import GearMeasurement, GrinderEvent, Production, Trace
from gearqa.simulate.scenario import Scenario, TableName
from gearqa.wording.formulas import without_formula
from gearqa.wording.safety import SIMULATED_MARK

Bytes = NDArray[np.uint8]

MEASUREMENT: Final = "measurement"
"""Column that tells measurements of one gear apart."""
_PRODUCTION: Final = tuple(f.name for f in fields(Production) if f.name != "labels")
_EVENTS: Final = ("at", "grinder", "event", "wheel", "parameter", "flank", "correction", "unit", "remark")


def fixed_point(values: Array, decimals: int) -> Bytes:
    """Decimal text of numbers, right-aligned in rows of equal width, padded with NUL.

    Halves go to the even last digit; a value that rounds to zero carries no sign.

    Examples
    --------
    >>> rows = fixed_point(np.array([-0.5, 12.3456, -0.0001]), 3)
    >>> [bytes(row).replace(bytes(1), b"").decode() for row in rows]
    ['-0.500', '12.346', '0.000']
    """
    scaled = np.rint(np.asarray(values) * 10.0**decimals)
    largest = float(np.max(np.abs(scaled), initial=0.0))
    if not largest < 1e15:
        raise ValueError(f"cannot write {largest:g} with {decimals} decimals")
    whole: IntArray = scaled.astype(np.int32 if largest < 2**31 - 1 else np.int64)
    negative = whole < 0
    whole = np.abs(whole)
    digits = max(len(str(int(largest))), decimals + 1)
    point = 1 if decimals else 0
    out = np.zeros((whole.size, 1 + digits + point), dtype=np.uint8)
    column = out.shape[1] - 1
    for place in range(digits):
        if place == decimals and point:
            out[:, column] = ord(".")
            column -= 1
        rest = whole // 10
        out[:, column] = whole - rest * 10 + ord("0")
        if place > decimals:
            out[:, column] *= whole > 0  # no leading zeros
        whole = rest
        column -= 1
    out[:, 0] = np.where(negative, ord("-"), 0)
    return out


class TraceTable:
    """Writes the profile or the helix table gear by gear."""

    def __init__(self, stream: BinaryIO, kind: str, scenario: Scenario, factor: float) -> None:
        measuring = scenario.measuring
        self._stream, self._kind, self._factor = stream, kind, factor
        self._position_decimals, self._decimals = measuring.position_decimals, measuring.deviation_decimals
        position, label, self._labelled = (
            ("roll_length_mm", "face_position_mm", bool(measuring.profile_face_positions_mm))
            if kind == "profile"
            else ("face_position_mm", "diameter_mm", bool(measuring.helix_diameters_mm))
        )
        self._again = bool(scenario.repeat)
        named = ["serial", *([MEASUREMENT] if self._again else []), "flank", "tooth"]
        named += [*([label] if self._labelled else []), position, "deviation_um"]
        stream.write(f"{SIMULATED_MARK}\n{','.join(named)}\n".encode())
        self._positions: dict[int, tuple[Array, Bytes]] = {}

    def write(self, gear: GearMeasurement) -> None:
        """Append the rows of one gear."""
        traces = [t for t in gear.traces if t.kind == self._kind]
        run: list[Trace] = []
        for trace in traces:
            if run and trace.position_mm is not run[0].position_mm:
                self._write_run(gear, run)
                run = []
            run.append(trace)
        if run:
            self._write_run(gear, run)

    def _write_run(self, gear: GearMeasurement, traces: list[Trace]) -> None:
        heads = [self._head(gear, trace).encode() for trace in traces]
        width, points = max(map(len, heads)), traces[0].position_mm.size
        head = np.frombuffer(b"".join(h.ljust(width, b"\0") for h in heads), dtype=np.uint8)
        values = np.concatenate([trace.deviation_um for trace in traces]) * self._factor
        cells = fixed_point(values, self._decimals)
        position = self._position_text(traces[0].position_mm)
        parts = (width, position.shape[1], cells.shape[1], 1)
        a, b, c, d = np.cumsum(parts)
        rows = np.empty((len(traces), points, d), dtype=np.uint8)
        rows[:, :, :a] = head.reshape(len(traces), 1, width)
        rows[:, :, a:b] = position
        rows[:, :, b:c] = cells.reshape(len(traces), points, -1)
        rows[:, :, c] = ord("\n")
        flat = rows.ravel()
        self._stream.write(flat[flat != 0].tobytes())

    def _head(self, gear: GearMeasurement, trace: Trace) -> str:
        label = ""
        if self._labelled:
            assert trace.label_mm is not None
            label = f"{trace.label_mm:.{self._position_decimals}f},"
        names = ",".join(_names(gear, self._again))
        return f"{names},{trace.flank},{trace.tooth},{label}"

    def _position_text(self, position: Array) -> Bytes:
        known = self._positions.get(id(position))
        if known is None:
            text = fixed_point(position, self._position_decimals)
            known = position, np.column_stack([text, np.full(position.size, ord(","), dtype=np.uint8)])
            self._positions[id(position)] = known
        return known[1]


class RowTable:
    """Writes one of the small tables: a header, then rows that a function makes of each gear."""

    def __init__(
        self,
        stream: BinaryIO,
        columns: Iterable[str],
        rows: Callable[[GearMeasurement], Iterable[Iterable[str]]],
    ) -> None:
        self._stream, self._rows = stream, rows
        stream.write(f"{SIMULATED_MARK}\n{','.join(columns)}\n".encode())

    def write(self, gear: GearMeasurement) -> None:
        """Append the rows of one gear."""
        self._stream.write("".join(",".join(row) + "\n" for row in self._rows(gear)).encode())


def gear_table(
    name: TableName, stream: BinaryIO, scenario: Scenario, *, normal_factor: float, pitch_factor: float
) -> TraceTable | RowTable:
    """Open one of the tables that hold rows of gears.

    `normal_factor` leads from transverse to the plane in which the part states profile and helix,
    `pitch_factor` from the reference to the measuring circle.
    """
    decimals = scenario.measuring.deviation_decimals
    again = bool(scenario.repeat)

    def pitch(gear: GearMeasurement) -> Iterable[Iterable[str]]:
        names = _names(gear, again)
        for flank, readings in gear.pitch.items():
            for i, value in enumerate(readings.index_um.tolist()):
                if not math.isnan(value):
                    yield *names, flank, str(i + 1), _number(value * pitch_factor, decimals)

    def runout(gear: GearMeasurement) -> Iterable[Iterable[str]]:
        if gear.runout is not None:
            names = _names(gear, again)
            for i, value in enumerate(gear.runout.radial_um.tolist()):
                if not math.isnan(value):
                    yield *names, str(i + 1), _number(value, decimals)

    def size(gear: GearMeasurement) -> Iterable[Iterable[str]]:
        for one in gear.sizes:
            pin = "" if one.pin_diameter_mm is None else f"{one.pin_diameter_mm:.10g}"
            teeth = "" if one.teeth_spanned is None else str(one.teeth_spanned)
            names = _names(gear, again)
            yield *names, one.method, pin, teeth, _number(one.value_mm, 4), _cell(one.position)

    def production(gear: GearMeasurement) -> Iterable[Iterable[str]]:
        if gear.production is not None:
            yield *_names(gear, again), *(_cell(getattr(gear.production, name)) for name in _PRODUCTION)

    if name in {"profile", "helix"}:
        return TraceTable(stream, name, scenario, normal_factor)
    columns, rows = {
        "pitch": (("flank", "tooth", "index_um"), pitch),
        "runout": (("space", "radial_um"), runout),
        "size": (("method", "pin_diameter_mm", "teeth_spanned", "value_mm", "position"), size),
        "production": (_PRODUCTION, production),
    }[name]
    columns = ("serial", *((MEASUREMENT,) if again else ()), *columns)
    return RowTable(stream, columns, rows)


def _names(gear: GearMeasurement, again: bool) -> tuple[str, ...]:
    """Serial, and the label of the measurement where gears are measured again."""
    return (_cell(gear.serial), _cell(gear.measurement)) if again else (_cell(gear.serial),)


def write_events(stream: BinaryIO, events: Iterable[GrinderEvent]) -> None:
    """Write the events table."""
    stream.write(f"{SIMULATED_MARK}\n{','.join(_EVENTS)}\n".encode())
    for event in events:
        stream.write((",".join(_cell(getattr(event, name)) for name in _EVENTS) + "\n").encode())


def _number(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text


def _cell(value: object) -> str:
    """One cell: times as ISO 8601, numbers short, text quoted where it must be."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        whole_day = value.tzinfo is None and value.time() == time()
        return value.date().isoformat() if whole_day else value.isoformat(timespec="seconds")
    if isinstance(value, float):
        return f"{value:.6g}"
    text = without_formula(value) if isinstance(value, str) else str(value)
    if not any(c in text for c in ',"\r\n#'):
        return text
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="", quoting=csv.QUOTE_ALL).writerow([text])
    return buffer.getvalue()
