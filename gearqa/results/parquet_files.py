"""Tables of results as Parquet: the columns of the CSV, with numbers, answers and texts as such.

Written block by block, so that any number of rows takes bounded memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, BinaryIO, Final, Literal

from gearqa.errors import ReportError
from gearqa.wording.safety import FILE_MARK_KEY

CellType = Literal["number", "whole", "answer", "text"]
BLOCK_ROWS: Final = 50_000


def write_parquet_rows(
    stream: BinaryIO, columns: Mapping[str, CellType], rows: Iterable[Sequence[Any]], mark: str
) -> None:
    """Write rows of cells, with the line that begins such a table as CSV among the file's own data."""
    import polars as pl
    from polars.io.plugins import register_io_source

    types = {"number": pl.Float64, "whole": pl.Int64, "answer": pl.Boolean, "text": pl.String}
    schema = {name: types[kind] for name, kind in columns.items()}
    failed: list[BaseException] = []

    def blocks(*_: Any) -> Iterator[Any]:
        source = iter(rows)
        try:
            while block := list(islice(source, BLOCK_ROWS)):
                yield pl.DataFrame(block, schema=schema, orient="row")
        except BaseException as error:  # the library would tell of it as a fault of its own
            failed.append(error)
            raise

    try:
        lazy = register_io_source(blocks, schema=schema)
        lazy.sink_parquet(stream, metadata={FILE_MARK_KEY: mark}, maintain_order=True)
    except pl.exceptions.PolarsError as error:
        if failed:
            raise failed[0] from None
        raise ReportError(f"cannot write the Parquet table: {error}") from error
