"""Gears of one part taken apart: fine shapes first, then the joint fit, then what each component costs."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from gearqa.diagnosis.alike import traced_teeth, without_shapes_of_waves
from gearqa.diagnosis.causes import causes_of
from gearqa.diagnosis.components import Piece, pieces_of
from gearqa.diagnosis.corrections import corrections_of
from gearqa.diagnosis.decomposition import FAMILY_RISK, Decomposition, Plans, decompose
from gearqa.diagnosis.fine_shapes import FineSearch, FineShape
from gearqa.diagnosis.hidden import naming_plan, not_identifiable
from gearqa.diagnosis.ladder import corrected, ladder, lot_shares, rung_of, shares
from gearqa.diagnosis.lot_labels import labels_shared
from gearqa.diagnosis.lot_pieces import in_gear, lot_pieces
from gearqa.diagnosis.machine import machines_of, with_machine
from gearqa.diagnosis.mountings import mounting_notice
from gearqa.diagnosis.order_spectrum import order_spectrum
from gearqa.diagnosis.removal import without
from gearqa.diagnosis.trusted import as_they_stand, trusted, warnings_of
from gearqa.diagnosis.unnamed import with_aliases, without_what_waves_make
from gearqa.diagnosis.views import views_of
from gearqa.evaluation.evaluate import evaluate_with
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import GearDiagnosis, LotDiagnosis, SharedBy
from gearqa.model.measurement import GearMeasurement
from gearqa.model.results import GearResult

MOUNTING_RISK: Final = 0.001
"""Chance of a warning of two mountings where there was one."""
FINE_RISK: Final = FAMILY_RISK / 2
"""Chance that ripple or a turned end is named in a report on gears without."""
SEARCHES: Final = 8
"""Searches for fine shapes in a gear: ripple and ends, profile and helix, both flanks."""


def diagnose_gears(
    gears: Iterable[GearMeasurement],
    setup: PartSetup,
    *,
    threads: int | None = None,
) -> tuple[tuple[GearDiagnosis, ...], LotDiagnosis]:
    """Take gears apart, each by itself and what they have in common.

    Parameters
    ----------
    gears : iterable of GearMeasurement
        Gears of one part.
    setup : PartSetup
        The part.
    threads : int, optional
        Threads of the grinding wheel, instead of those that the part file gives by grinder.

    Returns
    -------
    tuple of GearDiagnosis, and LotDiagnosis
        In the order of the gears.
    """
    given = list(gears)
    graded = [result for _, result in evaluate_with(given, setup)]
    measured, setup = trusted(given, setup), as_they_stand(setup)
    search = FineSearch(setup, FINE_RISK / SEARCHES / max(1, len(measured)))
    taken_apart, pieces, fits = _apart(measured, graded, search, {}, threads)
    shared_by = labels_shared(fits, setup)
    return taken_apart, _lot(measured, graded, taken_apart, pieces, fits, shared_by, setup)


class GearByGear:
    """Takes gears of one part apart, each as if it were alone; what they share is worked out once."""

    def __init__(self, setup: PartSetup) -> None:
        self._given = setup
        self._search = FineSearch(as_they_stand(setup), FINE_RISK / SEARCHES)
        self._plans: Plans = {}

    def of(self, gear: GearMeasurement) -> GearDiagnosis:
        """One gear."""
        graded = [result for _, result in evaluate_with([gear], self._given)]
        ((found,), _, _) = _apart(trusted([gear], self._given), graded, self._search, self._plans, None)
        return found


def _apart(
    measured: Sequence[GearMeasurement],
    graded: Sequence[GearResult],
    search: FineSearch,
    plans: Plans,
    threads: int | None,
) -> tuple[tuple[GearDiagnosis, ...], list[list[Piece]], list[Decomposition]]:
    """Gears of trusted readings taken apart, and the errors found in each, with the joint fits."""
    setup = search.setup
    fine = [search.of(gear) for gear in measured]
    smooth = [
        without(gear, [(one.effect, one.amplitudes) for one in shapes], setup)
        for gear, shapes in zip(measured, fine, strict=True)
    ]
    machines = machines_of(measured, setup.part, threads)
    fits = decompose(smooth, setup, threads=[machine.wheel_threads for machine in machines], plans=plans)
    pieces = [
        with_machine(with_aliases(pieces_of(fit, shapes, setup), gear, setup), machine, setup)
        for gear, fit, shapes, machine in zip(measured, fits, fine, machines, strict=True)
    ]
    risk = MOUNTING_RISK / max(1, len(measured))
    taken_apart = tuple(
        _gear(*one, setup, risk) for one in zip(measured, graded, fits, fine, pieces, strict=True)
    )
    return taken_apart, pieces, fits


def _gear(
    gear: GearMeasurement,
    raw: GearResult,
    fit: Decomposition,
    fine: Sequence[FineShape],
    pieces: Sequence[Piece],
    setup: PartSetup,
    mounting_risk: float,
) -> GearDiagnosis:
    pieces, alike = without_shapes_of_waves(pieces, traced_teeth(fit.layout.traces), setup)
    pieces, made = without_what_waves_make(pieces, fit, naming_plan(setup.geometry.z))
    real = [one for one in pieces if one.component.significant]
    explained = shares(gear, raw, real, setup)
    told = [
        replace(one, component=replace(one.component, explains=share))
        for one, share in zip(real, explained, strict=True)
    ]
    told.sort(key=lambda one: -_weight(one.component.explains, [raw]))
    rest = [one.component for one in pieces if not one.component.significant]
    differs = mounting_notice(fit, setup, mounting_risk)
    changes = corrections_of(told, setup, [raw])
    return GearDiagnosis(
        serial=gear.serial,
        class_=raw.class_,
        beyond=raw.beyond,
        master_quality=raw.master_quality,
        components=tuple([one.component for one in told] + rest),
        not_identifiable=(*alike, *made, *not_identifiable(fit, fine, setup)),
        ladder=ladder([(gear, told)], setup),
        corrections=changes,
        corrected=corrected([gear], changes, setup),
        causes=causes_of([one.component for one in told]),
        orders=order_spectrum(fit, setup),
        scatter_um=fit.scatter,
        warnings=(*warnings_of(raw), *([] if differs is None else [differs])),
        views=views_of(gear, pieces, setup),
    )


def _weight(explains: Mapping[str, float], raw: Sequence[GearResult]) -> float:
    """Largest part of a tolerance that a component uses up, of some gears the worst."""
    used = [0.0]
    for key, share in explains.items():
        exact = [result.parameters[key].class_exact for result in raw if key in result.parameters]
        used += [share * 2 ** (one / 2) for one in exact if one is not None]
    return max(used)


def _lot(
    measured: Sequence[GearMeasurement],
    graded: Sequence[GearResult],
    gears: Sequence[GearDiagnosis],
    pieces: Sequence[Sequence[Piece]],
    fits: Sequence[Decomposition],
    shared_by: tuple[SharedBy, ...],
    setup: PartSetup,
) -> LotDiagnosis:
    linked = {(one.key, one.flank, one.order) for one in shared_by}
    common = [_not_new_on_each(one, linked) for one in lot_pieces(pieces, setup)]
    common, alike = without_shapes_of_waves(
        common, traced_teeth(fits[0].layout.traces) if fits else {}, setup
    )
    real = [one for one in common if one.component.significant]
    taken = [[in_gear(one, own) for own in pieces] for one in real]
    explained = lot_shares(measured, graded, taken, setup)
    real = [
        replace(one, component=replace(one.component, explains=share))
        for one, share in zip(real, explained, strict=True)
    ]
    real.sort(key=lambda one: -_weight(one.component.explains, graded))
    changes = corrections_of(real, setup, graded)
    raw = rung_of((), graded)
    hidden = {(one.key, one.reason): one for one in alike}
    for gear in gears:
        for one in gear.not_identifiable:
            hidden.setdefault((one.key, one.reason), one)
    return LotDiagnosis(
        gears=len(measured),
        class_=raw.class_,
        beyond=raw.beyond,
        master_quality=raw.master_quality,
        components=tuple(
            one.component for one in (*real, *(one for one in common if not one.component.significant))
        ),
        not_identifiable=tuple(hidden.values()),
        ladder=ladder(
            [
                (gear, [piece for in_gears in taken for piece in in_gears[number]])
                for number, gear in enumerate(measured)
            ],
            setup,
        ),
        corrections=changes,
        corrected=corrected(measured, changes, setup),
        causes=causes_of([one.component for one in real]),
        shared_by=shared_by,
    )


def _not_new_on_each(one: Piece, linked: Container[tuple[object, ...]]) -> Piece:
    """What goes with a label does not point in another direction on every gear."""
    c = one.component
    if c.origin != "clamping" or (c.key, c.flank, c.order) not in linked:
        return one
    return replace(one, component=replace(c, origin=None))
