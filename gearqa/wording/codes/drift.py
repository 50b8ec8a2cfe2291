"""Codes of drift analysis."""

from typing import Final

DRIFT: Final[dict[str, tuple[str, str]]] = {
    "events_of_other_grinders": ("Events name a grinder that made none of these gears.", "Check its name."),
    "repeated_serials": (
        "A serial stands several times in one series; the first one counts.",
        "Use the column measurement for repeats.",
    ),
    "times_missing": ("Gears have no time of finishing.", "Add finished_at to the production table."),
    "parts_estimated": (
        "Parts since dress were estimated from times and the cycle time.",
        "Record parts_since_dress: an estimate makes wear uncertain.",
    ),
    "reference_not_used": ("The frozen control limits do not fit this history.", "Freeze a new period."),
    "no_cycles": (
        "Dress cycles are not known, so neither levels nor wear can be stated.",
        "Add dress to the production table.",
    ),
    "wear_not_identifiable": (
        "All gears come from the same place of their cycle.",
        "Measure a gear soon after a dress and one late in the cycle.",
    ),
    "robust_wear_differs": (
        "Single gears pull the wear: a robust fit gives another one.",
        "Look at these gears.",
    ),
    "no_step_search": ("Too few dress cycles to look for level changes.", "Go on measuring."),
    "wandering_level": (
        "The level wanders from cycle to cycle, which looks like several level changes.",
        "Take single changes with care; look for what varies between dresses.",
    ),
    "level_trend": (
        "The level moves steadily from cycle to cycle.",
        "Look for slow causes: wheel, dresser, temperature; correct before the level reaches a limit.",
    ),
    "forecast_far": (
        "The limit lies beyond all that was measured; wear is taken as straight up to there.",
        "Measure later in the cycle before relying on it.",
    ),
    "slope_variation_unknown": (
        "Whether the wear rate differs from cycle to cycle is not known.",
        "Measure two places in several cycles.",
    ),
    "trend_or_change": ("A slow trend and a level change explain the levels alike.", "Go on measuring."),
    "dress_label_again": (
        "A label of a dress comes again later; its gears count as another cycle.",
        "Give every dress a label of its own.",
    ),
    "production_contradicts": (
        "Rows of the production table contradict each other, in time or in parts since dress.",
        "Correct the rows: without them no wear is stated.",
    ),
    "no_production_row": ("Gears have no row in the production table and are left out.", "Add the rows."),
    "cycles_not_measured": (
        "Parts were made in dress cycles without a measured gear.",
        "Measure one part of each: what is said of them rests on the cycles beside them.",
    ),
    "usual_interval_unknown": (
        "How many parts are made per dress is not known.",
        "List all parts in the production table of the folder, or set parts_per_dress in [grinder.NAME].",
    ),
    "curved_wear": ("Between two measured places the wear may bend.", "Measure a part in between."),
    "noise_grows": (
        "The scatter grows within the cycle: bounds are too wide early and too narrow late.",
        "Judge late parts with care.",
    ),
    "level_moved": (
        "The level moved, but a level change and a slow trend cannot be told apart.",
        "Go on measuring.",
    ),
    "change_may_hide": (
        "Changes below about three standard deviations of a level may not be seen at once.",
        "Do not take silence for proof; more measured gears a cycle see smaller changes.",
    ),
    "risk_is_average": (
        "A risk is an average over histories like this one.",
        "Do not take it for a promise.",
    ),
    "step_provisional": ("A level change rests on few cycles since.", "Check it with the next dress."),
    "size_overstated": (
        "A level change that was just found looks larger than it is, on average.",
        "Correct by less than its size at first.",
    ),
    "skewed_values": (
        "Values are skewed: false claims of level changes are two to three times as frequent.",
        "Ask for more cycles before acting.",
    ),
    "reference_carried": (
        "A correction that worked moved the level; the frozen limits moved with it.",
        "Freeze a new period when the process has settled.",
    ),
    "correction_late": (
        "A correction that was recorded late may still read as intended.",
        "Record events when they happen.",
    ),
    "position_missing": (
        "Gears have no parts since dress: they count for the level alone.",
        "Add parts_since_dress to the production table.",
    ),
}
"""Code -> (what it means, what to do)."""
