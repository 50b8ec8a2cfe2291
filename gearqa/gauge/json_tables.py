"""A gauge study as JSON, and as a block for part.toml."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from gearqa.model.gauge import CrossedResult, GaugeResult, ReferenceResult
from gearqa.results.document import software
from gearqa.results.jsonio import input_table
from gearqa.results.plain_tables import plain

GAUGE_SCHEMA: Final = "gearqa.gauge/1"
_WITHOUT: Final = frozenset({"series"})


def gauge_table(result: GaugeResult) -> dict[str, Any]:
    """The document of `gauge --json`; of several flanks the one with the larger spread stands on top."""
    found: dict[str, Any] = {
        key: _worst_first(some, max(some, key=lambda one: one.gauge_sd_um))
        for key, some in result.crossed.items()
    }
    found |= {key: _worst_first(some, max(some, key=_size)) for key, some in result.references.items()}
    return {
        "schema": GAUGE_SCHEMA,
        "software": software(),
        "kind": result.kind,
        "part": None if result.part is None else dict(result.part),
        "inputs": [input_table(file) for file in result.inputs],
        "simulated": result.simulated,
        "factor": result.factor,
        "pool_above": result.pool_above,
        "suitable": result.suitable,
        "parameters": found,
        "uncertainty_um": dict(result.uncertainty_um),
        "cautions": plain(result.cautions),
        "warnings": plain(result.warnings),
    }


def _worst_first(
    some: Sequence[CrossedResult] | Sequence[ReferenceResult], worst: CrossedResult | ReferenceResult
) -> dict[str, Any]:
    table: dict[str, Any] = plain(worst, without=_WITHOUT)
    if len(some) > 1:
        table["series"] = [plain(one, without=_WITHOUT) for one in some]
    return table


def _size(one: ReferenceResult) -> float:
    return one.U_um if one.U_um is not None else abs(one.bias_um) + 2 * one.sd_um
