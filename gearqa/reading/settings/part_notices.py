"""What a valid part file leaves open or makes doubtful, for those who read the results."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.criteria import rows_of
from gearqa.evaluation.part_geometry import drawn_geometry
from gearqa.model.part import Evaluation, FlankTolerance, Gear, Part, ProfileRange, Tolerance
from gearqa.symbols import FLANKS, PARAMETERS
from gearqa.wording.numbers import fixed_text, short_text
from gearqa.wording.sentences import symbols_text


def part_notices(part: Part) -> tuple[Notice, ...]:
    """What a valid part file leaves open or makes doubtful."""
    gear = part.gear
    geometry = drawn_geometry(gear)
    return (
        *_hand_notices(gear),
        *_slope_span_notices(part),
        *_diameter_notices(gear, part.evaluation, geometry),
        *_cutoff_notices(part, geometry),
        *_limit_notices(part.tolerance),
        *_size_notices(part, geometry),
        *_class_notices(part),
    )


def _class_notices(part: Part) -> Iterator[Notice]:
    edition = part.edition
    known: dict[str, list[str]] = {}
    for key, row in rows_of(part).items():
        first, last = row.first_class, row.first_class + len(row.tolerances) - 1
        asked = key in part.tolerance.required or key in part.master_parameters
        if asked and (first, last) != (edition.first_class, edition.last_class):
            known.setdefault(f"{first} to {last}", []).append(key)
    if known:
        texts = "; ".join(f"{classes} in {symbols_text(keys)}" for classes, keys in known.items())
        yield Notice(
            NoticeCode.CLASSES_KNOWN_IN_PART,
            f"{edition.title}: not all classes are known for this gear, only {texts}: a value of the finest "
            'one may be of a finer one still, and "beyond" means beyond the last one known',
        )


def _hand_notices(gear: Gear) -> Iterator[Notice]:
    if gear.helix_angle_deg == 0 and gear.helix_hand is not None:
        yield Notice(NoticeCode.HELIX_HAND_OF_SPUR_GEAR, "gear.helix_hand is ignored: the helix angle is 0")


def _slope_span_notices(part: Part) -> Iterator[Notice]:
    limits = part.evaluation.profile
    given = limits.explicit or limits.control_diameter_mm is not None
    if part.gear.tip_diameter_mm is None and part.slope_span == "full" and given:
        form = limits.tip_form_diameter_mm
        instead = "the end of the range" if form is None else f"the tip form diameter {short_text(form)} mm"
        yield Notice(
            NoticeCode.TIP_DIAMETER_MISSING,
            f"gear.tip_diameter_mm is not given: the profile slope over the full span is taken to {instead}",
        )


def _diameter_notices(gear: Gear, evaluation: Evaluation, geometry: GearGeometry) -> Iterator[Notice]:
    reach = 5 * geometry.m_n
    shifted = geometry.d + 2 * geometry.s * geometry.x * geometry.m_n
    for word, value in (("tip", gear.tip_diameter_mm), ("root", gear.root_diameter_mm)):
        if value is None:
            continue
        if abs(value - shifted) > reach:
            yield Notice(
                NoticeCode.DIAMETER_FAR_FROM_REFERENCE,
                f"gear.{word}_diameter_mm = {short_text(value)} is far from the reference diameter "
                f"{fixed_text(geometry.d, 3)} mm: check teeth, module and helix angle",
            )
    measured = evaluation.pitch.measuring_diameter_mm
    if measured is not None and abs(measured - geometry.d) > reach:
        yield Notice(
            NoticeCode.DIAMETER_FAR_FROM_REFERENCE,
            f"evaluation.pitch.measuring_diameter_mm = {short_text(measured)} is far from the reference "
            f"diameter {fixed_text(geometry.d, 3)} mm",
        )


def _cutoff_notices(part: Part, geometry: GearGeometry) -> Iterator[Notice]:
    ends = _profile_ends(part.evaluation.profile, geometry)
    lengths: Mapping[str, float | None] = {
        "profile": abs(ends[1] - ends[0]) if ends else None,
        "helix": part.gear.face_width_mm,
    }
    for kind, length in lengths.items():
        cutoff = getattr(part.evaluation.filter, f"{kind}_cutoff_mm")
        if cutoff is not None and length is not None and cutoff > length / 3:
            yield Notice(
                NoticeCode.LONG_CUTOFF,
                f"evaluation.filter.{kind}_cutoff_mm = {short_text(cutoff)} is more than a third of the "
                f"range of {short_text(length, 3)} mm: hardly any form deviation will be left",
            )


def _limit_notices(tolerance: Tolerance) -> Iterator[Notice]:
    tables = {"tolerance": tolerance, "tolerance.left": tolerance.left, "tolerance.right": tolerance.right}
    for flank in FLANKS:
        own = tolerance.for_flank(flank)
        if flank not in tolerance.flanks and own != FlankTolerance():
            yield Notice(
                NoticeCode.FLANK_TABLE_WITHOUT_EFFECT,
                f"tolerance.{flank} has no effect: the {flank} flank is not graded (tolerance.flanks)",
            )
    for where, table in tables.items():
        for key, (low, _) in table.limits_um.items():
            if low < 0 and not PARAMETERS[key].signed:
                yield Notice(
                    NoticeCode.LOWER_LIMIT_WITHOUT_EFFECT,
                    f"{where}.limits_um.{key}: the lower limit {short_text(low)} has no effect, the value is "
                    "never negative",
                )


def _size_notices(part: Part, geometry: GearGeometry) -> Iterator[Notice]:
    size = part.tolerance.size
    if size is None:
        return
    m_n, d = geometry.m_n, geometry.d
    if size.upper_mm - size.lower_mm > m_n:
        yield Notice(
            NoticeCode.SIZE_LIMITS_WIDE,
            f"tolerance.size: the limits lie more than one module ({short_text(m_n)} mm) apart",
        )
    middle = (size.lower_mm + size.upper_mm) / 2
    if size.method == "span":
        if size.teeth_spanned is not None:
            involute = math.tan(geometry.alpha_t) - geometry.alpha_t
            nominal = m_n * math.cos(geometry.alpha_n) * (
                (size.teeth_spanned - 0.5) * math.pi + geometry.z * involute
            ) + 2 * geometry.x * m_n * math.sin(geometry.alpha_n)  # fmt: skip
            if abs(middle - nominal) > m_n:
                yield Notice(
                    NoticeCode.SIZE_FAR_FROM_NOMINAL,
                    f"tolerance.size: {short_text(middle)} mm over {size.teeth_spanned} teeth, but the "
                    f"geometry gives {fixed_text(nominal, 3)} mm",
                )
        return
    pin = size.pin_diameter_mm
    assert pin is not None
    if not 0.8 <= pin / m_n <= 3.5:
        yield Notice(
            NoticeCode.PIN_DIAMETER_UNUSUAL,
            f"tolerance.size.pin_diameter_mm = {short_text(pin)} is {short_text(pin / m_n, 2)} modules; "
            "1.4 to 2.2 are usual",
        )
    # a ball that touches near the reference circle lies within a few modules of it
    around = d + geometry.s * (pin + 2 * geometry.x * m_n)
    if abs(middle - around) > 4 * m_n + pin:
        yield Notice(
            NoticeCode.SIZE_FAR_FROM_NOMINAL,
            f"tolerance.size: {short_text(middle)} mm is far from the {fixed_text(around, 1)} mm "
            f"that a ball of {short_text(pin)} mm gives about",
        )


def _profile_ends(limits: ProfileRange, geometry: GearGeometry) -> tuple[float, float] | None:
    """Roll lengths of the root-side and tip-side limit of the profile, None where not given. [mm]"""
    base = geometry.d_b
    if limits.start_roll_length_mm is not None and limits.end_roll_length_mm is not None:
        return limits.start_roll_length_mm, limits.end_roll_length_mm
    if limits.control_diameter_mm is None or limits.tip_form_diameter_mm is None:
        return None
    return roll_length(limits.control_diameter_mm, base), roll_length(limits.tip_form_diameter_mm, base)
