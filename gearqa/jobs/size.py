"""Size of the teeth of a gear: nominal and limits, of balls, span and thickness, each from the other."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final, Literal, get_args

from gearqa.core.geometry import GearGeometry, diameter_at_roll, gear_geometry
from gearqa.core.size import (
    ball_contact,
    ball_dimension,
    ball_touching_reference,
    chord_of_thickness,
    constant_chord,
    nominal_span,
    shift_of_balls,
    shift_of_span,
    shift_of_thickness,
    span_contact_diameter,
    teeth_to_span,
    thickness_of_shift,
)
from gearqa.errors import ArgumentError, GearqaError, Notice, NoticeCode
from gearqa.jobs.folders import drawing_of
from gearqa.jobs.parameters import require_within
from gearqa.model.part import Part
from gearqa.model.ranges import (
    HELIX_ANGLE_DEG,
    LARGEST,
    LENGTH_MM,
    PRESSURE_ANGLE_DEG,
    PROFILE_SHIFT,
    TEETH,
    Range,
)
from gearqa.model.size import LimitsOf, SizedGear, SizeRow, Teeth, ToothSize
from gearqa.wording.numbers import fixed_text, short_text

BALL_STEP_MM: Final = 0.25
"""Balls that nobody named come in such steps."""


def tooth_size(
    *,
    part: str | Path | None = None,
    kind: Literal["external", "internal"] = "external",
    teeth: int | None = None,
    module: float | None = None,
    pressure_angle: float = 20.0,
    helix_angle: float = 0.0,
    profile_shift: float | None = None,
    catalogue_shift: float | None = None,
    ball: float | None = None,
    teeth_spanned: int | None = None,
    tip_diameter: float | None = None,
    limits_of: LimitsOf | None = None,
    lower: float | None = None,
    upper: float | None = None,
) -> ToothSize:
    """Nominal size of the teeth, and their limits from limits of thickness, balls or span.

    Parameters
    ----------
    part : str or Path, optional
        Part file, or a folder with one, instead of the sizes; its [tolerance.size] gives the limits.
    kind : str
        "external" or "internal".
    teeth : int, optional
        Number of teeth.
    module : float, optional
        Normal module. [mm]
    pressure_angle, helix_angle : float
        At the reference circle, normal section. [deg]
    profile_shift : float, optional
        Coefficient with the sign of ISO 21771.
    catalogue_shift : float, optional
        Coefficient with the sign of catalogues, opposite for internal gears.
    ball : float, optional
        Ball or pin diameter; without it one that touches near the reference circle. [mm]
    teeth_spanned : int, optional
        Teeth spanned, external gears only.
    tip_diameter : float, optional
        For the heights of chords, and to check that balls and span touch below it. [mm]
    limits_of : str, optional
        What the limits are of: "thickness" [mm], "allowance" [um], "balls" [mm], "span" [mm].
    lower, upper : float, optional
        Limits.

    Returns
    -------
    ToothSize
        A row for nominal, thinnest and thickest teeth.

    Raises
    ------
    ArgumentError
        Sizes that do not go together.
    GearqaError
        A size is missing, or balls do not touch the flanks.

    Examples
    --------
    Handbook table: spur gear m 1, z 20, pin 1.7: 22.2941 mm.

    >>> round(tooth_size(teeth=20, module=1.0, ball=1.7).rows[0].balls_mm, 4)
    22.2941
    """
    drawing = None if part is None else drawing_of(part)
    sizes = (teeth, module, profile_shift, catalogue_shift, tip_diameter)
    if drawing is not None and any(one is not None for one in sizes):
        raise ArgumentError("part", "give either --part or the sizes of the gear")
    if drawing is None:
        gear = _of_sizes(
            kind, teeth, module, pressure_angle, helix_angle,
            _shift(kind, profile_shift, catalogue_shift), tip_diameter,
        )  # fmt: skip
    else:
        gear = _of_drawing(drawing)
    geometry = _geometry(gear)
    asked = None if drawing is None else drawing.tolerance.size
    if asked is not None:
        ball = asked.pin_diameter_mm if ball is None else ball
        teeth_spanned = asked.teeth_spanned if teeth_spanned is None else teeth_spanned
        balls = asked.method == "balls"
        same = ball == asked.pin_diameter_mm if balls else teeth_spanned == asked.teeth_spanned
        if same and limits_of is None and lower is None and upper is None:
            limits_of, lower, upper = asked.method, asked.lower_mm, asked.upper_mm
    if ball is None:
        ball = max(BALL_STEP_MM, round(ball_touching_reference(geometry) / BALL_STEP_MM) * BALL_STEP_MM)
    require_within("ball", ball, LENGTH_MM)
    spanned = _spanned(geometry, teeth_spanned)
    given = (lower, upper)
    shifts: list[tuple[Teeth, float]] = [("nominal", gear.profile_shift_coefficient)]
    if limits_of is not None:
        ends = sorted(_shifts(geometry, ball, spanned, limits_of, *given))
        shifts += [("thinnest", ends[0]), ("thickest", ends[1])]
    elif given != (None, None):
        raise ArgumentError("limits_of", f"say what the limits are of: {', '.join(get_args(LimitsOf))}")
    rows = tuple(_row(name, geometry, gear.tip_diameter_mm, x, ball, spanned) for name, x in shifts)
    found = tuple(_cautions(gear, geometry, ball, rows))
    return ToothSize(gear, ball, spanned, limits_of, tuple(_on_flank(row, gear) for row in rows), found)


def _shift(kind: str, iso: float | None, catalogue: float | None) -> float:
    if iso is not None and catalogue is not None:
        raise ArgumentError("catalogue_shift", "give either --profile-shift or --catalogue-shift")
    require_within("profile_shift", iso, PROFILE_SHIFT)
    require_within("catalogue_shift", catalogue, PROFILE_SHIFT)
    if catalogue is not None:
        return -catalogue if kind == "internal" else catalogue
    return iso or 0.0


def _of_sizes(
    kind: Literal["external", "internal"], teeth: int | None, module: float | None, pressure_angle: float,
    helix_angle: float, x: float, tip: float | None,
) -> SizedGear:  # fmt: skip
    if teeth is None or module is None:
        named = (("--teeth", teeth), ("--module", module))
        missing = ", ".join(name for name, value in named if value is None)
        raise GearqaError(f"missing: {missing}", hint="Or give --part FILE. Help: gearqa size --help")
    require_within("teeth", teeth, replace(TEETH, low=3))
    require_within("module", module, LENGTH_MM)
    require_within("pressure_angle", pressure_angle, PRESSURE_ANGLE_DEG)
    require_within("helix_angle", helix_angle, HELIX_ANGLE_DEG)
    require_within("tip_diameter", tip, LENGTH_MM)
    d = teeth * module / math.cos(math.radians(helix_angle))
    farthest = max(2.0, 2 + 2 * abs(x)) * module
    if (
        tip is not None
        and not -0.5 * farthest <= (tip - d if kind == "external" else d - tip) <= 2 * farthest
    ):
        where = "outside" if kind == "external" else "inside"
        raise ArgumentError(
            "tip_diameter", f"{short_text(tip)} mm is no tip of this gear: it lies about one module {where} "
            f"the reference circle of {fixed_text(d, 3)} mm",
        )  # fmt: skip
    return SizedGear(kind, teeth, module, pressure_angle, helix_angle, x, tip, None, None)


def _of_drawing(part: Part) -> SizedGear:
    g = part.gear
    return SizedGear(
        g.kind, g.teeth, g.module_mm, g.normal_pressure_angle_deg, g.helix_angle_deg,
        g.profile_shift_coefficient, g.tip_diameter_mm, g.root_diameter_mm, g.face_width_mm,
        part.evaluation.profile.control_diameter_mm, part.evaluation.profile.tip_form_diameter_mm,
    )  # fmt: skip


def _geometry(gear: SizedGear) -> GearGeometry:
    return gear_geometry(
        gear.teeth, gear.normal_module_mm, math.radians(gear.normal_pressure_angle_deg),
        math.radians(gear.helix_angle_deg), gear.face_width_mm or 0.0,
        s=1 if gear.kind == "external" else -1, H=1, x=gear.profile_shift_coefficient,
    )  # fmt: skip


def _spanned(geometry: GearGeometry, asked: int | None) -> int | None:
    if geometry.s < 0:
        if asked is not None:
            raise ArgumentError("teeth_spanned", "internal gears have no span")
        return None
    if asked is not None and not 1 <= asked <= geometry.z // 2:
        raise ArgumentError("teeth_spanned", f"{asked} is not 1 to {geometry.z // 2}")
    return asked or teeth_to_span(geometry)


def _shifts(
    geometry: GearGeometry, ball: float, spanned: int | None, limits_of: LimitsOf, *limits: float | None
) -> Iterator[float]:
    lower, upper = limits
    largest = LARGEST["_um" if limits_of == "allowance" else "_mm"]
    allowed = Range(-largest, largest)
    require_within("lower", lower, allowed)
    require_within("upper", upper, allowed)
    if lower is None or upper is None or lower > upper:
        raise ArgumentError("lower", "give both limits, the lower one first")
    nominal = thickness_of_shift(geometry, geometry.x)
    for limit in (lower, upper):
        found: float | None
        if limits_of == "balls":
            found = shift_of_balls(geometry, ball, limit)
        elif limits_of == "span":
            if spanned is None:
                raise ArgumentError("limits_of", "internal gears have no span")
            found = shift_of_span(geometry, spanned, limit)
        else:
            thickness = limit if limits_of == "thickness" else nominal + limit / 1000
            found = shift_of_thickness(geometry, thickness)
        if found is None or not 0 < thickness_of_shift(geometry, found) < math.pi * geometry.m_n:
            unit = "µm" if limits_of == "allowance" else "mm"
            raise GearqaError(f"no teeth of this gear have {short_text(limit)} {unit} by {limits_of}")
        yield found


def _row(
    teeth: Teeth, geometry: GearGeometry, tip: float | None, x: float, ball: float, spanned: int | None
) -> SizeRow:
    g = replace(geometry, x=x)
    thickness = thickness_of_shift(g, x)
    chord = chord_of_thickness(g, thickness)
    constant = constant_chord(g, thickness) if g.s > 0 else None
    contact = ball_contact(g, ball)
    span = None if spanned is None else nominal_span(g, spanned)
    return SizeRow(
        teeth=teeth,
        thickness_mm=thickness,
        chord_mm=chord.thickness,
        chord_height_mm=None if tip is None else g.s * (tip - g.d) / 2 + chord.sagitta,
        constant_chord_mm=None if constant is None else constant.thickness,
        constant_chord_height_mm=None
        if constant is None or tip is None
        else (tip - g.d) / 2 + constant.sagitta,
        allowance_um=(thickness - thickness_of_shift(g, geometry.x)) * 1000,
        shift_coefficient=x,
        balls_mm=ball_dimension(g, ball),
        balls_contact_mm=None if contact is None else diameter_at_roll(contact.contact_roll, g.d_b),
        span_mm=span,
        span_contact_mm=None if span is None else span_contact_diameter(g, span),
    )


def _rack_depth(geometry: GearGeometry) -> float:
    """Length of the path of contact that the straight flank of a usual rack needs below the pitch point."""
    return (1 - geometry.x) * geometry.m_n / math.sin(geometry.alpha_t)


def _on_flank(row: SizeRow, gear: SizedGear) -> SizeRow:
    """The row without figures of balls or a span that would not touch between root and tip."""
    if not _touches(row.balls_contact_mm, gear):
        row = replace(row, balls_mm=None)
    return row if _touches(row.span_contact_mm, gear) else replace(row, span_mm=None)


def _touches(diameter: float | None, gear: SizedGear) -> bool:
    s = 1 if gear.kind == "external" else -1
    tip, root = gear.tip_diameter_mm, gear.root_diameter_mm
    return diameter is not None and not (
        (tip is not None and s * (diameter - tip) > 0) or (root is not None and s * (root - diameter) > 0)
    )


def _off_form(rows: tuple[SizeRow, ...], gear: SizedGear, s: int) -> Iterator[str]:
    """Whether balls touch between the form circles of the drawing."""
    ends = (
        ("tip form diameter", gear.tip_form_diameter_mm, s),
        ("control diameter", gear.control_diameter_mm, -s),
    )
    for row in rows:
        at = None if row.balls_mm is None else row.balls_contact_mm
        for name, limit, side in ends:
            if at is not None and limit is not None and side * (at - limit) > 0:
                yield (
                    f"balls touch {row.teeth} teeth at {fixed_text(at, 2)} mm, beyond the {name} of "
                    f"{short_text(limit)} mm: there the flank need not be involute"
                )


def _cautions(
    gear: SizedGear, geometry: GearGeometry, ball: float, rows: tuple[SizeRow, ...]
) -> Iterator[Notice]:
    """What keeps the nominal size from being measured like this."""
    s, nominal = geometry.s, rows[0]
    tip, root = gear.tip_diameter_mm, gear.root_diameter_mm

    def caution(text: str) -> Notice:
        return Notice(NoticeCode.SIZE_NOT_MEASURABLE, text)

    if nominal.balls_contact_mm is None:
        yield caution(
            f"balls of {short_text(ball)} mm do not touch the involutes: too small or too large for the space"
        )
    for row in rows:
        for what, touching in (("balls", row.balls_contact_mm), ("the span", row.span_contact_mm)):
            for end, limit, side in (("tip", tip, s), ("root", root, -s)):
                if touching is not None and limit is not None and side * (touching - limit) > 0:
                    yield caution(
                        f"{what} would touch at {fixed_text(touching, 2)} mm, beyond the {end}: "
                        f"no figure for {row.teeth} teeth"
                    )
    yield from map(caution, _off_form(rows, gear, s))
    if tip is None:
        yield caution("no tip diameter is given: whether balls and span touch below the tip is not checked")
    if s > 0 and geometry.d_b / 2 * math.tan(geometry.alpha_t) < _rack_depth(geometry):
        yield caution(
            "a rack of the usual depth (1 module from the reference line) undercuts these teeth: whether "
            "balls and span touch sound flanks is not known"
        )
    if nominal.balls_mm is not None and tip is not None:
        opposite = 1.0 if gear.teeth % 2 == 0 else math.cos(math.pi / (2 * gear.teeth))
        reach = (nominal.balls_mm - s * ball) / opposite + s * ball
        if s * (reach - tip) < 0:
            yield caution("the balls do not stand out of the tip")
        ground = (nominal.balls_mm - s * ball) / opposite - s * ball
        if root is not None and s * (ground - root) < 0:
            yield caution("the balls would touch the root")
    width = gear.face_width_mm
    if nominal.span_mm is not None and width and nominal.span_mm * math.sin(geometry.beta_b) >= width:
        yield caution("the face is too narrow for the span: both contacts do not lie on it")
    if gear.helix_angle_deg and (gear.kind == "internal" or gear.teeth % 2):
        yield caution("helical: the figures hold for balls, not for pins")
