"""Compares a supplier's report with our measurement: rows, claims, explanation, same gears, decision."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.criteria import Criteria, criteria_of
from gearqa.evaluation.evaluate import grade_header
from gearqa.incoming import claims
from gearqa.incoming.agreement import agreements
from gearqa.incoming.alignment import align, same_gears
from gearqa.incoming.cautions import cautions_of, reasons_of
from gearqa.incoming.editions import Edition, edition_named, editions_of
from gearqa.incoming.explanations import ENOUGH_VALUES, Explained, explain
from gearqa.incoming.predictions import Predictor, Wanted, chosen
from gearqa.incoming.settings import base_setup
from gearqa.incoming.theirs import reported_gears, with_reported_uncertainty
from gearqa.model.incoming import (
    SAME_UM,
    TRACE_KIND,
    Basis,
    Comparison,
    CurvePair,
    DecideOn,
    ExplanationResult,
    GearAlignment,
    IncomingResult,
    ReportedTable,
    ReportedValue,
    Row,
    Side,
    Unmatched,
)
from gearqa.model.lot import LotDecision, LotResult
from gearqa.model.measurement import GearMeasurement, InputFile
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader
from gearqa.statistics.agreement import en_number
from gearqa.symbols import PARAMETERS

DIGIT_OF_REPEATS_UM: Final = 0.1
"""Only values typed at least so finely can tell the same data from a second measurement."""
FOLLOWS_FROM_THEIRS: Final = Notice(
    NoticeCode.REPORT_FOLLOWS_FROM_THEIR_TRACES,
    "the report follows from the supplier's own traces, evaluated as the drawing says: what differs is the "
    "measurement, or how flanks and teeth are named",
)
_STRICTER: Final[Mapping[LotDecision, int]] = {"release": 0, "hold": 1, "reject": 2}

Decide = Callable[[GradeHeader, Part, Sequence[GearResult]], LotResult]
"""Decides a lot from graded gears; handed in, because the sign-off is no part of the comparison."""


@dataclass(frozen=True, eq=False, slots=True)
class MeasuredGears:
    """Gears of one side, measured and graded."""

    gears: tuple[GearMeasurement, ...]
    results: tuple[GearResult, ...]
    inputs: tuple[InputFile, ...] = ()
    simulated: bool = False
    notices: tuple[Notice, ...] = ()

    def places(self) -> dict[str, int]:
        """Place of every gear by its serial."""
        return {gear.serial: place for place, gear in enumerate(self.gears)}


def check_report(
    report: ReportedTable,
    part: Part,
    *,
    decide: Decide,
    ours: MeasuredGears | None = None,
    theirs: MeasuredGears | None = None,
    decide_on: DecideOn | None = None,
    supplier: str = "",
    inputs: Sequence[InputFile] = (),
) -> IncomingResult:
    """Compare, explain and decide.

    Parameters
    ----------
    report : ReportedTable
        What the supplier reports.
    part : Part
        The drawing, with our uncertainties.
    decide : callable
        Decides a lot from graded gears.
    ours : MeasuredGears, optional
        What we measured.
    theirs : MeasuredGears, optional
        The supplier's raw data, evaluated as the drawing says.
    decide_on : {"ours", "theirs", "both"}, optional
        Whose values decide the lot; ours if we measured, else theirs.
    supplier : str
        Name of the supplier.
    inputs : sequence of InputFile
        Further files that were read.

    Returns
    -------
    IncomingResult
        Everything a report prints.
    """
    return _Check(report, part, decide, ours, theirs, decide_on, supplier, tuple(inputs)).run()


@dataclass(eq=False)
class _Check:
    report: ReportedTable
    part: Part
    decide: Decide
    ours: MeasuredGears | None
    theirs: MeasuredGears | None
    decide_on: DecideOn | None
    supplier: str
    inputs: tuple[InputFile, ...]

    def run(self) -> IncomingResult:
        self.criteria: Criteria = criteria_of(self.part)
        self.editions = editions_of(self.part)
        self.values = self.report.values
        self.digit = _digits(self.values)
        found = self.ours or self.theirs
        places = found.places() if found is not None else {}
        self.partner = {
            value.serial: name
            for value in self.values
            if (name := (value.our_serial if self.ours is not None else None) or value.serial) in places
        }
        unsigned, explained, found_values, bases = self._explained(found)
        alignments, curves = self._aligned()
        comparison, comparison_reason = self._comparison(explained.result, alignments)
        self.meant = _meant(explained, alignments, self.part.gear.teeth)
        rows = self._rows(found, unsigned, explained, found_values, bases, comparison)
        same, same_reason = same_gears(alignments)
        decision, decided_on, lots = self._decision(unsigned)
        result = IncomingResult(
            supplier=self.supplier,
            part={
                "number": self.part.part.number,
                "name": self.part.part.name,
                "revision": self.part.part.revision,
            },
            standard=self.part.tolerance.standard,
            inputs=self._all_inputs(),
            simulated=self.report.simulated or any(m.simulated for m in (self.ours, self.theirs) if m),
            measured=self.ours is not None,
            comparison=comparison,
            comparison_reason=comparison_reason,
            rows=rows,
            agreement=agreements(rows, self.criteria),
            agreement_explained=agreements(_against_explained(rows), self.criteria),
            explanation=explained.result,
            same_gears=same,
            same_gears_reason=same_reason,
            alignments=alignments,
            curves=curves,
            decision=decision,
            decided_on=decided_on,
            lots=lots,
            reasons=(),
            unmatched=self._unmatched(places),
            not_reported=self._not_reported(),
            cautions=(),
            warnings=self._warnings(),
        )  # fmt: skip
        cautions = cautions_of(result, self.values, bases, self.editions)
        if self.follows_from_theirs and self.ours is not None:
            cautions = (FOLLOWS_FROM_THEIRS, *cautions)
        result = replace(result, cautions=cautions)
        return replace(result, reasons=reasons_of(result))

    # --- found values and explanation -----------------------------------------------------------------

    def _explained(
        self, found: MeasuredGears | None
    ) -> tuple[frozenset[str], Explained, np.ndarray, dict[str, Basis]]:
        """Parameters reported unsigned, the explanation, our values, and the basis of each parameter."""
        nothing = np.full(len(self.values), np.nan)
        self.follows_from_theirs = False
        if found is None or not self.partner:
            none = ExplanationResult(None, "no_raw_data", None, 0, None, (), True, 0)
            return frozenset(), Explained(none, nothing, nothing, {}), nothing, {}
        base = base_setup(self.part, readings=any(gear.runout is not None for gear in found.gears))
        plain, rows = self._predictor(found, frozenset(), {}, ours=self.ours is not None)
        unsigned = _unsigned(plain, plain.predict(base).worst)
        outcome = self._outcome(unsigned)
        settled, rows = self._predictor(found, unsigned, outcome.bases, ours=self.ours is not None)
        reported = np.array([w.reported_um for w in settled.wanted])
        values, _ = chosen(settled.predict(base), settled.wanted, reported)
        return unsigned, outcome, _spread(values, rows, len(self.values)), outcome.bases

    def _outcome(self, unsigned: frozenset[str]) -> Explained:
        """The explanation from the supplier's raw data where they give one, else from ours."""
        outcomes: list[Explained] = []
        named = {value.serial for value in self.values}
        if self.theirs is not None and named & set(self.theirs.places()):
            outcomes.append(self._explain(self.theirs, unsigned, "theirs"))
            self.follows_from_theirs = outcomes[0].result.reason == "no_difference"
        if self.ours is not None and not (outcomes and outcomes[0].result.explained):
            outcomes.append(self._explain(self.ours, unsigned, "ours"))
        return outcomes[-1]

    def _explain(self, data: MeasuredGears, unsigned: frozenset[str], side: Side) -> Explained:
        """The explanation from one side's raw data, spread over all values."""
        predictor, rows = self._predictor(data, unsigned, {}, ours=side == "ours")
        base = base_setup(self.part, readings=any(gear.runout is not None for gear in data.gears))
        outcome = explain(predictor, base, side)
        count = len(self.values)
        before, after = (_spread(values, rows, count) for values in (outcome.before, outcome.after))
        return Explained(outcome.result, before, after, outcome.bases, outcome.setup)

    def _predictor(
        self, data: MeasuredGears, unsigned: frozenset[str], bases: Mapping[str, Basis], *, ours: bool
    ) -> tuple[Predictor, list[int]]:
        """A predictor for the values whose gears are there, and which values these are."""
        places = data.places()
        wanted, rows = [], []
        for row, value in enumerate(self.values):
            serial = self.partner.get(value.serial) if ours else value.serial
            if serial is None or serial not in places:
                continue
            wanted.append(
                Wanted(
                    gear=places[serial],
                    parameter=value.parameter,
                    flank=value.flank,
                    tooth=value.tooth,
                    basis=value.basis or (bases.get(value.parameter, "worst") if bases else None),
                    reported_um=value.value_um,
                    digit_um=self.digit[value.parameter],
                    by_magnitude=value.parameter in unsigned,
                )
            )
            rows.append(row)
        return Predictor(self.part, data.gears, data.results, wanted), rows

    # --- rows -----------------------------------------------------------------------------------------

    def _rows(  # noqa: PLR0917
        self,
        found: MeasuredGears | None,
        unsigned: frozenset[str],
        explained: Explained,
        values: np.ndarray,
        bases: Mapping[str, Basis],
        comparison: Comparison | None,
    ) -> tuple[Row, ...]:
        places = found.places() if found is not None else {}
        rows = []
        for number, value in enumerate(self.values):
            serial = self.partner.get(value.serial)
            gear = found.results[places[serial]] if found is not None and serial is not None else None
            instrument = gear.production.instrument if gear is not None and gear.production else None
            expanded = self.part.uncertainty(value.parameter, instrument) if self.ours is not None else None
            rows.append(
                self._row(
                    value, gear, expanded, float(values[number]), float(explained.after[number]), comparison,
                    value.parameter in unsigned, self._basis(value, bases, gear),
                )
            )  # fmt: skip
        return tuple(rows)

    def _basis(
        self, value: ReportedValue, bases: Mapping[str, Basis], gear: GearResult | None
    ) -> Basis | None:
        if gear is None or value.tooth is not None or value.parameter not in TRACE_KIND:
            return value.basis
        return value.basis or bases.get(value.parameter, "worst")

    def _row(  # noqa: PLR0917
        self,
        value: ReportedValue,
        gear: GearResult | None,
        U: float | None,  # noqa: N803
        found: float,
        explained: float,
        comparison: Comparison | None,
        by_magnitude: bool,
        basis: Basis | None,
    ) -> Row:
        known = bool(np.isfinite(found))
        compared = abs(value.value_um) if by_magnitude else value.value_um
        difference = compared - found if known else None
        half = self.digit[value.parameter] / 2
        both = value.uncertainty_um is not None and U is not None and comparison == "re-measured"
        en = after = None
        if both and difference is not None:
            assert value.uncertainty_um is not None
            assert U is not None
            en = en_number(difference, value.uncertainty_um, U)
            if np.isfinite(explained):
                after = en_number(compared - explained, value.uncertainty_um, U)
        meant = self.meant(value)
        judged = claims.judge(meant, gear, U, self.editions)
        title = edition_named(value.standard)
        edition = self.editions.get(title) if title is not None else None
        ours = () if gear is None else claims.extremes(gear, meant.parameter, meant.flank, meant.tooth, False)
        theirs = (-abs(value.value_um), abs(value.value_um)) if by_magnitude else (value.value_um,)
        return Row(
            serial=value.serial,
            our_serial=gear.serial if gear is not None else None,
            parameter=value.parameter,
            flank=value.flank,
            tooth=value.tooth,
            basis=basis,
            reported_um=value.value_um,
            half_digit_um=half,
            by_magnitude=by_magnitude,
            found_um=found if known else None,
            difference_um=difference,
            explained_um=explained if np.isfinite(explained) else None,
            equal=None if difference is None else abs(difference) <= half + 1e-9,
            u_reported_um=value.uncertainty_um,
            u_found_um=U,
            en=en,
            en_explained=after,
            class_claimed=value.class_,
            class_text=value.class_text,
            standard_claimed=_standard_claimed(value, title),
            class_reported=edition.class_of(value.parameter, value.value_um) if edition else None,
            class_found=judged.class_found,
            beyond=judged.beyond,
            class_found_as_claimed=judged.class_found_as_claimed,
            tolerance_claimed_um=judged.tolerance_um,
            pc=judged.pc,
            claim=judged.claim,
            claim_flank=meant.flank,
            claim_reason=judged.reason,
            judged_um=max(ours, key=abs, default=None),
            reported_state=claims.drawing_state(
                self.criteria, value.parameter, value.flank, theirs, value.uncertainty_um
            ),
            found_state=claims.drawing_state(self.criteria, value.parameter, meant.flank, ours, U),
        )

    # --- same gears, same data ------------------------------------------------------------------------

    def _aligned(self) -> tuple[tuple[GearAlignment, ...], tuple[CurvePair, ...]]:
        if self.ours is None or self.theirs is None:
            return (), ()
        theirs = {gear.serial: gear for gear in self.theirs.gears}
        ours = {gear.serial: gear for gear in self.ours.gears}
        partner = {serial: name for serial, name in self.partner.items() if serial in theirs}
        gear = self.part.gear
        return align(theirs, ours, partner, gear.teeth, gear.face_width_mm)

    def _comparison(
        self, explanation: ExplanationResult, alignments: Sequence[GearAlignment]
    ) -> tuple[Comparison | None, str]:
        if not self.partner:
            return None, "nothing_measured"
        if self.ours is None:
            return "same data", "their_data_only"
        if alignments:
            identical = all(one.identical for one in alignments)
            return ("same data", "identical_curves") if identical else ("re-measured", "values_differ")
        left = explanation.rms_before_um
        if explanation.explained and explanation.explanations:
            left = explanation.explanations[0].rms_after_um
        fine = max(self.digit.values(), default=1.0) <= DIGIT_OF_REPEATS_UM
        if left is not None and left <= SAME_UM and explanation.n >= ENOUGH_VALUES and fine:
            return "same data", "agrees_to_the_digit"
        return "re-measured", "values_differ"

    # --- decision -------------------------------------------------------------------------------------

    def _decision(self, unsigned: frozenset[str]) -> tuple[LotDecision, DecideOn, dict[Side, LotResult]]:
        decide_on: DecideOn = self.decide_on or ("ours" if self.ours is not None else "theirs")
        lots: dict[Side, LotResult] = {}
        if decide_on in {"ours", "both"} and self.ours is not None:
            header = grade_header(self.part, self.ours.inputs, self.ours.simulated, self.ours.notices)
            lots["ours"] = self.decide(header, self.part, self.ours.results)
        if decide_on in {"theirs", "both"} or not lots:
            part = with_reported_uncertainty(self.part, self.values)
            header = grade_header(part, (self.report.file,), self.report.simulated, self.report.notices)
            gears = reported_gears(self.values, part, self.criteria, unsigned)
            lots["theirs"] = self.decide(header, part, gears)
        decision = max((lot.decision for lot in lots.values()), key=lambda one: _STRICTER[one])
        return decision, decide_on, lots

    # --- the rest -------------------------------------------------------------------------------------

    def _unmatched(self, places: Mapping[str, int]) -> tuple[Unmatched, ...]:
        if not places:
            return ()
        found = []
        for value in {v.serial: v for v in self.values}.values():
            if value.serial in self.partner:
                continue
            wanted = value.our_serial or value.serial
            near = difflib.get_close_matches(wanted, list(places), n=1, cutoff=0.5)
            nearest = near[0] if near else None
            bare = wanted.lstrip("0").casefold()
            twin = next((name for name in places if name.lstrip("0").casefold() == bare), None)
            hint = "differs by leading zeros or case" if twin else ""
            found.append(Unmatched(value.serial, twin or nearest, hint))
        return tuple(found)

    def _not_reported(self) -> tuple[str, ...]:
        named = set(self.partner.values())
        return tuple(name for name in (self.ours.places() if self.ours else ()) if name not in named)

    def _all_inputs(self) -> tuple[InputFile, ...]:
        files = [self.report.file, *self.inputs]
        for side in (self.ours, self.theirs):
            files += side.inputs if side is not None else ()
        return tuple(files)

    def _warnings(self) -> tuple[Notice, ...]:
        notices = [*self.report.notices]
        for side in (self.ours, self.theirs):
            notices += side.notices if side is not None else ()
        return tuple(dict.fromkeys(notices))


def _meant(
    explained: Explained, alignments: Sequence[GearAlignment], z: int
) -> Callable[[ReportedValue], ReportedValue]:
    """Which flank and tooth of ours a reported value is about, once the difference is explained."""
    setup = explained.setup
    if setup is None:
        return lambda value: value
    swapped = setup.swapped
    if explained.result.data == "theirs":
        turned = [one.flanks_swapped for one in alignments if one.same and one.flanks_swapped is not None]
        swapped ^= bool(turned) and all(turned)

    def meant(value: ReportedValue) -> ReportedValue:
        flank, tooth = value.flank, value.tooth
        if swapped and flank is not None:
            flank = "right" if flank == "left" else "left"
        if tooth is not None and explained.result.data == "ours":
            tooth = ((2 - tooth if setup.reversed else tooth) + setup.shift - 1) % z + 1
        return replace(value, flank=flank, tooth=tooth)

    return meant


def _standard_claimed(value: ReportedValue, title: str | None) -> str | None:
    """Edition of a claim; a number without one is taken as the drawing's, words are not."""
    if value.class_text and title is not None and (value.class_ is not None or value.standard is not None):
        return title
    return value.standard


def _digits(values: Sequence[ReportedValue]) -> dict[str, float]:
    """Last digit typed of every parameter's values: trailing zeros may have been dropped from some. [um]"""
    decimals: dict[str, int] = {}
    for value in values:
        decimals[value.parameter] = max(decimals.get(value.parameter, value.decimals), value.decimals)
    return {key: 10.0**-number for key, number in decimals.items()}


def _unsigned(predictor: Predictor, found: np.ndarray) -> frozenset[str]:
    """Slopes that were reported without sign: never negative, although ours are."""
    keys = set()
    for key in {one.parameter for one in predictor.wanted}:
        if not PARAMETERS[key].signed:
            continue
        own = [place for place, one in enumerate(predictor.wanted) if one.parameter == key]
        reported = [predictor.wanted[place].reported_um for place in own]
        ours = [found[place] for place in own if np.isfinite(found[place])]
        digit = predictor.wanted[own[0]].digit_um
        if ours and min(reported) >= 0 and min(ours) < -digit:
            keys.add(key)
    return frozenset(keys)


def _spread(values: np.ndarray, rows: Sequence[int], count: int) -> np.ndarray:
    out = np.full(count, np.nan)
    out[list(rows)] = values
    return out


def _against_explained(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Rows with the prediction of the best explanation in place of the found value."""
    return tuple(
        replace(
            row,
            found_um=row.explained_um,
            difference_um=(abs(row.reported_um) if row.by_magnitude else row.reported_um) - row.explained_um,
        )
        for row in rows
        if row.explained_um is not None
    )


__all__ = ["Decide", "Edition", "MeasuredGears", "check_report"]
