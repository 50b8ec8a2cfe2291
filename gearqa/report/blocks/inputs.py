"""The files behind a report, with the first digits of their digests."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.model.measurement import InputFile
from gearqa.report.blocks import document as doc
from gearqa.wording.numbers import DASH
from gearqa.wording.visible import clip

DIGITS = 16
LONGEST_NAME = 60


def input_files(inputs: Sequence[InputFile]) -> list[doc.Section]:
    """A section of the files with their whole digests; none without files."""
    rows = tuple(
        (clip(one.file), one.sha256 if one.sha256 is not None else f"left out: {clip(one.left_out or '')}")
        for one in inputs
    )
    columns = (doc.Column("file", "left"), doc.Column("SHA-256", "left", weight=1))
    return [doc.Section("Input files", (doc.Table("", columns, rows, dense=True),))] if rows else []


def inputs_table(inputs: Sequence[InputFile]) -> doc.Table:
    """Files read; in place of a digest the reason why a file was left out."""
    rows = tuple(
        (clip(file.file, LONGEST_NAME), file.sha256[:DIGITS] if file.sha256 else file.left_out or DASH)
        for file in inputs
    )
    columns = (doc.Column("file", "left", weight=1.0), doc.Column(f"SHA-256, first {DIGITS} digits", "left"))
    return doc.Table("Files read", columns, rows, dense=True)
