"""What is kept of an incoming check, so that deliveries can be looked at together."""

from __future__ import annotations

from collections.abc import Iterator

from gearqa.model.deliveries import CheckedDelivery, DeliveryCheck, SeriesDifference
from gearqa.model.incoming import IncomingResult


def delivery_check(result: IncomingResult) -> DeliveryCheck:
    """The findings of one check in short."""
    fitting = result.explanation.explanations if result.explanation.explained else ()
    return DeliveryCheck(
        report=result.inputs[0].file,
        standard=result.standard,
        gears_reported=len({row.serial for row in result.rows}),
        gears_measured=len({row.serial for row in result.rows if row.found_um is not None}),
        verdict=result.verdict,
        verdict_reason=result.verdict_reason,
        values_judged=result.values_judged,
        values_beyond=result.values_beyond,
        values_beyond_allowed=result.values_beyond_allowed,
        claims=dict(result.claims),
        claims_contradicted=len(result.contradicted),
        same_gears=result.same_gears,
        decision=result.decision,
        explained_by=tuple(one.sentence for n, one in enumerate(fitting) if n == 0 or one.same_predictions),
        questions=tuple(dict.fromkeys(one.check for one in result.plausibility.questions)),
        impossible=len({q.check for q in result.plausibility.questions if q.strength == "cannot be"}),
        differences=tuple(_differences(result)),
    )


def checked_delivery(result: IncomingResult) -> CheckedDelivery:
    """One check in short, with what tells the delivery from others."""
    digest = result.inputs[0].sha256
    assert digest is not None
    part = result.part
    deciding = (why.sentence for lot in result.lots.values() for why in lot.reasons if why.decides)
    return CheckedDelivery(
        " ".join(result.supplier.split()), part["number"], part["revision"], digest, result.simulated,
        delivery_check(result), tuple(deciding), result.agrees,
        incomplete=any(one.code == "values_not_reported" for one in result.cautions),
    )  # fmt: skip


def _differences(result: IncomingResult) -> Iterator[SeriesDifference]:
    for parameter, places in result.agreement.items():
        for place, plain in places.items():
            one = result.agreement_explained.get(parameter, {}).get(place, plain)
            yield SeriesDifference(parameter, place, one.n, one.bias_um, one.bias_interval_um)
