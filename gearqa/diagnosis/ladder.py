"""What the class would be without some components: taken out of the data, evaluated and graded again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.removal import without
from gearqa.evaluation.criteria import all_of
from gearqa.evaluation.evaluate import evaluate_with
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Rung
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
    """Share of each deviation that goes when a piece alone is taken out; minus where it grows."""
    alone = [without(gear, [(one.effect, one.amplitudes)], setup) for one in pieces]
    found = []
    for _, result in evaluate_with(alone, setup):
        of_piece = {}
        for key, parameter in raw.parameters.items():
            after = result.parameters.get(key)
            if after is None or not parameter.value_um:
                continue
            share = 1 - abs(after.value_um) / abs(parameter.value_um)
            if abs(share) >= SMALLEST_SHARE:
                of_piece[key] = share
        found.append(of_piece)
    return found


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


def by_key(pieces: Sequence[Piece]) -> Mapping[str, list[Piece]]:
    """Pieces of each key, in their order."""
    found: dict[str, list[Piece]] = {}
    for one in pieces:
        found.setdefault(one.component.key, []).append(one)
    return found


def _severity(rung: Rung) -> float:
    return BEST_CLASS_EXACT if rung.class_exact is None else rung.class_exact
