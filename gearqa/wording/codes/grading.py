"""Codes of the drawing, of grading, of readings in doubt, and of the size of teeth."""

from typing import Final

GRADING: Final[dict[str, tuple[str, str]]] = {
    "helix_hand_of_spur_gear": ("The helix angle is 0, so the hand has no meaning.", "Remove helix_hand."),
    "tip_diameter_missing": (
        "The slope over the full span needs the tip diameter; another end is taken.",
        "Add tip_diameter_mm from the drawing: the slope grows with the span.",
    ),
    "diameter_far_from_reference": (
        "A diameter of part.toml is far from the reference diameter.",
        "Check teeth, module, helix angle and the diameter itself.",
    ),
    "size_limits_wide": ("The limits of the size lie more than a module apart.", "Check both limits."),
    "pin_diameter_unusual": (
        "The ball is far from usual, which is 1.4 to 2.2 modules.",
        "Check the ball diameter and the module.",
    ),
    "size_far_from_nominal": (
        "The limits of the size are far from what gear and ball give.",
        "gearqa size --part FILE shows the nominal size; check profile shift, ball and limits.",
    ),
    "long_cutoff": (
        "The filter is so long that it takes out most of the form deviation.",
        "Leave the cutoff out, unless the drawing gives it.",
    ),
    "flank_table_without_effect": (
        "Tolerances are given for a flank that is not graded.",
        "Add the flank to [tolerance] flanks, or remove the table.",
    ),
    "lower_limit_without_effect": (
        "A lower limit stands for a value that is never negative.",
        "Give one number, or check the parameter.",
    ),
    "classes_known_in_part": (
        "Of the tolerance system not all classes are known for this gear; the message names those that are.",
        "Read a value of the finest one as that or finer, and beyond as coarser than the last one known.",
    ),
    "not_assessed": (
        "The drawing asks for something that was not measured or could not be evaluated.",
        "Measure it, or take it out of [tolerance] parameters if the drawing does not ask for it.",
    ),
    "zone_not_assessed": (
        "A zone that the drawing states for information could not be evaluated; no verdict rests on it.",
        "Trace over the whole zone, with twenty points in it, or leave the zone out.",
    ),
    "missing": (
        "Readings that the drawing asks for are missing or do not reach over the range.",
        "Measure them, or take the parameter out of [tolerance] parameters.",
    ),
    "one_flank_only": (
        "Traces of one flank are missing altogether.",
        "Measure it, or name the graded flank in [tolerance] flanks.",
    ),
    "teeth_not_evenly_spaced": (
        "The traced teeth do not lie about evenly around the gear (ISO 1328-1).",
        "Trace teeth a third or a quarter of a turn apart: else runout shows as slope of one tooth.",
    ),
    "position_doubtful": (
        "Positions of traces do not fit the gear: other unit, other quantity, other zero.",
        "Check the header against the instrument; a column map can convert. Until then trust no slope.",
    ),
    "unit_doubt": (
        "Values are so large or small that the unit is likely wrong.",
        "Correct the unit; values that are right can be confirmed with reason and name.",
    ),
    "stuck": (
        "A probe stood still: the readings do not change over a long stretch.",
        "Measure again; values that really are equal can be confirmed with reason and name.",
    ),
    "clipped": (
        "Readings end flat at an extreme: the measuring range of the probe was exceeded.",
        "Measure again with a larger range: the true deviation is larger than it looks.",
    ),
    "copied": (
        "A trace or table equals another one exactly, which measuring never gives.",
        "Find the original readings; copies cannot be confirmed.",
    ),
    "no_reading": (
        "A value marks a point without a reading, such as 9999.",
        "Leave such points out, or measure.",
    ),
    "too_few_teeth": (
        "Fewer teeth were traced than the drawing asks for (three by default).",
        "Trace more teeth, or set fewest_teeth in [evaluation] where the drawing allows it.",
    ),
    "confirmed": (
        "Readings in doubt were confirmed by a person; reason and name are printed everywhere.",
        "Check that the reason holds for this gear.",
    ),
    "index_or_pitch_doubtful": (
        "Index deviations seem to stand under pitch, or the other way round.",
        "Check the header: the mistake changes fp and Fp many times over.",
    ),
    "flanks_or_numbering_doubtful": (
        "Ball readings fit the pitch far better with flanks or numbering turned.",
        "Check from which side the instrument looks: gearqa explain flanks; a map can turn both.",
    ),
    "size_not_measurable": (
        "Balls, pins or span cannot touch the flanks as computed.",
        "Choose another ball or number of teeth; ball near 1.7 modules touches near the reference circle.",
    ),
    "mountings_differ": (
        "Traces, pitch and ball readings show different eccentricities: two clampings.",
        "Measure everything in one clamping if eccentricity matters.",
    ),
}
"""Code -> (what it means, what to do)."""
