"""Reader of oracle files: reference rows with their provenance.

An oracle file is a CSV below a header of `#` lines, each `# key: value`. Required keys:
`document`, `edition`, `place` (page, table, equation), `precision` (as printed), `kind`
(published | independent | regression) and `memory` (yes when recalled, not read off a document).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest

ORACLES = Path(__file__).parent / "oracle"
REQUIRED = ("document", "edition", "place", "precision", "kind", "memory")
KINDS = ("published", "independent", "regression")


@dataclass(frozen=True)
class OracleFile:
    name: str
    source: dict[str, str]
    rows: list[dict[str, str]]

    def params(self) -> list[object]:
        """One pytest parameter a row, carrying the marker of its kind."""
        mark = getattr(pytest.mark, self.source["kind"])
        return [pytest.param(row, id=f"{self.name}-{i + 1}", marks=mark) for i, row in enumerate(self.rows)]


def load(name: str) -> OracleFile:
    """Read `tests/oracle/NAME.csv`; fails when the provenance is incomplete."""
    lines = (ORACLES / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    head = [line[1:].strip() for line in lines if line.startswith("#")]
    source = {k.strip(): v.strip() for k, _, v in (line.partition(":") for line in head) if v.strip()}
    missing = [key for key in REQUIRED if key not in source]
    if missing:
        raise ValueError(f"{name}.csv lacks {', '.join(missing)} in its header")
    if source["kind"] not in KINDS:
        raise ValueError(f"{name}.csv: kind must be one of {', '.join(KINDS)}")
    body = [line for line in lines if line.strip() and not line.startswith("#")]
    return OracleFile(name, source, list(csv.DictReader(body)))
