"""Every reported value with what was found for it: difference, En number, claim, state by the drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from gearqa.arrays import Array
from gearqa.evaluation.criteria import Criteria
from gearqa.incoming import claims
from gearqa.incoming.compare import ReportComparison
from gearqa.incoming.editions import Edition, edition_claimed
from gearqa.incoming.explanations import Explained
from gearqa.incoming.gear_claims import ValueClaim, gear_claims
from gearqa.incoming.settings import Numbering
from gearqa.incoming.sides import Sides
from gearqa.incoming.verdict import allowed_um
from gearqa.model.incoming import TRACE_KIND, Basis, ComparedValue, GearAlignment, GearClaim, ReportedValue
from gearqa.model.results import GearResult
from gearqa.statistics.agreement import en_number
from gearqa.symbols import TraceKind


@dataclass(frozen=True, eq=False, slots=True)
class Meaning:
    """Which flank and tooth of ours a reported value means, as far as the explanation shows."""

    numberings: tuple[tuple[Numbering, bool], ...]
    """All that fit, the likeliest first, each with whether teeth are numbered in their order."""
    z: int
    traced: Mapping[tuple[str, TraceKind], tuple[int, ...]]
    """Traced teeth of our gears."""

    @classmethod
    def of(cls, explained: Explained, alignments: Sequence[GearAlignment], sides: Sides) -> Meaning:
        """From the explanation; their raw data may name flanks differently, too."""
        setups = explained.names or ((explained.setup,) if explained.setup is not None else ())
        found = [(setup.numbering, setup.in_order) for setup in setups] or [(Numbering(), False)]
        if explained.result.data == "theirs":
            turned = [one.flanks_swapped for one in alignments if one.same and one.flanks_swapped is not None]
            other = bool(turned) and all(turned)
            found = [(Numbering(swapped=numbering.swapped ^ other), False) for numbering, _ in found]
        teeth: dict[tuple[str, TraceKind], set[int]] = {}
        for gear in sides.ours.gears if sides.ours is not None else ():
            for trace in gear.traces:
                teeth.setdefault((gear.serial, trace.kind), set()).add(trace.tooth)
        traced = {place: tuple(sorted(some)) for place, some in teeth.items()}
        return cls(tuple(dict.fromkeys(found)), sides.part.gear.teeth, traced)

    def ours(self, value: ReportedValue, our_serial: str) -> list[ReportedValue]:
        """The value under our names, by every way to name that fits."""
        return [self._named(value, our_serial, *one) for one in self.numberings]

    def _named(
        self, value: ReportedValue, our_serial: str, numbering: Numbering, in_order: bool
    ) -> ReportedValue:
        tooth = value.tooth
        if tooth is not None and in_order and value.parameter in TRACE_KIND:
            teeth = self.traced.get((our_serial, TRACE_KIND[value.parameter]), ())
            tooth = teeth[tooth - 1] if tooth <= len(teeth) else tooth
        return replace(
            value,
            flank=None if value.flank is None else numbering.our_flank(value.flank),
            tooth=None if tooth is None else numbering.our_tooth(tooth, self.z),
        )


def compared_values(
    comparison: ReportComparison,
    alignments: Sequence[GearAlignment],
    criteria: Criteria,
    editions: Mapping[str, Edition],
    *,
    measured_again: bool,
) -> tuple[tuple[ComparedValue, ...], tuple[GearClaim, ...]]:
    """Every reported value with what was found, and the claims of whole gears.

    En numbers only for a second measurement.
    """
    sides, outcome = comparison.sides, comparison.explained
    meaning = Meaning.of(outcome, alignments, sides)
    gears = sides.gears_by_serial()
    rows = []
    judgeable: list[ValueClaim] = []
    predicted = zip(_known(comparison.found), _known(outcome.after), strict=True)
    for value, (found, explained) in zip(sides.values, predicted, strict=True):
        gear = gears.get(value.serial)
        U = _our_uncertainty(sides, value, gear)
        by_magnitude = value.parameter in comparison.unsigned
        compared = abs(value.value_um) if by_magnitude else value.value_um
        half = sides.digits[value.parameter] / 2
        allowed = allowed_um(value.uncertainty_um, U, _tolerance(criteria, value))
        difference = None if found is None else compared - found
        left = None if explained is None or difference is None else compared - explained
        us = (value.uncertainty_um, U) if measured_again else (None, None)
        meanings = meaning.ours(value, gear.serial if gear is not None else "")
        meant = meanings[0]
        judged = claims.judge_all(meanings, gear, U, editions)
        title = edition_claimed(value.standard, editions)
        edition = editions.get(title or "")
        ours = () if gear is None else claims.extremes(gear, meant.parameter, meant.flank, meant.tooth, None)
        theirs = (-abs(value.value_um), abs(value.value_um)) if by_magnitude else (value.value_um,)
        rows.append(
            ComparedValue(
                serial=value.serial,
                our_serial=gear.serial if gear is not None else None,
                parameter=value.parameter,
                flank=value.flank,
                tooth=value.tooth,
                basis=_basis(value, outcome.bases, gear),
                reported_um=value.value_um,
                half_digit_um=half,
                by_magnitude=by_magnitude,
                found_um=found,
                difference_um=difference,
                explained_um=explained,
                equal=None if difference is None else abs(difference) <= half + 1e-9,
                u_reported_um=value.uncertainty_um,
                u_found_um=U,
                allowed_um=allowed,
                within=None
                if difference is None or allowed is None or not sides.ours
                else bool(abs(difference) - half <= allowed),
                en=_en(difference, *us),
                en_explained=_en(left, *us),
                class_claimed=value.class_,
                class_text=value.class_text,
                standard_claimed=_standard_claimed(value, title),
                class_reported=edition.class_of(value.parameter, value.value_um) if edition else None,
                claim_flank=meant.flank,
                reported_state=claims.drawing_state(
                    criteria, value.parameter, value.flank, theirs, value.uncertainty_um
                ),
                found_state=claims.drawing_state(criteria, value.parameter, meant.flank, ours, U),
                **asdict(judged),
            )
        )
        if gear is not None:
            judgeable.append(ValueClaim(meanings, gear, U))
    return tuple(rows), gear_claims(judgeable, editions)


def _known(values: Array) -> list[float | None]:
    return [value if np.isfinite(value) else None for value in values.tolist()]


def _tolerance(criteria: Criteria, value: ReportedValue) -> float | None:
    """Upper limit of the drawing, the narrowest of the flanks. [um]"""
    return min((upper for _, upper in criteria.drawing_limits(value.parameter, value.flank)), default=None)


def _our_uncertainty(sides: Sides, value: ReportedValue, gear: GearResult | None) -> float | None:
    if sides.ours is None:
        return None
    instrument = gear.production.instrument if gear is not None and gear.production else None
    return sides.part.uncertainty(value.parameter, instrument)


def _en(difference: float | None, theirs: float | None, ours: float | None) -> float | None:
    if difference is None or theirs is None or ours is None:
        return None
    return en_number(difference, theirs, ours)


def _basis(value: ReportedValue, bases: Mapping[str, Basis], gear: GearResult | None) -> Basis | None:
    if gear is None or value.tooth is not None or value.parameter not in TRACE_KIND:
        return value.basis
    return value.basis or bases.get(value.parameter, "worst")


def _standard_claimed(value: ReportedValue, title: str | None) -> str | None:
    """Edition of a claim; a number without one is taken as the drawing's, words are not."""
    if value.class_text and title is not None and (value.class_ is not None or value.standard is not None):
        return title
    return value.standard
