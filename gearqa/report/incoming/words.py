"""An incoming comparison in words: title, answers, and the texts of single values."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping

from gearqa.model.editions import EDITIONS
from gearqa.model.incoming import Bias, Claim, ComparedValue, DifferenceSplit, IncomingResult, Verdict
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import with_code
from gearqa.report.blocks.verdicts import DECISION_STATUS, STATUS
from gearqa.report.incoming.plausible import plausible_answer
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import (
    DASH,
    class_text,
    count_text,
    fixed_text,
    range_text,
    signed_text,
    um_text,
)
from gearqa.wording.sentences import place_text, sentence
from gearqa.wording.verdicts import YES_NO
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

VERDICT_STATUS: Mapping[Verdict, doc.Status] = {"agrees": "good", "differs": "bad", "not comparable": "open"}
CLAIM_STATUS: Mapping[Claim, doc.Status] = {
    "confirmed": "good", "not confirmed": "bad", "not proven": "open", "none": "none",
}  # fmt: skip
WHOSE = {"ours": "our values", "theirs": "the supplier's values", "both": "both sides' values"}
NOT_MEASURED = "not measured by us"
MOST_BIASES = 4
"""Biases that an answer names."""
"""Characters of a serial in a table."""
OTHER_SYSTEM = ("other_system", "claim_in_words")
"""Reasons for which our class is not shown next to the claim."""


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
    missing = len(result.not_reported)
    extra = f"; {count_text(missing, 'gear')} of ours not in the report" if missing else ""
    return f"{reported}{ours}{extra}."


def unmatched_lines(result: IncomingResult) -> Iterator[str]:
    """Serials that were not found, each with the nearest."""
    for one in result.unmatched:
        near = f"; nearest is {clip(one.nearest, 40)}" if one.nearest else ""
        hint = f" ({one.hint})" if one.hint else ""
        yield f"reported gear {clip(one.serial, 40)} is not among ours{near}{hint}"


def notes(result: IncomingResult, *, codes: bool = False) -> tuple[doc.Text, ...]:
    """What a reader must know: serials that were not found, cautions; `codes` lead to what those mean."""
    told = (
        with_code(sentence(one.message), one.code) if codes else sentence(one.message)
        for one in result.cautions
    )
    return (*map(sentence, unmatched_lines(result)), *told)


def verdict(result: IncomingResult) -> doc.Verdict:
    """Do the figures agree, why not, are the claims true, are they the same gears, the lot."""
    deciding = [reason.sentence for lot in result.lots.values() for reason in lot.reasons if reason.decides]
    question, status = f"Lot, on {WHOSE[result.decided_on]}", DECISION_STATUS[result.decision]
    figures = sentence(_reason(result, f"verdict_{result.verdict_reason}"))
    answers = [
        doc.Answer("Reported figures and ours", result.verdict, VERDICT_STATUS[result.verdict], figures),
        _difference_answer(result),
        _claims_answer(result),
        plausible_answer(result),
    ]
    if result.alignments:
        same, reason = result.same_gears, _reason(result, "same_gears", "not_the_same_gears")
        answers.append(doc.Answer("The same gears on both sides", YES_NO[same], STATUS[same], reason))
    answers.append(doc.Answer(question, result.decision, status, sentence("; ".join(deciding))))
    return doc.Verdict(tuple(answers))


def _reason(result: IncomingResult, *codes: str) -> str:
    """The reason with one of these codes as a sentence; empty where this result has none."""
    return next((sentence(reason.sentence) for reason in result.reasons if reason.code in codes), "")


def _claims_answer(result: IncomingResult) -> doc.Answer:
    question = "Claimed classes"
    made = sum(bool(row.class_text) for row in result.rows)
    if not made:
        return doc.Answer(question, "none claimed", "none")
    if not result.measured and not any(row.our_serial for row in result.rows):
        text = f"{count_text(made, 'claim')}, {NOT_MEASURED}"
        if result.contradicted:
            found = f"{text}. {_reason(result, 'claims_contradicted')}"
            return doc.Answer(question, "not judged", "bad", found)
        compared = sum(None not in (row.class_claimed, row.class_reported) for row in result.rows)
        if compared == made:
            text += "; all follow from the reported values"
        elif compared:
            text += f"; {compared} follow from the reported values, the others could not be compared"
        return doc.Answer(question, "not judged", "open", sentence(text))
    claims = result.claims
    words: tuple[Claim, ...] = ("confirmed", "not confirmed", "not proven")
    parts = [f"{claims[word]} {word}" for word in words[1:] if claims[word]]
    unjudged = made - sum(claims[word] for word in words)
    parts += [f"{unjudged} not judged"] if unjudged else []
    singly = ", ".join([f"{claims['confirmed']} of {made} confirmed", *parts])
    detail = f"{_gear_claims_text(result)}Value by value: {singly}. {_reason(result, 'claims_not_confirmed')}"
    left_out = [sentence(one.message) for one in result.cautions if one.code == "values_not_reported"]
    detail = " ".join([detail.rstrip(), *left_out])
    status: doc.Status = "bad" if claims["not confirmed"] else "open" if unjudged else "good"
    if status == "good" and not claims["confirmed"]:
        status = "open"
    answer = {"bad": "not confirmed", "good": "none refused"}.get(status, "open")
    return doc.Answer(question, answer, status, detail)


def _gear_claims_text(result: IncomingResult) -> str:
    """Claims of whole gears; empty where there are none."""
    gears = result.gear_claims
    if not gears:
        return ""
    counts = Counter(one.claim for one in gears)
    classes = sorted({one.class_ for one in gears})
    name = f"class {classes[0]}" if len(classes) == 1 else f"classes {classes[0]} to {classes[-1]}"
    rest = [f"{counts[word]} {word}" for word in ("not confirmed", "not proven") if counts[word]]
    head = f"{counts['confirmed']} of {count_text(len(gears), 'gear')} meet"
    return f"Whole gears, {name}: {', '.join([f'{head} the worst class claimed for them', *rest])}. "


def _difference_answer(result: IncomingResult) -> doc.Answer:
    explanation = result.explanation
    question = "Why the figures differ"
    left = "; ".join(bias_text(one) for one in result.biases[:MOST_BIASES])
    more = len(result.biases) - MOST_BIASES
    left += f"; {count_text(more, 'more bias', 'more biases')} in the list" if more > 0 else ""
    behind = " Beside that, with signs and flanks as reported: " if explanation.shared else " Constant: "
    tail = f"{behind}{left}; the certificate of the instrument should name its U." if left else ""
    split = f"{split_text(result.split)} " if result.split is not None else ""
    if explanation.reason == "no_difference":
        rms = um_text(explanation.rms_before_um or 0.0)
        detail = f"{split}Rms difference {rms} over {count_text(explanation.n, 'value')}."
        return doc.Answer(question, "no difference to explain", "good", detail)
    if explanation.explained is None:
        return doc.Answer(question, "not compared", "open", "Nothing was measured that could be compared.")
    if explanation.explained:
        detail = f"{split}{_reason(result, 'difference_explained')}{tail}"
        return doc.Answer(question, "explained", "good", detail)
    detail = f"{split}{_reason(result, 'difference_not_explained')}{tail}"
    if explanation.shared:
        return doc.Answer(question, "explained in part", "open", detail)
    if result.verdict == "agrees":
        return doc.Answer(
            question, "nothing to explain: within the uncertainties", "good", f"{split}{tail}".strip()
        )
    return doc.Answer(question, "constant differences" if left else "not explained", "open", detail)


def bias_text(bias: Bias, whose: str = "their") -> str:
    """A constant difference as the reader takes it up.

    >>> bias_text(Bias("profile_slope", None, None, 12, 0.8, (0.7, 0.9)))
    'their fHα reads 0.80 µm higher than ours (0.70 to 0.90 µm, 12 gears)'
    """
    sign = 1 if bias.bias_um > 0 else -1
    low, high = sorted(sign * end for end in bias.interval_um)
    ours = f"ours on {clip(bias.instrument, LONGEST_IN_SENTENCE)}" if bias.instrument else "ours"
    return (
        f"{whose} {place_text(bias.parameter, bias.flank)} reads {um_text(abs(bias.bias_um))} "
        f"{'higher' if sign > 0 else 'lower'} than {ours} "
        f"({range_text(low, high)} µm, {count_text(bias.gears, 'gear')})"
    )


def split_text(split: DifferenceSplit, whose: str = "their") -> str:
    """How much is evaluation and how much measurement."""
    return (
        f"Of the difference, evaluation makes {um_text(split.evaluation_um)} (report against {whose} own "
        f"traces) and measurement {um_text(split.measurement_um)} ({whose} traces against ours), rms of "
        f"{count_text(split.n, 'value')}."
    )


def open_rows(result: IncomingResult) -> list[ComparedValue]:
    """Values to take up with the supplier, the worst first; claims that are only not proven are none."""
    exceeded = {id(row) for row in result.en_exceeded}

    def rank(row: ComparedValue) -> tuple[int, float]:
        if row.claim == "not confirmed":
            return 0, -(row.share_of_allowed or 0.0)
        return (1 if id(row) in exceeded else 3), -(row.share_of_allowed or 0.0)

    return sorted((row for row in result.rows if rank(row)[0] < 3), key=rank)


def unproven_rows(result: IncomingResult) -> list[ComparedValue]:
    """Claims that our uncertainty leaves open."""
    return [row for row in result.rows if row.claim == "not proven"]


def reported_text(row: ComparedValue) -> str:
    """A reported value with the decimals that were typed."""
    decimals = max(0, round(-math.log10(2 * row.half_digit_um)))
    return signed_text(row.reported_um, decimals) if signed(row) else fixed_text(row.reported_um, decimals)


def signed(row: ComparedValue) -> bool:
    """Whether the value is compared with its sign."""
    return PARAMETERS[row.parameter].signed and not row.by_magnitude


def where_text(row: ComparedValue, *, meant: bool = False) -> str:
    """Flank and tooth as reported; if `meant`, also our name of the flank where it differs."""
    text = " ".join(filter(None, (row.flank, f"tooth {row.tooth}" if row.tooth else None))) or DASH
    turned = meant and row.claim_flank is not None and row.claim_flank != row.flank
    return f"{text} (our {row.claim_flank})" if turned else text


def en_text(row: ComparedValue) -> str:
    """En number, of what the explanation leaves where there is one."""
    en = row.en if row.en_explained is None else row.en_explained
    return DASH if en is None else signed_text(en, 2)


def claimed_text(row: ComparedValue) -> str:
    """The class claimed, with its edition where that is not the usual one."""
    if not row.class_text:
        return DASH
    if row.claim_reason in OTHER_SYSTEM:
        return clip(" ".join(filter(None, (row.class_text, row.standard_claimed))), 20)
    return f"{row.class_text}{_mark(row)}"


def found_text(row: ComparedValue) -> str:
    """The class found, by the edition of the claim."""
    if row.claim_reason in OTHER_SYSTEM:
        return DASH
    if _mark(row) and row.class_text:
        return DASH if row.class_found_as_claimed is None else f"{row.class_found_as_claimed}{_mark(row)}"
    return class_text(row.class_found, row.beyond)


def _mark(row: ComparedValue) -> str:
    """What tells a class of another edition than the usual one from its classes."""
    edition = EDITIONS.get(row.standard_claimed or "")
    return "" if edition is None else edition.mark


def claim_cell(row: ComparedValue) -> doc.Cell | doc.Text:
    """What became of the claim."""
    return doc.Cell(row.claim, CLAIM_STATUS[row.claim]) if row.class_text else DASH
