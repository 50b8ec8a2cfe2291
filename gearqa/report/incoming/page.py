"""An incoming comparison in words: terminal blocks, the printed report, and a mail to the supplier."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence

from gearqa.model.incoming import Agreement, Claim, IncomingResult, Row
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.verdicts import DECISION_STATUS
from gearqa.report.incoming.figures import incoming_figures, overlay_figures
from gearqa.symbols import PARAMETERS
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, count_text, percent_text, value_text
from gearqa.wording.safety import CAUTIONS, SIMULATED_BANNER
from gearqa.wording.visible import clip

CLAIM_STATUS: Mapping[Claim, doc.Status] = {
    "confirmed": "good", "not confirmed": "bad", "not proven": "open", "none": "none",
}  # fmt: skip
OPEN_ROWS = 15
"""Values to take up that a terminal lists."""
EXPLANATIONS_SHOWN = 5
MOST_ROWS = 2000
"""Values that a printed report lists."""
WIDEST_SLOPE = 1.0
"""Width of the interval of a line's slope beyond which it tells nothing."""
MAIL_LINES = 39
MAIL_WIDTH = 76
MAIL_VALUES = 6
EN_NOTE = "En allows for what is explained; up to 1 in magnitude both sides agree within their uncertainties."
NOT_MEASURED = "not measured by us"
MORE_CAUTIONS = ("Agreement of two measurements proves neither: both may be wrong in the same way.",)


# --- the outcome in answers ---------------------------------------------------------------------------


def verdict(result: IncomingResult) -> doc.Verdict:
    """Lot, claims, difference, same gears."""
    return doc.Verdict(tuple(_answers(result)))


def _answers(result: IncomingResult) -> Iterator[doc.Answer]:
    whose = {"ours": "our values", "theirs": "the supplier's values", "both": "both sides' values"}
    deciding = [r.sentence for r in result.reasons if r.code.startswith("lot_")]
    yield doc.Answer(
        f"Lot, on {whose[result.decided_on]}", result.decision, DECISION_STATUS[result.decision],
        "; ".join(sentence.partition(": ")[2] for sentence in deciding),
    )  # fmt: skip
    yield _claims_answer(result)
    yield _difference_answer(result)
    if result.alignments:
        words = {True: "yes", False: "no", None: "not decidable"}
        status: dict[bool | None, doc.Status] = {True: "good", False: "bad", None: "open"}
        reason = _reason(result, "same_gears") or _reason(result, "not_the_same_gears") or ""
        yield doc.Answer(
            "The same gears on both sides", words[result.same_gears], status[result.same_gears], reason
        )


def _reason(result: IncomingResult, code: str) -> str | None:
    return next((r.sentence for r in result.reasons if r.code == code), None)


def _claims_answer(result: IncomingResult) -> doc.Answer:
    claims = result.claims
    made = sum(bool(row.class_text) for row in result.rows)
    question = "Claimed classes"
    if not made:
        return doc.Answer(question, "none claimed", "none")
    if not result.measured and not any(row.our_serial for row in result.rows):
        told = f"{count_text(made, 'claim')}, {NOT_MEASURED}"
        if result.contradicted:
            return doc.Answer(
                question, "not judged", "bad", f"{told}; {_reason(result, 'claims_contradicted')}"
            )
        compared = sum(None not in (row.class_claimed, row.class_reported) for row in result.rows)
        if compared == made:
            told += "; all follow from the reported values"
        elif compared:
            told += f"; {compared} follow from the reported values, the others could not be compared"
        return doc.Answer(question, "not judged", "open", told)
    text = f"{claims['confirmed']} of {made} confirmed"
    parts = [f"{claims[word]} {word}" for word in ("not confirmed", "not proven") if claims[word]]
    unjudged = made - sum(claims[word] for word in ("confirmed", "not confirmed", "not proven"))
    parts += [f"{unjudged} not judged"] if unjudged else []
    refused = _reason(result, "claims_not_confirmed")
    status: doc.Status = "bad" if claims["not confirmed"] else "open" if parts else "good"
    return doc.Answer(question, ", ".join([text, *parts]), status, refused or "")


def _difference_answer(result: IncomingResult) -> doc.Answer:
    explanation = result.explanation
    question = "Difference between the report and ours"
    if explanation.explained is None:
        if explanation.reason == "no_difference":
            rms = explanation.rms_before_um or 0.0
            return doc.Answer(
                question, "none to explain", "good",
                f"rms {value_text(rms)} µm over {count_text(explanation.n, 'value')}",
            )  # fmt: skip
        return doc.Answer(question, "not compared", "open", "nothing was measured that could be compared")
    sentence = _reason(result, "difference_explained") or _reason(result, "difference_not_explained") or ""
    word, status = ("explained", "good") if explanation.explained else ("not explained", "open")
    return doc.Answer(question, word, status, f"{sentence[:1].upper()}{sentence[1:]}")  # type: ignore[arg-type]


# --- tables -------------------------------------------------------------------------------------------


def open_rows(result: IncomingResult) -> list[Row]:
    """Values to take up with the supplier, the worst first."""
    exceeded = {id(row) for row in result.en_exceeded}
    order = {"not confirmed": 0, "not proven": 2}

    def rank(row: Row) -> int:
        return min(order.get(row.claim, 3), 1 if id(row) in exceeded else 3)

    return sorted((row for row in result.rows if rank(row) < 3), key=rank)


def open_table(caption: str, rows: Sequence[Row], *, explained: bool) -> doc.Table:
    """Values to take up: reported, ours, and what became of the claim."""
    columns = [doc.Column("serial", "left"), doc.Column("value", "left"), doc.Column("reported")]
    if explained:
        columns.append(doc.Column("explained"))
    columns += [
        doc.Column("ours"), doc.Column("En"), doc.Column("claimed"), doc.Column("found"),
        doc.Column("claim", "left"),
    ]  # fmt: skip
    lines = []
    for row in rows:
        cells: list[doc.Cell | doc.Text] = [
            clip(row.serial, 24), doc.join(doc.symbol(row.parameter), f" {_place(row, meant=True)}"),
            reported_text(row),
        ]  # fmt: skip
        if explained:
            cells.append(_um(row.explained_um, _signed(row)))
        cells += [_um(row.judged_um, PARAMETERS[row.parameter].signed), _en(row), _claimed(row), _found(row)]
        cells.append(DASH if not row.class_text else doc.Cell(row.claim, CLAIM_STATUS[row.claim]))
        lines.append(tuple(cells))
    notes = ["Values in µm; ours: the worst trace, evaluated as the drawing says."]
    if explained:
        notes.append("Explained: what our data give under the supplier's settings.")
    if any(row.en is not None for row in rows):
        notes.append(EN_NOTE)
    return doc.Table(caption, tuple(columns), tuple(lines), tuple(notes))


def all_table(caption: str, rows: Sequence[Row], *, explained: bool) -> doc.Table:
    """Every reported value beside what was found under the same name."""
    columns = [
        doc.Column("serial", "left"), doc.Column("parameter", "left"), doc.Column("place", "left"),
        doc.Column("reported"), doc.Column("ours"),
    ]  # fmt: skip
    if explained:
        columns.append(doc.Column("explained"))
    columns += [
        doc.Column("difference"), doc.Column("En"), doc.Column("claimed"), doc.Column("found"),
        doc.Column("claim", "left"),
    ]  # fmt: skip
    lines = []
    for row in rows:
        cells: list[doc.Cell | doc.Text] = [
            clip(row.serial, 24), doc.symbol(row.parameter), _place(row), reported_text(row),
            _um(row.found_um, _signed(row)),
        ]  # fmt: skip
        if explained:
            cells.append(_um(row.explained_um, _signed(row)))
        cells += [_um(row.difference_um, True), _en(row), _claimed(row), _found(row)]
        cells.append(DASH if not row.class_text else doc.Cell(row.claim, CLAIM_STATUS[row.claim]))
        lines.append(tuple(cells))
    notes = ["Values in µm; ours and difference: under the same flank name, evaluated as the drawing says."]
    if any(row.en is not None for row in rows):
        notes.append(EN_NOTE)
    return doc.Table(caption, tuple(columns), tuple(lines), tuple(notes), dense=True)


def reported_text(row: Row) -> str:
    """A reported value with the decimals that were typed."""
    decimals = max(0, round(-math.log10(2 * row.half_digit_um)))
    sign = "+" if _signed(row) and row.reported_um else ""
    return f"{row.reported_um:{sign}.{decimals}f}"


def _signed(row: Row) -> bool:
    return PARAMETERS[row.parameter].signed and not row.by_magnitude


def _place(row: Row, *, meant: bool = False) -> str:
    text = " ".join(filter(None, (row.flank or "", f"tooth {row.tooth}" if row.tooth else ""))) or DASH
    turned = meant and row.claim_flank is not None and row.claim_flank != row.flank
    return f"{text} (our {row.claim_flank})" if turned else text


def _en(row: Row) -> str:
    en = row.en if row.en_explained is None else row.en_explained
    return DASH if en is None else value_text(en, signed=True)


def _um(value: float | None, signed: bool) -> str:
    return DASH if value is None else value_text(value, signed=signed)


def _claimed(row: Row) -> str:
    if not row.class_text:
        return DASH
    if row.claim_reason in {"other_system", "claim_in_words"}:
        return clip(" ".join(filter(None, (row.class_text, row.standard_claimed or ""))), 20)
    edition = ":1995" if row.standard_claimed and row.standard_claimed.endswith("1995") else ""
    return f"{row.class_text}{edition}"


def _found(row: Row) -> str:
    if row.claim_reason in {"other_system", "claim_in_words"}:
        return DASH  # never beside a class of another system
    if row.standard_claimed and row.standard_claimed.endswith("1995") and row.class_text:
        return DASH if row.class_found_as_claimed is None else f"{row.class_found_as_claimed}:1995"
    return ">11" if row.beyond else DASH if row.class_found is None else str(row.class_found)


def explanations_table(result: IncomingResult) -> doc.Table | None:
    """The explanations that fit best."""
    some = result.explanation.explanations[:EXPLANATIONS_SHOWN]
    if not some:
        return None
    lines: list[tuple[doc.Cell | doc.Text, ...]] = [
        ("no change", value_text(some[0].rms_before_um), ""),
    ]
    for place, one in enumerate(some):
        if place == 0:
            word = "this one" if result.explanation.explained else "fits best"
        else:
            word = "same figures" if one.same_predictions else "fits alike" if one.equivalent else ""
        text = one.sentence[:1].upper() + one.sentence[1:]
        lines.append((text, value_text(one.rms_after_um), word))
    whose = "the supplier's traces" if result.explanation.data == "theirs" else "our traces"
    return doc.Table(
        f"What would make {whose} give the reported values",
        (doc.Column("if", "left", weight=1.0), doc.Column("rms left µm"), doc.Column("", "left")),
        tuple(lines),
        (
            f"{count_text(result.explanation.tried, 'change or pair', 'changes and pairs')} of settings "
            f"tried on {count_text(result.explanation.n, 'value')}.",
        ),
    )


def agreement_table(result: IncomingResult, *, wide: bool = True, full: bool = False) -> doc.Table | None:
    """Bias and limits of agreement per parameter and flank; all of it if `full`."""
    if not result.agreement:
        return None
    explained = bool(result.agreement_explained)
    columns = [
        doc.Column("parameter", "left"), doc.Column("flank", "left"), doc.Column("gears"), doc.Column("bias"),
    ]  # fmt: skip
    if explained:
        columns.append(doc.Column("bias explained"))
    if wide:
        columns.append(doc.Column("95 % interval"))
    columns += [doc.Column("limits of agreement"), doc.Column("of tolerance")]
    if full:
        columns += [doc.Column("line slope"), doc.Column("notes", "left", weight=1.0)]
    lines = []
    for key, places in result.agreement.items():
        for place, one in places.items():
            shown = result.agreement_explained.get(key, {}).get(place) if explained else one
            shown = shown or one
            cells: list[doc.Cell | doc.Text] = [
                doc.symbol(key), DASH if place == "both" else place, str(one.n),
                value_text(one.bias_um, signed=True),
            ]  # fmt: skip
            if explained:
                cells.append(value_text(shown.bias_um, signed=True))
            if wide:
                cells.append(_interval(shown.bias_interval_um))
            share = shown.share_of_tolerance
            cells += [
                _interval(shown.limits_of_agreement_um),
                DASH if share is None else percent_text(share),
            ]
            if full:
                cells += [_slope(shown), _agreement_notes(shown)]
            lines.append(tuple(cells))
    notes = ["Reported less ours, µm, one pair a gear. Limits of agreement hold 95 % of such differences."]
    if explained:
        notes.append("All but the first bias: against what the explanation predicts.")
    if full and any(line[-2] != DASH for line in lines):
        notes.append("Line slope: Deming regression, errors on both sides; 1 means no proportional error.")
    return doc.Table("Agreement", tuple(columns), tuple(lines), tuple(notes), dense=full)


def _slope(one: Agreement) -> str:
    """Slope of the line with its interval; none where the gears are too much alike to give one."""
    if one.slope is None or one.slope_interval is None or not _varies(one):
        return DASH
    return f"{one.slope:.2f} {_interval(one.slope_interval, False)}"


def _varies(one: Agreement) -> bool:
    """Whether the gears differ enough for a line to mean something."""
    return one.slope_interval is None or one.slope_interval[1] - one.slope_interval[0] <= WIDEST_SLOPE


def _interval(pair: tuple[float, float] | None, signed: bool = True) -> str:
    if pair is None:
        return DASH
    low, high = (value_text(v, signed=signed) for v in pair)
    return f"{low} to {high}" if signed else f"({low} to {high})"


def _agreement_notes(one: Agreement) -> str:
    parts = []
    if one.outliers:
        parts.append(f"stands apart: {', '.join(clip(s, 20) for s in one.outliers)}")
    if one.trend_p is not None and one.trend_p < 0.01:
        parts.append(f"trend {value_text(one.trend_um_per_gear or 0.0, signed=True)} per gear")
    if not _varies(one):
        parts.append("the gears are too much alike for a line")
    return "; ".join(parts)


# --- terminal -----------------------------------------------------------------------------------------


def incoming_blocks(result: IncomingResult, *, wide: bool) -> list[doc.Block]:
    """What the terminal shows."""
    blocks: list[doc.Block] = []
    if result.simulated:
        blocks.append(doc.Paragraph(SIMULATED_BANNER, "lead"))
    blocks += [doc.Paragraph(title(result), "lead"), doc.Paragraph(subject(result)), verdict(result)]
    rows = open_rows(result)
    if rows:
        more = f", {OPEN_ROWS} of {len(rows)}" if len(rows) > OPEN_ROWS else ""
        caption = f"To take up with the supplier{more}"
        explained = wide and bool(result.agreement_explained)
        blocks.append(open_table(caption, rows[:OPEN_ROWS], explained=explained))
    table = explanations_table(result)
    if table is not None:
        blocks.append(table)
    agreement = agreement_table(result, wide=wide)
    if agreement is not None:
        blocks.append(agreement)
    notes = [*unmatched_lines(result), *(n.message for n in result.cautions)]
    if notes:
        blocks.append(doc.Bullets(tuple(f"{note[:1].upper()}{note[1:]}." for note in notes)))
    blocks.append(doc.Cautions(CAUTIONS))
    return blocks


def title(result: IncomingResult) -> str:
    """What was compared."""
    part = " ".join(filter(None, (result.part["number"], result.part["revision"])))
    supplier = f", report of {clip(result.supplier, 60)}" if result.supplier else ""
    return f"Incoming check of {part}{supplier}"


def subject(result: IncomingResult) -> str:
    """How much was compared with what."""
    serials = {row.serial for row in result.rows}
    found = {row.serial for row in result.rows if row.our_serial}
    reported = f"{count_text(len(result.rows), 'reported value')} of {count_text(len(serials), 'gear')}"
    if not result.measured and not found:
        return f"{reported}; {NOT_MEASURED}: checked against drawing and claims by the reported values alone."
    if result.comparison == "same data":
        ours = f"; for {count_text(len(found), 'gear')} the same raw data evaluated again"
    else:
        ours = f"; {count_text(len(found), 'gear')} measured again by us"
    extra = (
        f"; {count_text(len(result.not_reported), 'gear')} of ours not in the report"
        if result.not_reported
        else ""
    )
    return reported + ours + extra + "."


def unmatched_lines(result: IncomingResult) -> Iterator[str]:
    """Serials that were not found, each with the nearest."""
    for one in result.unmatched:
        near = f"; nearest is {clip(one.nearest, 40)}" if one.nearest else ""
        hint = f" ({one.hint})" if one.hint else ""
        yield f"reported gear {clip(one.serial, 40)} is not among ours{near}{hint}"


# --- printed report -----------------------------------------------------------------------------------


def incoming_document(result: IncomingResult) -> doc.Document:
    """The printed report."""
    first: list[doc.Block] = [doc.Paragraph(subject(result), "lead"), verdict(result)]
    first.append(doc.Facts(tuple(_facts(result))))
    rows = open_rows(result)
    if rows:
        explained = bool(result.agreement_explained)
        first.append(open_table("To take up with the supplier", rows[:MOST_ROWS], explained=explained))
    sections = [doc.Section("", tuple(first), id="result")]
    explanation: list[doc.Block] = []
    table = explanations_table(result)
    if table is not None:
        explanation.append(table)
    explanation += incoming_figures(result)
    if explanation:
        sections.append(doc.Section("Where the difference comes from", tuple(explanation), id="explanation"))
    agreement = agreement_table(result, full=True)
    if agreement is not None:
        sections.append(doc.Section("Agreement of both sides", (agreement,), id="agreement"))
    overlays = overlay_figures(result.curves)
    if overlays:
        sections.append(
            doc.Section("Raw data laid over each other", (_alignments(result), *overlays), id="raw")
        )
    notes = [*unmatched_lines(result), *(n.message for n in result.cautions)]
    if notes:
        sections.append(
            doc.Section("Notes", (doc.Bullets(tuple(f"{n[:1].upper()}{n[1:]}." for n in notes)),))
        )
    explained = bool(result.agreement_explained)
    values = all_table(_all_caption(result), result.rows[:MOST_ROWS], explained=explained)
    sections.append(doc.Section("All values", (values,), id="values", new_page=True))
    last: tuple[doc.Block, ...] = (
        _inputs(result), doc.Cautions((*CAUTIONS, *MORE_CAUTIONS)),
        doc.Signature(("Compared by", "Decided by")),
    )  # fmt: skip
    sections.append(doc.Section("", last))
    head = title(result) + ("" if result.measured else f", {NOT_MEASURED}")
    sheet = doc.Sheet(title(result), tuple(sections), id="incoming")
    return doc.Document(
        title(result), head, f"gearqa {__version__}", (sheet,), simulated=result.simulated,
        keywords=("incoming inspection", result.part["number"]),
    )  # fmt: skip


def _facts(result: IncomingResult) -> Iterator[tuple[doc.Text, doc.Text]]:
    yield "Part", " ".join(filter(None, (result.part["number"], result.part["name"])))
    yield "Revision", result.part["revision"] or DASH
    if result.supplier:
        yield "Supplier", clip(result.supplier)
    yield "Standard of the drawing", result.standard
    comparison = next((r.sentence for r in result.reasons if r.code.startswith("comparison_")), "")
    yield "Comparison", comparison


def _all_caption(result: IncomingResult) -> str:
    more = len(result.rows) - MOST_ROWS
    return (
        f"The first {MOST_ROWS} of {len(result.rows)} values; the rest is in the result file"
        if more > 0
        else ""
    )


def _alignments(result: IncomingResult) -> doc.Table:
    words = {True: "yes", False: "no", None: "not decidable"}
    status: dict[bool | None, doc.Status] = {True: "good", False: "bad", None: "open"}
    lines = []
    for one in result.alignments:
        turned = [
            *(["flanks swapped"] if one.flanks_swapped else []),
            *(["counted the other way"] if one.direction_reversed else []),
            *([f"starts {one.tooth_shift} teeth on"] if one.tooth_shift else []),
        ]
        lines.append(
            (
                clip(one.serial, 24), clip(one.our_serial, 24), doc.Cell(words[one.same], status[one.same]),
                DASH if one.correlation is None else f"{one.correlation:.2f}",
                DASH if one.chance_correlation is None else f"{one.chance_correlation:.2f}",
                DASH if one.residual_um is None else value_text(one.residual_um),
                DASH if one.trace_residual_um is None else value_text(one.trace_residual_um),
                ", ".join(turned) + (f"; fits {one.best_match} better" if one.best_match else ""),
            )
        )  # fmt: skip
    columns = (
        doc.Column("their serial", "left"), doc.Column("ours", "left"), doc.Column("same gear", "left"),
        doc.Column("correlation"), doc.Column("by chance"), doc.Column("pitch rms µm"),
        doc.Column("traces rms µm"), doc.Column("aligned by", "left", weight=1.0),
    )  # fmt: skip
    notes = (
        "Correlation of the pitch curves of both flanks without their low orders, which mounting and machine "
        "make and gears of one lot share. By chance: what the best of all alignments of unlike gears reaches "
        "once in a thousand times.",
    )
    return doc.Table("Are they the same gears", columns, tuple(lines), notes, dense=True)


def _inputs(result: IncomingResult) -> doc.Table:
    lines = tuple(
        (clip(file.file, 60), file.sha256[:16] if file.sha256 else file.left_out or DASH)
        for file in result.inputs
    )
    columns = (doc.Column("file", "left", weight=1.0), doc.Column("SHA-256, first 16 digits", "left"))
    return doc.Table("Files read", columns, lines, dense=True)


# --- mail ---------------------------------------------------------------------------------------------


def incoming_text(result: IncomingResult) -> str:
    """Plain text of less than forty lines, suitable for a mail to the supplier."""
    lines: list[str] = []
    if result.simulated:
        lines += [f"{SIMULATED_BANNER}.", ""]
    part = result.part
    name = f" ({part['name']})" if part["name"] else ""
    revision = f", revision {part['revision']}" if part["revision"] else ""
    lines += [*_wrapped(f"Incoming check of part {part['number']}{name}{revision}"), ""]
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
    closing = ["", *textwrap.wrap(" ".join(("All values in micrometres.", *CAUTIONS)), MAIL_WIDTH)]
    room = MAIL_LINES - len(lines) - len(closing)
    notes: list[str] = []
    for notice in result.cautions:
        notes += _wrapped(f"- {notice.message}")
    if notes and room > 2:
        lines += ["", *notes[: room - 1]]
    return "\n".join([*lines[: MAIL_LINES - len(closing)], *closing]) + "\n"


def _mail_row(row: Row) -> str:
    parameter = PARAMETERS[row.parameter]
    place = "" if row.flank is None and row.tooth is None else _place(row, meant=True)
    text = f"{clip(row.serial, 24)} {parameter.name} {place}".rstrip()
    text += f": reported {reported_text(row)}"
    if row.explained_um is not None:
        text += f", ours evaluated your way {value_text(row.explained_um, signed=_signed(row))}"
    if row.judged_um is not None:
        text += f", ours by the drawing {value_text(row.judged_um, signed=parameter.signed)}"
    if row.class_text and row.claim in {"not confirmed", "not proven"}:
        text += f"; class {_claimed(row)} {row.claim}"
    return text


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, MAIL_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
