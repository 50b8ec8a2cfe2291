"""An incoming comparison as plain text, ready to be mailed to the supplier: no sentence is ever cut."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from gearqa.model.incoming import ComparedValue, IncomingResult
from gearqa.report.incoming.plausible import question_lines
from gearqa.report.incoming.words import (
    MOST_BIASES,
    bias_text,
    claimed_text,
    open_rows,
    reported_text,
    signed,
    split_text,
    where_text,
)
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import count_text, value_text
from gearqa.wording.safety import CAUTIONS, MAIL_TITLE, SIMULATED_BANNER
from gearqa.wording.sentences import sentence, some_of, symbols_text
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

MAIL_WIDTH = 72
MAIL_VALUES = 10
MAIL_QUESTIONS = 3
MOST_CAUTIONS = 3
NAMES = frozenset({"flanks", "tooth_direction", "tooth_start", "tooth_numbers", "profile_sign", "helix_sign"})
"""Settings that say which flank, tooth and direction is meant."""
SAID_ALREADY = ("basis_", "claim_beyond_own_value", "not_measured_by_us")
"""Beginnings of the codes of cautions that the mail does not repeat."""
ANSWERS = {
    "agrees": "The reported figures agree with ours",
    "differs": "The reported figures differ from ours",
    "not comparable": "The reported figures could not be compared with ours",
}


def incoming_text(result: IncomingResult) -> str:
    """Plain text for a mail to the supplier: verdict, reason, what is asked, values, cautions."""
    part = result.part
    name = f" ({part['name']})" if part["name"] else ""
    revision = f", revision {part['revision']}" if part["revision"] else ""
    report = f"Your report: {clip(result.inputs[0].file, LONGEST_IN_SENTENCE)}, {_gears(result)}."
    paragraphs = [f"{MAIL_TITLE}{part['number']}{name}{revision}", report, _verdict(result), _reason(result)]
    paragraphs.append(_claims(result))
    blocks = [textwrap.fill(text, MAIL_WIDTH) for text in paragraphs if text]
    if result.simulated:
        blocks.insert(0, f"{SIMULATED_BANNER}.")
    asked = list(_asked(result))
    if asked:
        lines = (_wrapped(sentence(text), f"{number}. ") for number, text in enumerate(asked, 1))
        blocks.append("\n".join(["We ask you:", *lines]))
    else:
        blocks.append("Nothing is asked of you.")
    rows = open_rows(result)
    if rows:
        lines = (_wrapped(_row(row), "- ") for row in rows[:MAIL_VALUES])
        more = len(rows) - MAIL_VALUES
        rest = [f"- and {count_text(more, 'more value')}"] if more > 0 else []
        blocks.append("\n".join(["Values, in micrometres:", *lines, *rest]))
    if questions := question_lines(result):
        lines = (_wrapped(one, "- ") for one in questions[:MAIL_QUESTIONS])
        blocks.append("\n".join(["The figures themselves ask for a look:", *lines]))
    notes = [one.message for one in result.cautions if not one.code.startswith(SAID_ALREADY)][:MOST_CAUTIONS]
    if notes:
        blocks.append("\n".join(["Please note:", *(_wrapped(sentence(note), "- ") for note in notes)]))
    blocks.append(textwrap.fill(" ".join(CAUTIONS), MAIL_WIDTH))
    return "\n\n".join(blocks) + "\n"


def _wrapped(text: str, mark: str) -> str:
    return textwrap.fill(text, MAIL_WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _gears(result: IncomingResult) -> str:
    serials = {row.serial for row in result.rows}
    found = {row.serial for row in result.rows if row.our_serial}
    text = f"{count_text(len(result.rows), 'value')} of {count_text(len(serials), 'gear')}"
    return f"{text}; {len(found)} of them measured by us" if result.measured else text


def _verdict(result: IncomingResult) -> str:
    why = next(one.sentence for one in result.reasons if one.code == f"verdict_{result.verdict_reason}")
    return f"{ANSWERS[result.verdict]}: {why}."


def _reason(result: IncomingResult) -> str:
    """What decides: settings, exchange, bias."""
    codes = ("difference_explained", "difference_not_explained")
    reason = next((one.sentence for one in result.reasons if one.code in codes), "")
    explained = bool(result.explanation.shared)
    parts = [sentence(reason)] if explained or (reason and result.verdict == "differs") else []
    if result.split is not None:
        parts.insert(0, split_text(result.split, "your"))
    if result.biases:
        named = "; ".join(bias_text(one, "your") for one in result.biases[:MOST_BIASES])
        parts.append(
            sentence(f"{'beside that, with signs and flanks as you report: ' if explained else ''}{named}")
        )
    return " ".join(parts)


def _claims(result: IncomingResult) -> str:
    codes = ("claims_not_confirmed", "claims_contradicted")
    refused = [sentence(one.sentence) for one in result.reasons if one.code in codes]
    if refused:
        return " ".join(refused)
    return "No claimed class is refused." if result.claims["confirmed"] else ""


def _asked(result: IncomingResult) -> Iterator[str]:
    """What the supplier is to do."""
    settings = [one for one in result.explanation.shared if one.setting not in NAMES]
    if len(settings) < len(result.explanation.shared):
        yield "confirm how flanks, teeth and signs are named in your report; name them as the drawing does"
    if settings:
        yield (
            "confirm how your values were evaluated, and evaluate them again as the drawing and "
            f"{result.standard} say"
        )
    if result.claims["not confirmed"] or result.contradicted:
        yield "correct the claimed classes that are not confirmed, or show on which values they rest"
    if any(one.code == "values_not_reported" for one in result.cautions):
        yield "report all values that the drawing asks for"
    if any(one.code == "standard_not_stated" for one in result.cautions):
        yield "state the edition of the standard with every claimed class"
    if result.biases:
        keys = dict.fromkeys(one.parameter for one in result.biases)
        yield f"send the calibration certificate of your instrument, with its U for {symbols_text(keys)}"
    if result.verdict == "differs" and not result.explanation.explained and result.split is None:
        yield "send the traces of these gears, so that evaluation and measurement can be told apart"
    if result.verdict == "not comparable" and result.unmatched:
        named = some_of([clip(one.serial, LONGEST_IN_SENTENCE) for one in result.unmatched], MAIL_VALUES)
        yield f"tell which gears these serials are: {named}"
    if result.same_gears is False:
        yield "check the serials: the curves of your gears and of ours are not alike"


def _row(row: ComparedValue) -> str:
    parameter = PARAMETERS[row.parameter]
    where = where_text(row, meant=True) if row.flank is not None or row.tooth is not None else None
    text = " ".join(filter(None, (clip(row.serial, LONGEST_IN_SENTENCE), parameter.name, where)))
    text += f": reported {reported_text(row)}"
    if row.explained_um is not None:
        text += f", ours evaluated your way {value_text(row.explained_um, signed=signed(row))}"
    if row.judged_um is not None:
        text += f", ours by the drawing {value_text(row.judged_um, signed=parameter.signed)}"
    if row.class_text and row.claim == "not confirmed":
        text += f"; class {claimed_text(row)} {row.claim}"
    return text
