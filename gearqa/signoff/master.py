"""What may be said of master quality: in the sample, and with which confidence in the lot."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.model.lot import InLot, LotGear, MasterQualityOfLot
from gearqa.model.plan import MasterTable
from gearqa.statistics import binomial


def master_quality_of_lot(
    gears: Sequence[LotGear],
    lot_size: int | None,
    table: MasterTable,
    *,
    class_: int,
    parameters: tuple[str, ...],
) -> MasterQualityOfLot:
    """Exact bounds of the share at master quality: hypergeometric, binomial if the lot is unknown."""
    n = len(gears)
    proven = sum(gear.master_quality == "conforms" for gear in gears)
    refuted = sum(gear.master_quality == "does not conform" for gear in gears)
    in_sample = True if proven == n else False if refuted else None
    if lot_size is None or lot_size < n:
        lower = binomial.lower_bound(proven, n, table.confidence)
        upper = binomial.upper_bound(n - refuted, n, table.confidence)
    else:
        lower = binomial.lot_lower_bound(proven, n, lot_size, table.confidence) / lot_size
        upper = binomial.lot_upper_bound(n - refuted, n, lot_size, table.confidence) / lot_size
    in_lot: InLot = "not shown"
    if round(lower, 9) >= table.coverage:
        in_lot = "shown"
    elif round(upper, 9) < table.coverage:
        in_lot = "refuted"
    percent, sure = f"{100 * table.coverage:g} %", f"{100 * table.confidence:g} %"
    if lot_size is not None and n == lot_size and proven == n:
        sentence = f"all {n} gears of the lot were measured and are master quality (class {class_})"
    elif in_lot == "shown":
        sentence = (
            f"with {sure} confidence at least {percent} of the lot are master quality: {proven} of {n} "
            f"gears are proven, lower bound {100 * lower:.1f} %"
        )
    elif in_lot == "refuted":
        sentence = (
            f"with {sure} confidence fewer than {percent} of the lot are master quality: {refuted} of {n} "
            f"gears are proven not to be, upper bound {100 * upper:.1f} %"
        )
    else:
        sentence = (
            f"the sample does not show that {percent} of the lot are master quality: {proven} of {n} gears "
            f"are proven, lower bound {100 * lower:.1f} % with {sure} confidence"
        )
    return MasterQualityOfLot(
        in_sample=in_sample,
        in_lot=in_lot,
        confidence=table.confidence,
        coverage=table.coverage,
        share_lower_bound=lower,
        share_upper_bound=upper,
        proven=proven,
        refuted=refuted,
        class_=class_,
        parameters=parameters,
        sentence=sentence,
    )
