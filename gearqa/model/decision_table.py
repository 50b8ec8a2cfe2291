"""The decision table of a lot as data: the first row that fits decides, every row that fits is a reason.

`gearqa explain lot` and the certificate print these rows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from gearqa.late_dataclass import dataclass
from gearqa.model.lot import CycleCoverage, LotDecision
from gearqa.wording.numbers import count_text, short_text
from gearqa.wording.sentences import some_of
from gearqa.wording.verdicts import not_conform_text


@dataclass(frozen=True, slots=True)
class LotFacts:
    """Facts that the table decides by."""

    lot_size: int | None
    census: bool
    """Whether the whole lot was measured, gears left out of the sample too."""
    measured_n: int
    required_n: int | None
    ac: int | None
    own_numbers: bool
    """Whether the plan gives the numbers itself and needs no lot size."""
    d_low: int
    d_high: int
    accept: bool | None
    variables_failed: tuple[str, ...]
    """By symbol and flank, as are those missing."""
    missing_in_all: tuple[str, ...]
    overdue: tuple[str, ...]
    """Serials measured after the calibration was due."""
    drawn: str
    sample_cycles: int | None
    lot_of_several_cycles: bool
    coverage: CycleCoverage | None
    unmet: tuple[str, ...]
    """Conditions of the plan's `require` that are not met."""
    segregate: tuple[str, ...]
    remeasure: tuple[str, ...]
    left_out_bad: tuple[str, ...]
    """Gears of the lot that were measured, left out of the sample and do not conform."""
    left_out_open: tuple[str, ...]
    """The same, not proven or not assessed."""
    passed_over: tuple[str, ...]
    """Gears measured again with a better result than in a measurement that does not count, which does not
    conform or is not proven."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: when it fits, what it decides, and its sentence."""

    number: str
    code: str
    rule: str
    """The row in general words."""
    outcome: LotDecision | Literal["error"]
    fits: Callable[[LotFacts], bool]
    sentence: Callable[[LotFacts], str]


def _serials(serials: Sequence[str]) -> str:
    return some_of(serials, 12)


def _gears(count: int) -> str:
    return count_text(count, "gear")


def _rejected(f: LotFacts) -> str:
    if f.ac is not None and f.d_low > f.ac:
        return (
            f"{_gears(f.d_low)} of {f.measured_n} {not_conform_text(f.d_low)}, more than the acceptance "
            f"number {f.ac}; sort the lot, or rework it and have it inspected again"
        )
    return f"the quality index of {', '.join(f.variables_failed)} is below k; sort the lot or rework it"


def _early(f: LotFacts) -> bool:
    return f.coverage is not None and not f.coverage.spread and not f.census


def _gap(f: LotFacts) -> str:
    if f.coverage is None or f.coverage.longest_gap is None:
        return ""
    first, last = f.coverage.longest_gap
    length, cycles = short_text(f.coverage.cycle_length, 3), count_text(f.coverage.cycles, "dress cycle")
    parts = " and ".join(str(part) for part in f.coverage.measure)
    near = f"near parts {parts}" if len(f.coverage.measure) > 1 else f"near part {parts}"
    return (
        f"none of parts {first} to {last} after a dress was measured, more than half of a cycle of {length} "
        f"({cycles} in the lot); measure gears {near}"
    )


def _single_cycle(f: LotFacts) -> bool:
    return f.sample_cycles == 1 and f.lot_of_several_cycles


def _unrepresentative(f: LotFacts) -> str:
    parts = []
    if f.drawn == "convenience":
        parts.append("the sample was taken for convenience; draw one at random or systematically")
    if _single_cycle(f):
        parts.append(
            "all gears of the sample come from one dress cycle and the lot from more; measure gears of the "
            "other cycles, or state dress_cycles = 1 in the plan if the lot is one cycle"
        )
    return "the sample does not represent the lot: " + "; ".join(parts)


TABLE: tuple[Row, ...] = (
    Row(
        "1", "more_measured_than_lot",
        "more gears measured than the lot holds, or an unknown key in the plan: error, no decision",
        "error",
        lambda f: f.lot_size is not None and f.measured_n > f.lot_size,
        lambda f: f"{_gears(f.measured_n)} were measured, but the lot size is {f.lot_size}",
    ),
    Row(
        "2", "rejected_by_plan", "more gears do not conform than the plan accepts: reject",
        "reject", lambda f: f.accept is False, _rejected,
    ),
    Row(
        "3", "census_nonconforming",
        "the whole lot was measured and a gear does not conform: reject as a lot, the others may go on",
        "reject",
        lambda f: f.census and f.d_low > 0,
        lambda f: f"the whole lot was measured and {_gears(f.d_low)} {not_conform_text(f.d_low)}; take out "
        f"{_serials(f.segregate)} and present the rest as a new lot",
    ),
    Row(
        "4", "census_open", "the whole lot was measured and a gear is not proven or not assessed: hold",
        "hold",
        lambda f: f.census and (f.d_high > f.d_low or bool(f.left_out_open)),
        lambda f: f"the whole lot was measured and {_gears(len(f.remeasure))} "
        f"{'is' if len(f.remeasure) == 1 else 'are'} not proven or not assessed; measure "
        f"{_serials(f.remeasure)} again, or with a smaller uncertainty",
    ),
    Row(
        "5", "lot_size_unknown", "the lot size is unknown and the plan gives no n and Ac of its own: hold",
        "hold",
        lambda f: f.lot_size is None and not f.own_numbers,
        lambda f: "the lot size is not known, and the plan needs it; give --lot-size, or a plan with n "
        "and ac",
    ),
    Row(
        "6", "too_few_measured", "fewer gears measured than the plan asks: hold",
        "hold",
        lambda f: not f.census and f.required_n is not None and f.measured_n < f.required_n,
        lambda f: f"{_gears(f.measured_n)} measured, the plan asks for {f.required_n}; measure "
        f"{(f.required_n or 0) - f.measured_n} more",
    ),
    Row(
        "7", "plan_undecided", "the plan neither accepts nor rejects: hold",
        "hold",
        lambda f: f.accept is None,
        lambda f: "the plan cannot decide"
        + (
            f": between {f.d_low} and {f.d_high} gears do not conform, the acceptance number is {f.ac}; "
            f"measure {_serials(f.remeasure)} again, or with a smaller uncertainty"
            if f.remeasure
            else " on what was measured"
        ),
    ),
    Row(
        "8", "parameter_missing", "a required parameter or flank is missing from the whole lot: hold",
        "hold",
        lambda f: bool(f.missing_in_all),
        lambda f: f"not assessed on any gear: {', '.join(f.missing_in_all)}; measure it, or take it off the "
        "drawing's list",
    ),
    Row(
        "9", "sample_not_representative",
        "the sample was taken for convenience, or shows one dress cycle of a lot of several: hold",
        "hold",
        lambda f: not f.census and (f.drawn == "convenience" or _single_cycle(f)),
        _unrepresentative,
    ),
    Row(
        "9a", "calibration_overdue", "a gear was measured after the calibration was due: hold",
        "hold",
        lambda f: bool(f.overdue),
        lambda f: f"measured after the calibration was due: {_serials(f.overdue)}; have the instrument "
        "calibrated and these gears measured again",
    ),
    Row(
        "9b", "requirement_not_met", "a condition that the plan requires is not met: hold",
        "hold",
        lambda f: bool(f.unmet),
        lambda f: "the plan requires more than is shown: " + "; ".join(f.unmet),
    ),
    Row(
        "9c", "left_out_nonconforming",
        "a measured gear that was left out of the sample does not conform and is still in the lot: hold",
        "hold",
        lambda f: bool(f.left_out_bad),
        lambda f: f"{_serials(f.left_out_bad)}, measured and left out of the sample, "
        f"{not_conform_text(len(f.left_out_bad))}; sort out (--sorted-out SERIAL=REASON), or decide on "
        "the lot by a disposition",
    ),
    Row(
        "9d", "cycle_not_covered",
        "more than half of the dress cycle on end has no measured gear: hold",
        "hold", _early, _gap,
    ),
    Row(
        "9e", "measured_again",
        "a measurement that does not count does not conform or is not proven, and the one that counts is "
        "better: hold",
        "hold",
        lambda f: bool(f.passed_over),
        lambda f: f"{_serials(f.passed_over)}: measured more than once, and a measurement that does not "
        "count is worse than the one that does; find out why, and decide on the lot by a disposition",
    ),
    Row(
        "10", "accepted_with_nonconforming",
        "the plan accepts and gears were found that do not conform: release without them",
        "release",
        lambda f: f.accept is True and f.d_low > 0,
        lambda f: f"{_gears(f.d_low)} of {f.measured_n} {not_conform_text(f.d_low)}, the acceptance number "
        f"is {f.ac}: the plan accepts the lot without {_serials(f.segregate)}",
    ),
    Row(
        "11", "accepted", "the plan accepts and no gear was found that does not conform: release",
        "release",
        lambda f: f.accept is True and f.d_low == 0,
        lambda f: f"no gear of {f.measured_n} was found that does not conform, the acceptance number is "
        f"{f.ac}: the plan accepts the lot",
    ),
)  # fmt: skip
