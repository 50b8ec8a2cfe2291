"""What the class would be without some components: taken out of the data, evaluated and graded again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.corrections import OF_A_VECTOR, changes_per_um, rise_of
from gearqa.diagnosis.effects import Effect, eccentricity, mean_shape, shape
from gearqa.diagnosis.removal import without
from gearqa.evaluation.criteria import all_of
from gearqa.evaluation.evaluate import evaluate_with
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Corrected, Correction, Rung
from gearqa.model.measurement import GearMeasurement
from gearqa.model.results import GearResult

SMALLEST_GAIN: Final = 0.01
"""Classes that taking one more component out has to gain."""
SMALLEST_SHARE: Final = 0.01
"""Shares of a deviation below this are not listed."""
BEST_CLASS_EXACT: Final = -99.0
"""Stands for a gear whose every deviation is 0."""

PiecesOfGears = Sequence[tuple[GearMeasurement, Sequence[Piece]]]
"""Gears with what is taken out of each."""


def shares(
    gear: GearMeasurement, raw: GearResult, pieces: Sequence[Piece], setup: PartSetup
) -> list[dict[str, float]]:
    """Share of each deviation that goes when a piece alone is taken out.

    0 to 1, together at most 1: one that makes up for another explains nothing.
    """
    alone = [without(gear, [(one.effect, one.amplitudes)], setup) for one in pieces]
    before = _worst_values([raw])
    return _together([_gone(before, _worst_values([result])) for _, result in evaluate_with(alone, setup)])


def lot_shares(
    gears: Sequence[GearMeasurement],
    raw: Sequence[GearResult],
    components: Sequence[Sequence[Sequence[Piece]]],
    setup: PartSetup,
) -> list[dict[str, float]]:
    """Share of the worst value of all gears that goes when a component alone is taken out of each of them.

    `components` says what each one is in each gear.
    """
    before = _worst_values(raw)
    found = []
    for in_gears in components:
        alone = (
            without(gear, [(one.effect, one.amplitudes) for one in pieces], setup)
            for gear, pieces in zip(gears, in_gears, strict=True)
        )
        found.append(_gone(before, _worst_values([result for _, result in evaluate_with(alone, setup)])))
    return _together(found)


def _worst_values(results: Sequence[GearResult]) -> dict[str, float]:
    """Largest magnitude of each parameter over some gears. [um]"""
    worst: dict[str, float] = {}
    for result in results:
        for key, parameter in result.parameters.items():
            worst[key] = max(worst.get(key, 0.0), abs(parameter.value_um))
    return worst


def _gone(before: Mapping[str, float], after: Mapping[str, float]) -> dict[str, float]:
    """Shares of the values before that are no longer there."""
    shares_of = {key: 1 - after[key] / value for key, value in before.items() if value and key in after}
    return {key: share for key, share in shares_of.items() if share >= SMALLEST_SHARE}


def _together(found: Sequence[dict[str, float]]) -> list[dict[str, float]]:
    """Shares, in proportion where they are more than 1 together: errors that partly make up for a third
    one would each take away the same."""
    total: dict[str, float] = {}
    for shares_of in found:
        for key, share in shares_of.items():
            total[key] = total.get(key, 0.0) + share
    return [{key: share / max(1.0, total[key]) for key, share in shares_of.items()} for shares_of in found]


def ladder(gears: PiecesOfGears, setup: PartSetup) -> tuple[Rung, ...]:
    """Rungs: as measured; each key alone, the one that gains most first; then more and more keys together.

    Ends at master quality, or where taking out more gains nothing. Of several gears the worst counts.
    """
    keys = tuple(dict.fromkeys(piece.component.key for _, pieces in gears for piece in pieces))
    measured = _rung((), gears, setup)
    alone = sorted((_rung((key,), gears, setup) for key in keys), key=_severity)
    rungs = [measured, *alone]
    if not alone:
        return tuple(rungs)
    best = alone[0]
    rest = [key for key in keys if key not in best.without]
    while rest and not best.master_quality and _severity(best) <= _severity(measured) - SMALLEST_GAIN:
        tried = [_rung((*best.without, key), gears, setup) for key in rest]
        better = min(tried, key=_severity)
        if _severity(better) > _severity(best) - SMALLEST_GAIN and not better.master_quality:
            break
        rungs.append(better)
        best = better
        rest.remove(better.without[-1])
    return tuple(rungs)


def corrected(
    gears: Sequence[GearMeasurement], corrections: Sequence[Correction], setup: PartSetup
) -> Corrected | None:
    """Gears with all changes made at their fraction, of those that exclude each other the first; of several
    gears the worst counts."""
    those = [one for one in corrections if one.instead_of is None and one.deviation_um is not None]
    if not those:
        return None
    g = setup.geometry
    parts: list[tuple[Effect, Array]] = []
    size = 0.0
    for one in those:
        taken = one.fraction * (one.deviation_um or 0.0) / rise_of(one.quantity, setup)
        if one.quantity == "infeed":
            size -= taken / 1000
        elif one.quantity in OF_A_VECTOR:
            parts.append((eccentricity(), np.where(np.array(OF_A_VECTOR) == one.quantity, taken, 0.0)))
        elif one.flank is not None:
            of_flank = shape(one.quantity, [(one.flank, 1.0)], one.quantity, one.flank)
            parts.append((of_flank, np.array([taken])))
        else:
            key = changes_per_um(setup)[one.quantity][0]
            parts.append((mean_shape(key, g.s, g.H), np.array([taken])))
    made = (_resized(without(gear, parts, setup), size) for gear in gears)
    rung = rung_of((), [result for _, result in evaluate_with(made, setup)])
    return Corrected(
        tuple(dict.fromkeys(one.quantity for one in those)),
        rung.class_,
        rung.class_exact,
        rung.beyond,
        rung.conforms,
        rung.master_quality,
    )


def _resized(gear: GearMeasurement, more_mm: float) -> GearMeasurement:
    """The gear with its dimension over or between balls changed."""
    sizes = tuple(
        replace(one, value_mm=one.value_mm + more_mm) if one.method == "balls" else one for one in gear.sizes
    )
    return replace(gear, sizes=sizes) if more_mm else gear


def _rung(keys: tuple[str, ...], gears: PiecesOfGears, setup: PartSetup) -> Rung:
    taken = (
        without(
            gear,
            [(one.effect, one.amplitudes) for one in pieces if one.component.key in keys],
            setup,
        )
        for gear, pieces in gears
    )
    return rung_of(keys, [result for _, result in evaluate_with(taken, setup)])


def rung_of(keys: tuple[str, ...], results: Sequence[GearResult]) -> Rung:
    """The worst of some gears."""
    beyond = any(result.beyond for result in results)
    classes = [result.class_ for result in results if result.class_ is not None]
    exact = [value for result in results if (value := worst_class_exact(result)) is not None]
    return Rung(
        without=keys,
        class_=None if beyond or not classes else max(classes),
        class_exact=max(exact) if exact else None,
        beyond=beyond,
        conforms=all_of([result.conforms for result in results]),
        master_quality=all_of([result.master_quality for result in results]),
    )


def worst_class_exact(result: GearResult) -> float | None:
    """Class of a gear as a real number; None if nothing was graded or every deviation is 0."""
    exact = [one.class_exact for one in result.parameters.values() if one.class_exact is not None]
    return max(exact) if exact else None


def _severity(rung: Rung) -> float:
    return BEST_CLASS_EXACT if rung.class_exact is None else rung.class_exact
