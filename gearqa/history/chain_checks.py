"""Compares every row of a store with its entries in the chain, and every stored result with its figures."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import groupby
from operator import itemgetter
from typing import Any, Final

import orjson
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from gearqa.history.drafts import conditions_text
from gearqa.history.figures import KeptFigure, figures_of, whole_lists
from gearqa.history.parts import part_by_id
from gearqa.history.passing import Passing
from gearqa.history.queries import graded_in, result_of
from gearqa.history.sealed_rows import (
    BEGINNING,
    ChainEntry,
    before,
    content_digest,
    link_after,
    raw_rows,
    sealed_rows,
    state_text,
    streamed,
)
from gearqa.history.sql_tables import (
    ACKNOWLEDGEMENT,
    AUDIT,
    CHAIN,
    DELIVERY,
    EVENT,
    FIGURES,
    GEAR,
    INTAKE,
    PART,
    REFERENCE,
)
from gearqa.history.stored_texts import unpacked
from gearqa.model.history import ChainHead, StoreFinding
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.symbols import SIZE

SEALED: Final = {
    "part": (PART, "part data"),
    "intake": (INTAKE, "intake"),
    "gear": (GEAR, "gear"),
    "event": (EVENT, "event"),
    "reference": (REFERENCE, "frozen reference"),
    "acknowledgement": (ACKNOWLEDGEMENT, "acknowledgement"),
    "delivery": (DELIVERY, "delivery"),
    "audit": (AUDIT, "log entry"),
}
"""Name in the chain -> table, and what its rows are."""
BROKEN: Final = "does not follow from the one before: an entry was changed, deleted or added"
LOST: Final = "what was written up to it is not all there"
VERDICTS: Final = ("class_", "class_complete", "beyond", "conforms", "master_quality")
MADE: Final = ("grinder", "wheel", "dress", "parts_since_dress", "instrument")
_Row = Mapping[str, Any]


class ChainWalk:
    """Follows the links of the chain; then `head` is its end."""

    def __init__(self, expected: str | None = None) -> None:
        self.head = ChainHead(0, None)
        self._expected = expected

    def findings(self, connection: Connection) -> Iterator[StoreFinding]:
        """Where an entry does not follow from the one before, and whether the expected head is missing."""
        link, number, met = BEGINNING, 0, self._expected is None
        for row in raw_rows(connection, CHAIN, "id"):
            number += 1
            entry = ChainEntry(row["kind"], row["row_id"], row["content"], row["state"])
            if row["id"] != number or row["link"] != link_after(link, number, entry):
                yield StoreFinding("broken_chain", f"entry {row['id']} of the chain {BROKEN}")
                number = row["id"] if isinstance(row["id"], int) else number
            if entry.kind not in SEALED:
                yield StoreFinding("broken_chain", f"entry {row['id']} of the chain is of no known table")
            link = row["link"]
            met = met or link == self._expected
        self.head = ChainHead(number, str(link) or None)
        if not met:
            yield StoreFinding("head_not_found", f"the chain has no head {self._expected}: {LOST}")


def row_findings(connection: Connection, passing: Passing) -> Iterator[StoreFinding]:
    """Rows that were changed, deleted or added, and gears whose figures are not those of their result."""

    @cache
    def part_of(number: int) -> Part:
        return part_by_id(connection, number)

    for kind, (table, what) in SEALED.items():
        merged = _merged(entries_of(connection, kind), sealed_rows(connection, table))
        total = connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
        for number, entries, found in passing(merged, total=total) if kind == "gear" else merged:
            named = f"{what} {found['serial']} (row {number})" if found and kind == "gear" else ""
            named = named or f"{what} (row {number})"
            if found is None:
                yield StoreFinding("row_deleted", f"the {named} was deleted")
                continue
            if not entries:
                yield StoreFinding("row_added", f"the {named} was not written by gearqa")
            else:
                yield from _against_entries(table, named, entries, found)
            if kind == "gear":
                yield from _against_result(named, found, part_of)
    lost = sa.select(FIGURES.c.gear_id).where(FIGURES.c.gear_id.not_in(sa.select(GEAR.c.id)))
    for (number,) in connection.execute(lost):
        yield StoreFinding("row_added", f"figures of a gear (row {number}) that is not there")


def entries_of(connection: Connection, kind: str) -> Iterator[tuple[Any, list[ChainEntry]]]:
    """Row number and its entries, in the order they were written."""
    query = "SELECT row_id, content, state FROM gearqa_chain WHERE kind = :kind ORDER BY row_id, id"
    for number, group in groupby(streamed(connection, query, kind=kind), itemgetter("row_id")):
        yield number, [ChainEntry(kind, number, row["content"], row["state"]) for row in group]


def _merged(
    chain: Iterator[tuple[Any, list[ChainEntry]]], rows: Iterator[_Row]
) -> Iterator[tuple[Any, list[ChainEntry], _Row | None]]:
    """Each row number with its entries and its row, of which one may be missing; both come in its order."""
    entry = next(chain, None)
    for row in rows:
        number = row["id"]
        while entry is not None and before(entry[0], number):
            yield entry[0], entry[1], None
            entry = next(chain, None)
        if entry is not None and entry[0] == number:
            yield number, entry[1], row
            entry = next(chain, None)
        else:
            yield number, [], row
    while entry is not None:
        yield entry[0], entry[1], None
        entry = next(chain, None)


def _against_entries(
    table: sa.Table, named: str, entries: Sequence[ChainEntry], row: _Row
) -> Iterator[StoreFinding]:
    content = next((one.content for one in reversed(entries) if one.content is not None), None)
    if content != content_digest(table, row):
        yield StoreFinding("row_changed", f"the {named} was changed after it was written")
    if entries[-1].state != state_text(row):
        yield StoreFinding("state_changed", f"the state of the {named} was changed to '{state_text(row)}'")


def _against_result(named: str, row: _Row, part_of: Any) -> Iterator[StoreFinding]:
    try:
        document = unpacked(row["result"])
        gear = result_of(document)
        whole = gear.serial == row["serial"]
        agrees = whole and _agree(gear, document, row, part_of(row["part_id"]))
    except (zlib.error, ValueError, LookupError, TypeError, AttributeError, sa.exc.NoResultFound):
        whole = agrees = False
    if not whole:
        yield StoreFinding("damaged_result", f"the result of the {named} is damaged")
    elif not agrees:
        yield StoreFinding("figures_differ", f"the stored figures of the {named} are not those of its result")


def _agree(gear: GearResult, document: Mapping[str, Any], row: _Row, part: Part) -> bool:
    made = gear.production
    if any(row[name.rstrip("_")] != getattr(gear, name) for name in VERDICTS):
        return False
    if made is not None and any(row[name] != getattr(made, name) for name in MADE):
        return False
    said = graded_in(document)
    if (row["measurement"], row["conformity_state"]) != (said.measurement, said.state):
        return False
    if row["conditions"] != conditions_text(made or Production()):
        return False
    result = _compared(orjson.loads(orjson.dumps(figures_of(gear, part))))
    try:
        stored = _compared(unpacked(row["figures"]) if row["figures"] else [])
    except (zlib.error, ValueError, TypeError, LookupError):
        return False
    if len(gear.size) > 1:  # earlier versions took the first reading, not the mean of what the drawing limits
        stored.pop((SIZE, ""), None)
        result.pop((SIZE, ""), None)
    return stored == result


def _compared(figures: list[list[Any]]) -> dict[tuple[str, str], KeptFigure]:
    """Of the figures what a result says too, by parameter and flank."""
    found = map(KeptFigure._make, whole_lists(figures))
    return {(one.parameter, one.flank): one._replace(expanded_u_um=None) for one in found}
