"""Both sides of a comparison: reported values, our gears and theirs, and which belongs to which."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array
from gearqa.errors import Notice
from gearqa.incoming.predictions import NEARLY_TIED, TIE_UM, Predictor, Target
from gearqa.incoming.serial_numbers import partners_by_number, trailing_number
from gearqa.incoming.settings import Setup, base_setup
from gearqa.model.incoming import Basis, ReportedTable, ReportedValue, Side, Unmatched
from gearqa.model.measurement import GearMeasurement, InputFile
from gearqa.model.part import Part
from gearqa.model.results import GearResult


@dataclass(frozen=True, eq=False, slots=True)
class MeasuredGears:
    """Gears of one side, measured and graded."""

    gears: tuple[GearMeasurement, ...]
    results: tuple[GearResult, ...]
    inputs: tuple[InputFile, ...] = ()
    simulated: bool = False
    notices: tuple[Notice, ...] = ()
    again: tuple[GearResult, ...] = ()
    """Further measurements of these gears, for the decision on the lot alone."""

    def places(self) -> dict[str, int]:
        """Place of every gear by its serial."""
        return {gear.serial: place for place, gear in enumerate(self.gears)}

    def setup(self, part: Part) -> Setup:
        """How these gears are evaluated: as the drawing says."""
        return base_setup(part, readings=any(gear.runout is not None for gear in self.gears))


@dataclass(frozen=True, eq=False, slots=True)
class Sides:
    """What a comparison starts from."""

    report: ReportedTable
    part: Part
    ours: MeasuredGears | None
    """What we measured."""
    theirs: MeasuredGears | None
    """The supplier's raw data, evaluated as the drawing says."""
    partner: Mapping[str, str]
    """Reported serial -> serial of the gear it is compared with."""
    digits: Mapping[str, float]
    """Last digit typed of every parameter's values. [um]"""
    by_number: bool = False
    """Serials were matched by the number at their end."""

    @classmethod
    def of(
        cls, report: ReportedTable, part: Part, ours: MeasuredGears | None, theirs: MeasuredGears | None
    ) -> Sides:
        """Match reported serials with measured gears: ours, or theirs where we measured nothing."""
        compared = ours or theirs
        places = compared.places() if compared is not None else {}
        partner = {
            value.serial: name
            for value in report.values
            if (name := (value.our_serial if ours is not None else None) or value.serial) in places
        }
        by_number: Mapping[str, str] = {}
        if compared is not None and not partner and not any(value.our_serial for value in report.values):
            by_number = partners_by_number(report.values, compared.results)
        return cls(report, part, ours, theirs, by_number or partner, _digits(report.values), bool(by_number))

    @property
    def values(self) -> tuple[ReportedValue, ...]:
        """The reported values."""
        return self.report.values

    @property
    def compared(self) -> MeasuredGears | None:
        """The gears that the report is compared with."""
        return self.ours or self.theirs

    def gears_by_serial(self) -> dict[str, GearResult]:
        """Graded gears of reported serials that have a partner."""
        if self.compared is None:
            return {}
        places = self.compared.places()
        return {serial: self.compared.results[places[name]] for serial, name in self.partner.items()}

    def predictor(
        self, side: Side, unsigned: frozenset[str] = frozenset(), bases: Mapping[str, Basis] | None = None
    ) -> tuple[Predictor, list[int]]:
        """A predictor of the values whose gears are there, and which values these are."""
        data = self.ours if side == "ours" else self.theirs
        assert data is not None
        places = data.places()
        targets, rows = [], []
        for row, value in enumerate(self.values):
            serial = self.partner.get(value.serial) if side == "ours" else value.serial
            if serial is None or serial not in places:
                continue
            rows.append(row)
            targets.append(
                Target(
                    gear=places[serial],
                    parameter=value.parameter,
                    flank=value.flank,
                    tooth=value.tooth,
                    basis=value.basis or (bases.get(value.parameter, "worst") if bases else None),
                    reported_um=value.value_um,
                    digit_um=self.digits[value.parameter],
                    by_magnitude=value.parameter in unsigned,
                    tie_um=self._tie(value),
                )
            )
        return Predictor(self.part, data.gears, data.results, targets), rows

    def _tie(self, value: ReportedValue) -> float:
        """By how much the larger of two ends may change from one side's measurement to the other's. [um]"""
        ours, theirs = self.part.uncertainty(value.parameter), value.uncertainty_um
        if ours is None and theirs is None:
            return TIE_UM
        return NEARLY_TIED * math.hypot(ours or theirs or 0.0, theirs or ours or 0.0)

    def over_all(self, values: Array, rows: Sequence[int]) -> Array:
        """Values of some rows spread over all reported values, NaN elsewhere."""
        out = np.full(len(self.values), np.nan)
        out[list(rows)] = values
        return out

    def unmatched(self) -> tuple[Unmatched, ...]:
        """Reported serials without a measured gear, each with the nearest."""
        names = list(self.compared.places()) if self.compared is not None else []
        if not names:
            return ()
        found = []
        for value in {v.serial: v for v in self.values}.values():
            if value.serial in self.partner:
                continue
            wanted = value.our_serial or value.serial
            near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
            bare = wanted.lstrip("0").casefold()
            twin = next((name for name in names if name.lstrip("0").casefold() == bare), None)
            hint = "differs by leading zeros or case" if twin else ""
            number = trailing_number(wanted)
            alike = [name for name in names if number is not None and trailing_number(name) == number]
            if twin is None and len(alike) == 1:
                twin, hint = (
                    alike[0],
                    "ends with the same number, but the values do not show that it is the same",
                )
            found.append(Unmatched(value.serial, twin or (near[0] if near else None), hint))
        return tuple(found)

    def not_reported(self) -> tuple[str, ...]:
        """Serials of ours that the report does not name."""
        named = set(self.partner.values())
        return tuple(name for name in (self.ours.places() if self.ours else ()) if name not in named)


def _digits(values: Sequence[ReportedValue]) -> dict[str, float]:
    """Trailing zeros may have been dropped from some values: the finest of a parameter counts."""
    decimals: dict[str, int] = {}
    for value in values:
        decimals[value.parameter] = max(decimals.get(value.parameter, value.decimals), value.decimals)
    return {key: 10.0**-number for key, number in decimals.items()}
