"""Words of the review of a supplier: what was found, what to measure next, by which rule."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gearqa.model.deliveries import (
    PAUSE,
    REDUCE,
    RELAX,
    SKIP,
    TIGHTEN,
    TIGHTEN_OF,
    DeliveriesReport,
    DeliveryCheck,
    DeliveryOfMany,
    InspectionReason,
    KeptDelivery,
    Level,
    LevelReason,
    Outcome,
    StoredDelivery,
    SupplierBias,
    SupplierReview,
)
from gearqa.model.incoming import Claim
from gearqa.report.blocks import document as doc
from gearqa.wording.numbers import count_text, interval_text, percent_text, um_text
from gearqa.wording.sentences import place_text, sentence
from gearqa.wording.times import date_text
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

OWN_RULE: Final = (
    "How much to measure follows gearqa's own rule, in the spirit of the switching rules of ISO 2859-1; it "
    "is no sampling plan to that standard. Contract and quality plan go first."
)
AMOUNT: Final[Mapping[Level, str]] = {
    "skip": "measure no gear of it; look at its report alone, and measure the delivery after it",
    "reduced": "measure two fifths of the usual number of gears, three at least",
    "normal": "measure the usual number of gears",
    "tightened": "measure twice the usual number of gears",
}
"""The numbers are those of the plan; common practice, no source."""
RULE: Final = (
    "Every supplier and part begins with normal.",
    f"{TIGHTEN} that differ of up to {TIGHTEN_OF} measured deliveries in a row: tightened, until {RELAX} in "
    "a row agree.",
    f"{REDUCE} in a row that agree: reduced. {SKIP}: every other delivery is skipped.",
    "One that differs or stays open ends reduced and skipping at once, and so do "
    f"{PAUSE.days} days without a delivery.",
    "While a bias moves over the deliveries, nothing is reduced or skipped.",
    "A delivery that was not measured counts as no agreement.",
)
OUTCOME_STATUS: Final[Mapping[Outcome, doc.Status]] = {
    "agrees": "good", "differs": "bad", "open": "open", "not measured": "none",
}  # fmt: skip
MOST_BIASES: Final = 3
_REASONS: Final[Mapping[LevelReason, str]] = {
    "too_few_deliveries": "{count} in a row agreed; from {of} on less is measured",
    "differed": "{count} of the last {of} measured under normal differed; two tighten",
    "tightened_until": "{count} in a row agreed since then; {of} end it",
    "many_differed": "{count} differed although tightened: take no further delivery before the supplier acts",
    "open_delivery": "the last measured delivery stayed open",
    "pause": "{count} days without a delivery, more than {of}",
    "bias_trend": "{count} of {of} biases move over the deliveries",
    "agreed_in_a_row": "{count} in a row agreed; {of} were needed",
    "skipped_last": "the last delivery was not measured",
}


def title(review: SupplierReview) -> str:
    """Supplier and part."""
    supplier, part = clip(review.supplier), clip(review.part_number)
    return f"{supplier}, part {part}: {count_text(len(review.deliveries), 'delivery', 'deliveries')}"


def reason_text(reason: InspectionReason) -> str:
    """Why so much is measured, with the counts.

    >>> reason_text(InspectionReason("tightened_until", 3, 5))
    '3 in a row agreed since then; 5 end it'
    """
    return _REASONS[reason.code].format(count=reason.count, of=reason.of)


def verdict(review: SupplierReview) -> doc.Verdict:
    """Next delivery, agreement, claims, bias."""
    return doc.Verdict((_next(review), _agreement(review), _claims(review), _bias(review)))


def _next(review: SupplierReview) -> doc.Answer:
    advice = review.next
    why = " ".join(sentence(reason_text(one)) for one in advice.reasons)
    status: doc.Status = (
        "bad" if advice.level == "tightened" else "none" if advice.level == "normal" else "good"
    )
    detail = f"{sentence(AMOUNT[advice.level])} {why}"
    return doc.Answer("How much of the next delivery to measure", advice.level, status, detail)


def _agreement(review: SupplierReview) -> doc.Answer:
    counts = review.outcomes
    measured = len(review.deliveries) - counts["not measured"]
    question = "Do the deliveries agree"
    rest: tuple[Outcome, ...] = ("open", "not measured")
    left = [f"{counts[one]} {one}" for one in rest if counts[one]]
    detail = sentence(", ".join([f"{counts['differs']} of {measured} differ", *left]))
    if not measured:
        return doc.Answer(question, "none measured", "open", sentence(", ".join(left)))
    status: doc.Status = "bad" if counts["differs"] else "open" if counts["open"] else "good"
    return doc.Answer(question, f"{counts['agrees']} of {measured} agree", status, detail)


def _claims(review: SupplierReview) -> doc.Answer:
    question, claims, share = "Claimed classes", review.claims, review.share_confirmed
    if share is None:
        return doc.Answer(question, "none judged", "none")
    judged = claims["confirmed"] + claims["not confirmed"] + claims["not proven"]
    parts = [f"{claims['confirmed']} of {judged} confirmed"]
    rest: tuple[Claim, ...] = ("not confirmed", "not proven")
    parts += [f"{claims[one]} {one}" for one in rest if claims[one]]
    status: doc.Status = "bad" if claims["not confirmed"] else "good" if claims["confirmed"] else "open"
    return doc.Answer(question, f"{percent_text(share)} confirmed", status, sentence(", ".join(parts)))


def _bias(review: SupplierReview) -> doc.Answer:
    question = "Constant differences over the deliveries"
    proven = [one for one in review.biases if one.proven or one.trend]
    if not proven:
        few = max((one.deliveries for one in review.biases), default=0)
        if few < 2:
            return doc.Answer(question, "too few deliveries to tell", "none")
        return doc.Answer(question, "none proven", "good", sentence(f"over {few} deliveries at most"))
    named = "; ".join(bias_text(one) for one in proven[:MOST_BIASES])
    more = f"; {len(proven) - MOST_BIASES} more in the table" if len(proven) > MOST_BIASES else ""
    return doc.Answer(
        question, f"{len(proven)} proven", "open", sentence(f"reported less ours: {named}{more}")
    )


def bias_text(one: SupplierBias) -> str:
    """What is constant or moves over deliveries, reported less ours."""
    where = place_text(one.parameter, one.flank)
    text = f"{where} {um_text(one.bias_um, signed=True)}"
    if one.interval_um is not None:
        text += f" ({interval_text(one.interval_um)})"
    if one.trend and one.trend_um_per_delivery is not None:
        text += f", moving by {um_text(one.trend_um_per_delivery, signed=True)} a delivery"
    return text


def found_text(check: DeliveryCheck, *, explained: bool = True) -> str:
    """Why a delivery came out as it did; with the settings that explain it."""
    parts = []
    if check.verdict == "differs":
        parts.append(f"figures differ ({check.values_beyond} of {check.values_judged} values)")
        parts += (
            [f"explained: {', or '.join(check.explained_by)}"] if check.explained_by and explained else []
        )
    elif check.verdict == "not comparable" and check.gears_measured:
        parts.append("could not be compared")
    refused = check.claims.get("not confirmed", 0) + check.claims_contradicted
    parts += [count_text(refused, "claim refused", "claims refused")] if refused else []
    parts += ["other gears than ours"] if check.same_gears is False else []
    parts += ["lot rejected"] if check.decision == "reject" else []
    if check.questions:
        number = len(check.questions)
        parts.append(f"{count_text(number, 'point asks', 'points ask')} for a look")
    return "; ".join(parts)


def delivery_line(one: DeliveryOfMany) -> str:
    """A delivery of many: what was decided, and what counts against it."""
    checked = one.checked
    check = checked.check
    against = found_text(check, explained=False) or (
        "agrees" if check.gears_measured else "not measured by us"
    )
    against += "; values that the drawing asks for are missing" if checked.incomplete else ""
    simulated = ", SIMULATED" if checked.simulated else ""
    gears = count_text(check.gears_reported, "gear")
    decided: str = check.decision
    if decided != "release" and checked.decided_by:
        decided += f" ({checked.decided_by[0]})"
    return f"{one.folder}: part {checked.part_number}, {gears}{simulated}: {decided}; {against}"


def deliveries_sentence(report: DeliveriesReport) -> str:
    """What checking many deliveries came to."""
    agree = sum(one.checked.agrees for one in report.checked)
    against = len(report.checked) - agree
    parts = [
        f"{count_text(len(report.checked), 'delivery', 'deliveries')} checked",
        f"{agree} {'agrees' if agree == 1 else 'agree'}",
        *([f"{against} {'does' if against == 1 else 'do'} not"] if against else []),
        *([f"{len(report.failed)} NOT checked"] if report.failed else []),
    ]
    return ", ".join(parts)


def kept_sentence(kept: KeptDelivery) -> str:
    """What keeping a delivery did."""
    one = kept.delivery
    head = f"delivery {one.id} of {clip(one.supplier, LONGEST_IN_SENTENCE)}, part {one.part_number}"
    if not kept.new:
        return f"{head}, {date_text(one.delivered_at)}: stored already"
    tail = f", superseding delivery {kept.superseded}" if kept.superseded is not None else ""
    return f"kept: {head}, {date_text(one.delivered_at)}{tail}"


def removed_delivery_sentence(one: StoredDelivery) -> str:
    """A delivery that no longer counts."""
    return f"removed: delivery {one.id} of {clip(one.supplier, LONGEST_IN_SENTENCE)}, kept in the log"
