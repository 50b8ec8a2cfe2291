"""Arguments and options that several commands share, so that they read the same everywhere."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from gearqa.cli.console import hush


def _hush_if(quiet: bool) -> bool:
    if quiet or "logging" in sys.modules:  # which takes longer to load than a short command
        hush(quiet)
    return quiet


Folder = Annotated[
    Path,
    typer.Argument(
        metavar="FOLDER", help="Inspection folder: part.toml and tables (CSV, Parquet).", show_default=False
    ),
]
PartFile = Annotated[
    Path | None,
    typer.Option("--part", metavar="FILE", help="Part file to use instead of FOLDER/part.toml."),
]
ColumnMap = Annotated[
    Path | None,
    typer.Option("--columns", metavar="MAP", help="Column map for tables of another layout."),
]
Serials = Annotated[
    list[str] | None,
    typer.Option("--serial", metavar="S", help="Only this serial; give it again for each one."),
]
JsonFile = Annotated[
    str | None, typer.Option("--json", metavar="FILE", help="Write the result as JSON; - is standard output.")
]
CsvFile = Annotated[
    str | None, typer.Option("--csv", metavar="FILE", help="Write the result as CSV; - is standard output.")
]
HtmlFile = Annotated[
    str | None,
    typer.Option("--html", metavar="FILE", help="Write a self-contained page; - is standard output."),
]
PdfFile = Annotated[
    str | None, typer.Option("--pdf", metavar="FILE", help="Write a PDF to print; - is standard output.")
]
PaperSize = Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Size of the pages of a PDF.")]
CsvStyle = Annotated[
    Literal["comma", "semicolon"],
    typer.Option("--csv-style", help="semicolon: decimal comma and BOM, for spreadsheets."),
]
Parameters = Annotated[
    list[str] | None,
    typer.Option("--parameter", metavar="KEY", help="Only this parameter; give it again for each one."),
]
LotSize = Annotated[int | None, typer.Option("--lot-size", metavar="N", help="Gears in the lot.")]
PlanFile = Annotated[
    Path | None,
    typer.Option("--plan", metavar="FILE", help="Decision rule and sampling plan (gearqa new --plan)."),
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers",
        metavar="N",
        help="Processes that share the work, this one counted [default: one a core, where it pays].",
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option("--scheduler", metavar="ADDRESS", help="Machines behind a scheduler share the work."),
]
Quiet = Annotated[
    bool,
    typer.Option("--quiet", "-q", help="No result on the terminal, no progress.", callback=_hush_if),
]
