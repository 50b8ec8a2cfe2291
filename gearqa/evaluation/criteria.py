"""What the drawing asks of each parameter on each flank, and the verdict on a value."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Final, NamedTuple

from gearqa.errors import EvaluationError
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.late_dataclass import dataclass
from gearqa.model.part import Part
from gearqa.model.results import State
from gearqa.standards import tolerance_rows
from gearqa.standards.rows import ToleranceRow
from gearqa.symbols import FLANKS, PARAMETERS, Flank

NINTH: Final = 9
"""Values are compared with limits after rounding to nine decimals, so that binary noise decides nothing."""
EQUAL: Final = 0.5 * 10**-NINTH
"""Values that differ by less are equal at nine decimals: the first place is then the worst."""


class Judgement(NamedTuple):
    """Class and verdicts of one value; None, and not beyond, where the drawing asks nothing."""

    class_: int | None
    class_exact: float | None
    beyond: bool
    conforms: bool | None
    master_quality: bool | None
    state: State | None = None
    """Under the measurement uncertainty, before the decision rule."""
    master_state: State | None = None

    def open_unless_failed(self) -> Judgement:
        """The verdict when not all could be measured: a failure remains, a pass is open."""

        def open_(state: State | None) -> State | None:
            return state if state in (None, "does not conform") else "not assessed"

        return self._replace(
            conforms=self.conforms and None, master_quality=self.master_quality and None,
            state=open_(self.state), master_state=open_(self.master_state),
        )  # fmt: skip


OneSidedLimits = tuple[float | None, float]
"""Lower limit (None: there is none) and upper limit. [um]"""
BY_VALUE: Final[Mapping[bool | None, State | None]] = {
    True: "conforms", False: "does not conform", None: None,
}  # fmt: skip
"""Verdict on a value as it is -> its state where no uncertainty is known."""
NOT_GRADED = Judgement(None, None, beyond=False, conforms=None, master_quality=None)


@dataclass(frozen=True)
class Criterion:
    """What one parameter on one flank must meet."""

    signed: bool
    required: bool
    """Counts for class and conformity."""
    for_master: bool
    """Counts for master quality."""
    row: ToleranceRow | None
    """Tolerances over the classes; None where the standard has none."""
    required_class: int | None
    tolerance: float | None
    limits: tuple[float, float] | None
    master_tolerance: float | None

    @cached_property
    def graded(self) -> bool:
        """Whether the value gets a class at all."""
        return self.required or self.for_master

    def class_of(self, value: float) -> int | None:
        """Class of a value; None beyond the last, or where the standard has none."""
        return None if self.row is None else self.row.class_of(value)

    def judge(self, value: float, low: float, high: float) -> Judgement:
        """Judge the value of largest magnitude; drawing limits judge smallest and largest value."""
        if not self.graded:
            return NOT_GRADED
        row = self.row
        magnitude = round(abs(value), NINTH)
        class_ = None if row is None else row.class_at(magnitude)
        conforms: bool | None = None
        if self.required:
            if self.limits is not None:
                conforms = self.limits[0] <= round(low, NINTH) and round(high, NINTH) <= self.limits[1]
            else:
                assert self.tolerance is not None
                conforms = magnitude <= self.tolerance
        master = None if self.master_tolerance is None else magnitude <= self.master_tolerance
        exact = None if row is None else row.exact(value)
        beyond = row is not None and class_ is None
        return Judgement(class_, exact, beyond, conforms, master, BY_VALUE[conforms], BY_VALUE[master])

    @property
    def drawing_limits(self) -> OneSidedLimits | None:
        """Limits of the drawing; 0 is no limit of what cannot be negative. None where it asks nothing."""
        if self.limits is not None:
            lower, upper = self.limits
            return (lower if self.signed or lower > 0 else None, upper)
        if self.tolerance is None:
            return None
        return (-self.tolerance if self.signed else None, self.tolerance)

    def near_limit(self, value: float, low: float, high: float, uncertainty: float) -> bool:
        """Whether a limit lies within the uncertainty of the value."""
        if self.limits is None:
            return self.tolerance is not None and abs(abs(value) - self.tolerance) <= uncertainty
        limits = self.drawing_limits or ()
        return any(
            abs(v - limit) <= uncertainty for v in (low, high) for limit in limits if limit is not None
        )


@dataclass(frozen=True, slots=True)
class Criteria:
    """All criteria of a part, by parameter and flank."""

    of: Mapping[tuple[str, Flank | None], Criterion]
    """By parameter key and flank; None for what has no flank."""
    places: Mapping[str, tuple[tuple[Flank | None, Criterion], ...]]
    """Parameter key -> its flanks, left before right, each with its criterion."""
    graded_flanks: tuple[Flank, ...]
    required: tuple[str, ...]
    for_master: tuple[str, ...]
    asked: tuple[str, ...]
    """What the drawing or the job asks for, in table order."""

    def drawing_limits(self, parameter: str, flank: Flank | None) -> list[OneSidedLimits]:
        """Limits of the drawing for a parameter: of one flank, or of each where none is named. [um]"""
        criteria = [criterion for side, criterion in self.places[parameter] if flank in (None, side)]
        return [limits for one in criteria if (limits := one.drawing_limits) is not None]


def rows_of(part: Part) -> Mapping[str, ToleranceRow]:
    """Tolerances over the classes of a part's standard; raises OutOfScopeError outside its range."""
    geometry = part_geometry(part)
    size = (geometry.z, geometry.m_n, geometry.d, geometry.b)
    return tolerance_rows(part.tolerance.standard, *size, part.gear.helix_angle_deg)


class Untold(NamedTuple):
    """What a drawing asks of its standard and the standard, as far as it is here, does not say."""

    key: str
    text: str
    hint: str


def untold(part: Part, rows: Mapping[str, ToleranceRow]) -> list[Untold]:
    """Classes that a drawing asks for and for which there is no tolerance: one entry a key of the file."""
    tolerance, title = part.tolerance, part.tolerance.standard
    lacking: dict[str, dict[int, list[str]]] = {}
    for key in PARAMETERS:
        asked = [
            tolerance.class_for(key, flank)
            for flank in (tolerance.flanks if PARAMETERS[key].per_flank else (None,))
            if key in tolerance.required and tolerance.limits_for(key, flank) is None
        ]
        place = "tolerance.parameters"
        if key in part.master_parameters:
            asked.append(part.master_quality.class_)
            place = place if len(asked) > 1 else "master_quality.parameters"
        row = rows.get(key)
        for class_ in dict.fromkeys(one for one in asked if one is not None):
            if row is None or row.tolerance(class_) is None:
                lacking.setdefault(place, {}).setdefault(class_, []).append(key)
    known = ", ".join(key for key in PARAMETERS if key in rows)
    hint = f"there: {known}; or limits under [tolerance.limits_um]"
    word = part.edition.word
    return [
        Untold(place, f"no tolerance in {title} for this gear of {_asked_text(asked, word)}", hint)
        for place, asked in lacking.items()
    ]


def _asked_text(asked: Mapping[int, list[str]], word: str) -> str:
    return "; ".join(f"{word} {class_} in {', '.join(keys)}" for class_, keys in asked.items())


def criteria_of(part: Part) -> Criteria:
    """Criteria of a part; raises OutOfScopeError for a gear outside the standard's range."""
    rows = rows_of(part)
    if missing := untold(part, rows):
        raise EvaluationError(missing[0].text, hint=missing[0].hint)
    required, for_master = part.tolerance.required, part.master_parameters
    graded_flanks: tuple[Flank, ...] = tuple(flank for flank in FLANKS if flank in part.tolerance.flanks)

    def criterion(key: str, flank: Flank | None) -> Criterion:
        graded = flank is None or flank in graded_flanks
        counts, master = key in required and graded, key in for_master and graded
        limits = part.tolerance.limits_for(key, flank) if counts else None
        by_class = part.tolerance.class_for(key, flank) if counts and limits is None else None
        row = rows.get(key)
        return Criterion(
            signed=PARAMETERS[key].signed,
            required=counts,
            for_master=master,
            row=row,
            required_class=by_class,
            tolerance=None if by_class is None or row is None else row.tolerance(by_class),
            limits=limits,
            master_tolerance=row.tolerance(part.master_quality.class_) if master and row else None,
        )

    places: dict[str, tuple[tuple[Flank | None, Criterion], ...]] = {
        key: tuple((flank, criterion(key, flank)) for flank in (FLANKS if parameter.per_flank else (None,)))
        for key, parameter in PARAMETERS.items()
    }
    return Criteria(
        of={(key, flank): one for key, ones in places.items() for flank, one in ones},
        places=places,
        graded_flanks=graded_flanks,
        required=required,
        for_master=for_master,
        asked=tuple(key for key in PARAMETERS if key in required or key in for_master),
    )


def all_of(verdicts: list[bool | None]) -> bool | None:
    """False if any is false, else None if any is open, else True; None of nothing."""
    if False in verdicts:
        return False
    return None if None in verdicts or not verdicts else True
