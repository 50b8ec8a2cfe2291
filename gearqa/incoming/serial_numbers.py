"""Serials matched by the number at their end (`1` for `RG-0001`), where the values follow that order."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.model.incoming import ReportedValue
from gearqa.model.results import GearResult
from gearqa.symbols import FLANKS, Flank

_NUMBER: Final = re.compile(r"(?<!\d)(\d{1,15})\D*$", re.ASCII)
CHANCE: Final = 0.01
"""How often any other order of our gears may fit as well."""
ORDERS: Final = 2000
SEED: Final = 20251


def partners_by_number(values: Sequence[ReportedValue], gears: Sequence[GearResult]) -> dict[str, str]:
    """Our serial by reported serial; empty unless all match one to one and the values show it.

    The values of a gear, less what all gears share, must fit our gear of that number better than ours in
    any order but one in a hundred, drawn anew with a fixed seed.
    """
    theirs = list(dict.fromkeys(value.serial for value in values))
    by_number: dict[int, list[int]] = {}
    for place, gear in enumerate(gears):
        number = trailing_number(gear.serial)
        if number is not None:
            by_number.setdefault(number, []).append(place)
    numbers = [trailing_number(serial) for serial in theirs]
    if len(set(numbers)) < len(theirs) or any(len(by_number.get(n or -1, ())) != 1 for n in numbers):
        return {}
    matched = np.array([by_number[number or -1][0] for number in numbers])
    if not _values_follow(values, theirs, gears, matched):
        return {}
    return {serial: gears[place].serial for serial, place in zip(theirs, matched.tolist(), strict=True)}


def trailing_number(serial: str) -> int | None:
    """The number that a serial ends with.

    >>> trailing_number("RG-0001"), trailing_number("1"), trailing_number("no")
    (1, 1, None)
    """
    found = _NUMBER.search(serial)
    return int(found[1]) if found else None


def _values_follow(
    values: Sequence[ReportedValue], theirs: Sequence[str], gears: Sequence[GearResult], matched: Array
) -> bool:
    """Whether the order by number fits better than chance, flanks named as given or exchanged."""
    places = [(one.parameter, one.flank) for one in values if one.tooth is None]
    columns = {place: number for number, place in enumerate(dict.fromkeys(places))}
    reported = np.full((len(theirs), len(columns)), np.nan)
    rows = {serial: row for row, serial in enumerate(theirs)}
    for one in values:
        if one.tooth is None:
            reported[rows[one.serial], columns[one.parameter, one.flank]] = abs(one.value_um)
    rng = np.random.default_rng(SEED)
    orders = np.array([rng.permutation(len(gears))[: len(theirs)] for _ in range(ORDERS)])
    other: Mapping[Flank | None, Flank | None] = {FLANKS[0]: FLANKS[1], FLANKS[1]: FLANKS[0], None: None}
    better = 1.0
    for exchanged in (False, True):
        ours = np.array(
            [
                [_value(gear, key, other[flank] if exchanged else flank) for key, flank in columns]
                for gear in gears
            ]
        )
        known = np.isfinite(reported).all(axis=0) & np.isfinite(ours).all(axis=0)
        spread = ours[:, known].std(axis=0)
        if len(theirs) < 2 or not np.any(spread > 0):
            continue
        scale = np.where(spread > 0, spread, np.inf)

        def misfit(order: Array, ours: Array = ours, known: Array = known, scale: Array = scale) -> float:
            left = (reported[:, known] - ours[order][:, known]) / scale
            return float(np.sum((left - left.mean(axis=0)) ** 2))

        own = misfit(matched)
        better = min(better, float(np.mean([misfit(order) <= own for order in orders])))
    return better <= CHANCE / 2


def _value(gear: GearResult, key: str, flank: Flank | None) -> float:
    result = gear.parameters.get(key)
    if result is None:
        return float("nan")
    if flank is None:
        return abs(result.value_um)
    found = result.flanks.get(flank)
    return float("nan") if found is None else abs(found.value_um)
