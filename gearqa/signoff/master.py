"""Master quality in the sample, and with which confidence in the lot."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.model.lot import InLot, LotGear, MasterQualityOfLot
from gearqa.model.plan import MasterTable
from gearqa.statistics import binomial
from gearqa.wording.numbers import count_text, share_text
from gearqa.wording.verdicts import master_words


def master_quality_of_lot(
    gears: Sequence[LotGear], lot_size: int | None, table: MasterTable, *, class_: int,
    parameters: tuple[str, ...],
) -> MasterQualityOfLot:  # fmt: skip
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
    in_lot = in_lot if parameters else "not shown"
    percent, sample = share_text(table.coverage, 6), count_text(n, "gear")
    proves = any(gear.probability_of_conformity is not None for gear in gears)
    is_so, is_not = master_words(proven=proves)
    sure = f"with {share_text(table.confidence, 6)} confidence"
    if not parameters:
        sentence = "no parameter is named that master quality is judged by"
    elif lot_size is not None and n == lot_size and proven < n:
        sentence = f"the whole lot of {sample} was measured: {proven} {is_so}, {refuted} {is_not}"
    elif lot_size is not None and n == lot_size:
        sentence = f"the whole lot of {sample} was measured and is master quality (class {class_})"
    elif in_lot == "shown":
        found = f"{proven} of {sample} {is_so}, lower bound {share_text(lower)}"
        sentence = f"{sure} at least {percent} of the lot is master quality: {found}"
    elif in_lot == "refuted":
        found = f"{refuted} of {sample} {is_not}, upper bound {share_text(upper)}"
        sentence = f"{sure} less than {percent} of the lot is master quality: {found}"
    else:
        found = f"{proven} of {sample} {is_so}, lower bound {share_text(lower)} {sure}"
        sentence = f"the sample does not show that {percent} of the lot is master quality: {found}"
    return MasterQualityOfLot(
        in_sample, in_lot, table.confidence, table.coverage, share_lower_bound=lower,
        share_upper_bound=upper, proven=proven, refuted=refuted, class_=class_, parameters=parameters,
        sentence=sentence,
    )  # fmt: skip
