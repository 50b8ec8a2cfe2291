"""Tables of a supplier's review: its deliveries, and its differences over them."""

from __future__ import annotations

from gearqa.model.deliveries import ReviewedDelivery, SupplierBias, SupplierReview
from gearqa.report.blocks import document as doc
from gearqa.report.suppliers.words import OUTCOME_STATUS, found_text
from gearqa.wording.numbers import DASH, interval_text, value_text
from gearqa.wording.times import date_text
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

MOST_DELIVERIES = 200
"""Deliveries that a table lists, the last ones."""
BIAS_NOTE = (
    "Reported less ours, µm, settings that explain a difference allowed for; the mean over the deliveries, "
    "each counted once. Proven: at 5 % over all rows together."
)


def deliveries_table(review: SupplierReview, *, wide: bool) -> doc.Table:
    """Deliveries in their order, the last ones of many."""
    shown = review.deliveries[-MOST_DELIVERIES:]
    columns: doc.Columns[ReviewedDelivery] = [
        (doc.Column("no."), lambda one: str(one.delivery.id)),
        (doc.Column("delivered", "left"), lambda one: date_text(one.delivery.delivered_at)),
    ]
    if wide:
        name = doc.Column("report", "left")
        columns.append((name, lambda one: clip(one.delivery.check.report, LONGEST_IN_SENTENCE)))
    columns += [
        (doc.Column("gears"), _gears),
        (doc.Column("to measure", "left"), lambda one: one.level),
        (doc.Column("came out", "left"), lambda one: doc.Cell(one.outcome, OUTCOME_STATUS[one.outcome])),
        (doc.Column("confirmed"), _confirmed),
        (doc.Column("found", "left", weight=1.0), lambda one: found_text(one.delivery.check) or DASH),
    ]
    notes = ["Gears: measured by us of those reported. To measure: what the deliveries before asked for."]
    systems = dict.fromkeys(one.delivery.check.standard for one in review.deliveries)
    notes.append(f"Classes of the drawing: {', '.join(systems)}.")
    if len(shown) < len(review.deliveries):
        notes.append(f"The last {len(shown)} of {len(review.deliveries)} deliveries; all of them: --json.")
    return doc.Table.by_column("Deliveries", columns, shown, notes)


def biases_table(review: SupplierReview) -> doc.Table | None:
    """Differences of every parameter and flank over the deliveries."""
    if not review.biases:
        return None
    columns: doc.Columns[SupplierBias] = [
        (doc.Column("parameter", "left"), lambda one: doc.symbol(one.parameter)),
        (doc.Column("flank", "left"), lambda one: one.flank or DASH),
        (doc.Column("deliveries"), lambda one: str(one.deliveries)),
        (doc.Column("gears"), lambda one: str(one.gears)),
        (doc.Column("bias"), lambda one: value_text(one.bias_um, signed=True)),
        (doc.Column("95 % interval"), lambda one: interval_text(one.interval_um)),
        (doc.Column("per delivery"), _trend),
        (doc.Column("proven", "left"), _proven),
    ]
    return doc.Table.by_column("Differences over the deliveries", columns, review.biases, [BIAS_NOTE])


def _gears(one: ReviewedDelivery) -> str:
    return f"{one.delivery.check.gears_measured} of {one.delivery.check.gears_reported}"


def _confirmed(one: ReviewedDelivery) -> str:
    claims = one.delivery.check.claims
    judged = sum(number for word, number in claims.items() if word != "none")
    return f"{claims.get('confirmed', 0)} of {judged}" if judged else DASH


def _trend(one: SupplierBias) -> str:
    return DASH if one.trend_um_per_delivery is None else value_text(one.trend_um_per_delivery, signed=True)


def _proven(one: SupplierBias) -> str:
    words = [*(["bias"] if one.proven else []), *(["trend"] if one.trend else [])]
    return " and ".join(words) or DASH
