"""An incoming comparison as plain text, ready for a mail to the supplier."""

from __future__ import annotations

import textwrap

from gearqa.model.incoming import ComparedValue, IncomingResult
from gearqa.report.blocks import document as doc
from gearqa.report.incoming.plausible import question_lines
from gearqa.report.incoming.words import (
    LONGEST_SERIAL,
    claimed_text,
    open_rows,
    reported_text,
    signed,
    subject,
    verdict,
    where_text,
)
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import value_text
from gearqa.wording.safety import CAUTIONS, MAIL_TITLE, SIMULATED_BANNER
from gearqa.wording.visible import clip

MAIL_LINES = 39
MAIL_WIDTH = 76
MAIL_VALUES = 6
MAIL_QUESTIONS = 3


def incoming_text(result: IncomingResult) -> str:
    """Plain text of less than forty lines, suitable for a mail to the supplier."""
    lines: list[str] = []
    if result.simulated:
        lines += [f"{SIMULATED_BANNER}.", ""]
    part = result.part
    name = f" ({part['name']})" if part["name"] else ""
    revision = f", revision {part['revision']}" if part["revision"] else ""
    lines += [*_wrapped(f"{MAIL_TITLE}{part['number']}{name}{revision}"), ""]
    lines += [*_wrapped(subject(result)), ""]
    for answer in verdict(result).answers:
        lines += _wrapped(f"{doc.plain(answer.question)}: {doc.plain(answer.answer)}.")
        if answer.detail:
            lines += _wrapped(doc.plain(answer.detail), "    ")[:5]
    rows = open_rows(result)
    if rows:
        lines += ["", "Please look at:"]
        for row in rows[:MAIL_VALUES]:
            lines += _wrapped(_mail_row(row), "  ")[:2]
        if len(rows) > MAIL_VALUES:
            lines.append(f"  and {len(rows) - MAIL_VALUES} more values")
    if asked := question_lines(result):
        lines += ["", "The figures themselves ask for a look:"]
        for one in asked[:MAIL_QUESTIONS]:
            lines += _wrapped(f"- {one}", "  ")
    closing = ["", *textwrap.wrap(" ".join(("All values in micrometres.", *CAUTIONS)), MAIL_WIDTH)]
    room = MAIL_LINES - len(lines) - len(closing)
    notes: list[str] = []
    for notice in result.cautions:
        notes += _wrapped(f"- {notice.message}")
    if notes and room > 2:
        lines += ["", *notes[: room - 1]]
    return "\n".join([*lines[: MAIL_LINES - len(closing)], *closing]) + "\n"


def _mail_row(row: ComparedValue) -> str:
    parameter = PARAMETERS[row.parameter]
    where = where_text(row, meant=True) if row.flank is not None or row.tooth is not None else None
    text = " ".join(filter(None, (clip(row.serial, LONGEST_SERIAL), parameter.name, where)))
    text += f": reported {reported_text(row)}"
    if row.explained_um is not None:
        text += f", ours evaluated your way {value_text(row.explained_um, signed=signed(row))}"
    if row.judged_um is not None:
        text += f", ours by the drawing {value_text(row.judged_um, signed=parameter.signed)}"
    if row.class_text and row.claim in {"not confirmed", "not proven"}:
        text += f"; class {claimed_text(row)} {row.claim}"
    return text


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, MAIL_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
