"""Which measured gears are the sample, which are left out of it, which were sorted out of the lot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from gearqa.errors import LotError
from gearqa.model.lot import Exclusion, LeftOut, LotGear, Sorted
from gearqa.model.results import GearResult


@dataclass(frozen=True, slots=True)
class SampleSplit:
    """The measured gears of a lot."""

    sample: tuple[GearResult, ...]
    rest: tuple[tuple[GearResult, LeftOut], ...]
    """Gears that do not belong to the sample, with how and why; their states are still to be judged."""
    lot_size: int | None
    """Without the gears that were sorted out."""
    census: bool
    """Whether every gear of the lot was measured, left out or not."""


def split(
    gears: Sequence[GearResult], lot_size: int | None, *, excluded: Sequence[Exclusion],
    restricted_to: Sequence[str], sorted_out: Sequence[Exclusion],
) -> SampleSplit:  # fmt: skip
    """Sample and rest.

    A gear is sorted out of the lot after a census, or if it was left out of the sample. A gear of a drawn
    sample stays in it, sorted out or not: what it shows of the lot does not change.

    Raises
    ------
    LotError
        If a serial was not measured or has no reason, no gear is left, or the lot size cannot be right.
    """
    serials = [gear.serial for gear in gears]
    chosen = {serial.strip() for serial in restricted_to}
    for one in excluded:
        _check(one, "excluded", serials)
    for one in sorted_out:
        _check(one, "sorted out", serials)
    for serial in restricted_to:
        _measured(serial.strip(), f"gear '{serial}'", serials)
    reasons = {one.serial: one.reason for one in excluded}
    sorted_by = {one.serial: one.reason for one in sorted_out}
    sample = [gear for gear in gears if gear.serial not in reasons and (not chosen or gear.serial in chosen)]
    _check_lot_size(len(sample), lot_size)
    census = lot_size is not None and lot_size in {len(sample), len(gears)}
    drawn = set() if census else {gear.serial for gear in sample}
    out = sorted_by.keys() - drawn
    sample = [gear for gear in sample if gear.serial not in out]
    if not sample:
        raise LotError("no gear is left in the sample", hint="measure gears of the lot, or exclude fewer")
    kept = {gear.serial for gear in sample}
    rest: list[tuple[GearResult, LeftOut]] = []
    for gear in gears:
        serial = gear.serial
        if serial in out:
            rest.append((gear, LeftOut(serial, "not assessed", sorted_by[serial], "sorted out")))
        elif serial in reasons:
            rest.append((gear, LeftOut(serial, "not assessed", reasons[serial], "excluded")))
        elif serial not in kept:
            rest.append((gear, LeftOut(serial, "not assessed", "not among those asked for", "unselected")))
    left = None if lot_size is None else lot_size - len(out)
    return SampleSplit(tuple(sample), tuple(rest), left, census)


def sort_result(sample: Sequence[LotGear], rest: Sequence[LotGear]) -> Sorted:
    """Gears of a lot that was measured whole: those that count as conforming, those that do not."""
    gears = (*sample, *rest)
    accepted, rejected = (
        tuple(gear.serial for gear in gears if gear.counts_as == state)
        for state in ("conforms", "does not conform")
    )
    return Sorted(accepted, rejected)


def _check(one: Exclusion, how: str, serials: Sequence[str]) -> None:
    _measured(one.serial, f"{how} gear '{one.serial}'", serials)
    if not one.reason.strip():
        raise LotError(f"{how} gear '{one.serial}' has no reason", hint="say why")


def _measured(serial: str, named: str, serials: Sequence[str]) -> None:
    if serial not in serials:
        near = get_close_matches(serial, serials, n=1)
        hint = f"did you mean '{near[0]}'?" if near else "name a serial of the folder"
        raise LotError(f"{named} was not measured", hint=hint)


def _check_lot_size(measured: int, lot_size: int | None) -> None:
    if lot_size is not None and lot_size < 1:
        raise LotError(f"lot size {lot_size}: a lot holds at least one gear")
    if lot_size is not None and measured > lot_size:
        raise LotError(
            f"{measured} gears were measured, but the lot size is {lot_size}",
            hint="correct the lot size, or restrict the inspection to the gears of this lot",
        )
