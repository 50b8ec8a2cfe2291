"""`gearqa columns`: what a foreign table looks like, and a draft of the map to read it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gearqa.cli.exit_status import ExitStatus

if TYPE_CHECKING:
    from gearqa.reading.maps.columns_draft import ColumnsDraft
    from gearqa.reading.maps.family_draft import TableDraft
    from gearqa.report.blocks.document import Block

COLUMNS_SHOWN = 6
"""Columns of a table that are shown with their first rows."""


def command(
    path: Annotated[Path, typer.Argument(metavar="FOLDER|FILE", help="Folder with tables, or one table.")],
    write: Annotated[
        Path | None, typer.Option("--write", metavar="FILE", help="Write the map here; never overwrites.")
    ] = None,
) -> int:
    """Look at a foreign table and draft the column map to read it.

    Shows separator, decimal sign, encoding, header and first rows of every table that is not in the
    neutral format, and a column map in which every gap is marked. Which flank is which is never guessed
    from numbers: gearqa explain flanks.
    """
    from gearqa.cli.console import tell, terminal
    from gearqa.errors import ReportError
    from gearqa.reading.maps.columns_draft import draft_columns
    from gearqa.reading.maps.map_model import GAP
    from gearqa.wording.numbers import count_text

    if write is not None and write.exists():
        raise ReportError(f"{write} exists and is not overwritten", hint="name another file")
    draft = draft_columns(path)
    terminal().blocks(_blocks(draft))
    if not draft.toml:
        tell("no table needs a column map")
        return ExitStatus.CONFORMS
    if write is None:
        sys.stdout.write(f"\n{draft.toml}")
        tell(f"to keep the map: gearqa columns {path} --write map.toml")
    else:
        from gearqa.results.outputs import write_whole

        write_whole(str(write), draft.toml.encode(), "column map")
        tell(f"written: {write}")
    if draft.gaps:
        tell(f"to fill in: {count_text(draft.gaps, 'gap')}, marked with '{GAP}'")
    for file in [file for table in draft.tables if table.kind == "reported" for file in table.files]:
        place = draft.folder / file
        tell(
            f"then: gearqa incoming {place} FOLDER --columns {write or 'map.toml'}, or --part FILE for FOLDER"
        )
    if any(table.kind != "reported" for table in draft.tables):
        tell(f"then: gearqa grade {draft.folder} --columns {write or 'map.toml'}")
    return ExitStatus.CONFORMS


def _blocks(draft: ColumnsDraft) -> Iterator[Block]:
    from gearqa.report.blocks.document import Bullets, Paragraph

    if draft.neutral:
        yield Paragraph(f"Read without a map: {', '.join(draft.neutral)}")
    if draft.left_out:
        yield Bullets(tuple(f"{name}: left out, {why}" for name, why in draft.left_out))
    for table in draft.tables:
        yield from _table_blocks(table)


def _table_blocks(table: TableDraft) -> Iterator[Block]:
    from gearqa.report.blocks.document import Bullets, Column, Facts, Table

    look = table.look
    separator = {"\t": "tab", ",": "comma", ";": "semicolon"}.get(
        look.dialect.separator, look.dialect.separator
    )
    decimal = {".": "point", ",": "comma"}[look.dialect.decimal]
    more = f" and {len(table.files) - 1} more like it" if len(table.files) > 1 else ""
    facts = [
        ("File", f"{table.files[0]}{more}"),
        ("Looks like", table.kind or "unclear"),
        ("Layout", f"separator {separator}, decimal {decimal}, {look.dialect.encoding}"),
        ("Header", f"line {look.header_line}, {len(look.header)} columns"),
    ]
    if table.flank_words:
        facts.append(("Flank words", ", ".join(table.flank_words)))
    yield Facts(tuple(facts))
    shown = look.header[:COLUMNS_SHOWN]
    rest = len(look.header) - len(shown)
    yield Table(
        "First rows",
        tuple(Column(name or "(no name)", "left") for name in shown),
        tuple(tuple(row[: len(shown)]) for row in table.first_rows),
        notes=(f"and {rest} more columns",) if rest else (),
    )
    if table.hints:
        yield Bullets(table.hints)
