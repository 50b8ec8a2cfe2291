"""Digests of what was measured on a gear, by kind of table: whether two readings are the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np
import orjson

from gearqa.arrays import Array
from gearqa.errors import StoreError
from gearqa.model.measurement import GearMeasurement, Production, Trace
from gearqa.results.codec import writer
from gearqa.wording.numbers import short_text

LARGEST_NUMBER = 2**63 - 1
"""Of the whole numbers of databases."""
LENGTH = 32
"""Hexadecimal digits kept: 128 bits."""


def measured_digests(gear: GearMeasurement) -> dict[str, str]:
    """Kind of table -> digest of its values; only kinds that were measured.

    Raises StoreError for a number that no store can hold.
    """
    digests: dict[str, str] = {}
    for kind in ("profile", "helix"):
        traces = sorted((t for t in gear.traces if t.kind == kind), key=_place)
        if traces:
            digests[kind] = _digest(part for trace in traces for part in _trace(trace))
    if gear.pitch:
        digests["pitch"] = _digest(
            part
            for flank, readings in sorted(gear.pitch.items())
            for part in (_text([flank, readings.closure_um]), _numbers(readings.index_um))
        )
    if gear.runout is not None:
        digests["runout"] = _digest([_numbers(gear.runout.radial_um)])
    if gear.sizes:
        digests["size"] = _digest(
            _text([s.method, s.value_mm, s.pin_diameter_mm, s.teeth_spanned, s.position]) for s in gear.sizes
        )
    if gear.production is not None:
        count = gear.production.parts_since_dress
        if count is not None and count > LARGEST_NUMBER:
            raise StoreError(
                f"gear '{gear.serial}': parts_since_dress is {short_text(count)}, more than a history store "
                "holds",
                hint="correct the production table; nothing was changed",
            )
        digests["production"] = _digest([_text(writer(Production)(gear.production))])
    return digests


def differing_kinds(old: Mapping[str, str], new: Mapping[str, str]) -> tuple[str, ...]:
    """Kinds of table whose values differ, are missing, or came new."""
    return tuple(kind for kind in dict.fromkeys((*old, *new)) if old.get(kind) != new.get(kind))


def completes(old: Mapping[str, str], new: Mapping[str, str]) -> bool:
    """Whether everything measured before is unchanged and something was added."""
    return len(new) > len(old) and all(new.get(kind) == digest for kind, digest in old.items())


def _place(trace: Trace) -> tuple[str, int, float]:
    return (trace.flank, trace.tooth, -1.0 if trace.label_mm is None else trace.label_mm)


def _trace(trace: Trace) -> Iterator[bytes]:
    yield _text([trace.flank, trace.tooth, trace.label_mm])
    yield _numbers(trace.position_mm)
    yield _numbers(trace.deviation_um)


def _numbers(values: Array) -> bytes:
    return np.ascontiguousarray(values, dtype="<f8").tobytes()


def _text(value: Any) -> bytes:
    return orjson.dumps(value, option=orjson.OPT_SORT_KEYS)


def _digest(parts: Iterable[bytes]) -> str:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "little"))
        digest.update(part)
    return digest.hexdigest()[:LENGTH]
