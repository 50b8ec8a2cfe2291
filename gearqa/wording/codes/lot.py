"""Codes of cautions and notes of a lot."""

from typing import Final

LOT: Final[dict[str, tuple[str, str]]] = {
    "nothing_provable": (
        "U is so large against the tolerance that no value can be proven to conform.",
        "Measure with a better instrument, or agree on another decision rule.",
    ),
    "uncertainty_large": (
        "U is more than a third of the tolerance: good gears are often not proven.",
        "Measure with a smaller uncertainty.",
    ),
    "uncertainty_unknown": (
        "No uncertainty is given, so values are compared as they are and nothing is proven.",
        "Put U under [uncertainty_um] in part.toml; gearqa gauge finds it.",
    ),
    "uncertainty_source_unknown": (
        "Nobody says where the uncertainty comes from.",
        "Name certificate or study under [uncertainty_source] of the plan.",
    ),
    "fewer_than_planned": (
        "Fewer gears were measured than the plan asks for; such a sample accepts no lot.",
        "Measure the rest.",
    ),
    "few_gears": (
        "So few gears say little about spread.",
        "Go by the lower bound of an index, or measure more.",
    ),
    "drawn_unknown": (
        "The plan does not say how the sample was drawn; its figures hold for a random one.",
        "Say drawn in the plan.",
    ),
    "excluded": (
        "Gears were left out of the sample, with a reason.",
        "Check the reasons: they stand on the record.",
    ),
    "restricted": ("Only some gears of the folder were taken.", "Nothing, if that was meant."),
    "stays_counted": (
        "A gear of the sample was sorted out; it stays counted against the acceptance number.",
        "Nothing: a sample does not get better by taking out what was found.",
    ),
    "order_unknown": (
        "Without the order of production trends cannot be seen.",
        "Add finished_at to the production table.",
    ),
    "order_by_label": (
        "Times are missing; the order follows dress labels and parts since dress.",
        "Add finished_at to the production table.",
    ),
    "cycles_unknown": (
        "Dress cycles are not known; gears are taken as independent, which promises too much.",
        "Add dress and parts_since_dress to the production table.",
    ),
    "wear": ("Values change within the dress cycle.", "Spread the sample over the cycle; see gearqa drift."),
    "wear_unchecked": (
        "Whether values change within the dress cycle cannot be seen.",
        "Add parts_since_dress to the production table.",
    ),
    "dependent_gears": (
        "Gears of one dress cycle are alike, so they are worth fewer independent ones.",
        "Measure gears of more dress cycles.",
    ),
    "few_cycles": (
        "Few dress cycles give wide bounds.",
        "Measure more cycles rather than more gears of the same.",
    ),
    "cycle_length_unknown": (
        "Whether the sample is spread over the dress cycle cannot be checked.",
        "Give lot size, dress_cycles and parts_since_dress.",
    ),
    "outliers": (
        "A value lies far from the rest (Grubbs test); it is kept in all figures.",
        "Look at the gear: a wrong reading is removed for a reason, never for being far.",
    ),
    "normality": (
        "Whether values follow the distribution that index and interval assume.",
        "If they do not, use the statement that needs none.",
    ),
    "tolerance_interval": (
        "The interval for most of the lot reaches beyond the limits.",
        "The sample does not show that so many of its gears conform: measure more, or centre the process.",
    ),
    "calibration_overdue": (
        "It was measured after the calibration of the instrument was due.",
        "Calibrate, then measure again or show that it was still right.",
    ),
    "calibration_unknown": (
        "Due date or time of measuring is missing.",
        "Fill in calibration_due and measured_at.",
    ),
    "temperature_unknown": ("The temperature at measuring is missing.", "Fill in temperature_degC."),
    "trend": (
        "Values are not random in order of production.",
        "gearqa drift tells wear from a level that moved.",
    ),
    "ppk": (
        "The lower bound of an index is below what the plan asks for.",
        "Centre the process or narrow its spread.",
    ),
    "two_risks": (
        "The decision rule limits the risk of one gear, the plan that of the lot.",
        "Nothing: both are meant.",
    ),
    "unit": ("The gear is counted: one value that does not conform makes it not conform.", "Nothing."),
    "rounding": ("Nothing is rounded before deciding; values are compared at nine decimals.", "Nothing."),
    "probability": ("P is that of one value of one gear.", "Do not multiply it or take it for the lot."),
    "confidence": ("Proven holds for each value by itself.", "Nothing."),
    "geometry_only": (
        "Only geometry was measured.",
        "Burn, hardness, cracks and load capacity need other tests.",
    ),
    "who_decides": (
        "gearqa recommends; drawing, contract, codes and a person decide.",
        "Record the disposition.",
    ),
    "one_percent": (
        "How often the plan accepts a process with 1 % nonconforming.",
        "If that is too often, take a plan with more gears.",
    ),
    "series_of_lots": (
        "A table of ISO 2859-1 is made for a series of lots with switching rules.",
        "For one lot go by the risks printed here.",
    ),
    "variables": (
        "A plan by variables holds for normal values of a steady process.",
        "Check trend and normality before relying on it.",
    ),
}
"""Code -> (what it means, what to do)."""
