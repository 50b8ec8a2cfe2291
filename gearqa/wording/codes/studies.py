"""Codes of a supplier's report against ours, and of gauge studies."""

from typing import Final

STUDIES: Final[dict[str, tuple[str, str]]] = {
    "report_follows_from_their_traces": (
        "The report follows from the supplier's own traces.",
        "Look for the difference in the measurements or in how flanks and teeth are named.",
    ),
    "not_measured_by_us": (
        "We measured nothing: no claim is confirmed or refused.",
        "Measure some of the gears.",
    ),
    "serials_by_number": (
        "Serials were matched by the number at their end.",
        "Check the pairs, or add the column our_serial to the report.",
    ),
    "compared_by_magnitude": (
        "The report gives no signs, so values are compared by magnitude.",
        "Ask for signed slopes: a turned sign cannot be seen like this.",
    ),
    "values_not_reported": (
        "The report lacks values that the drawing asks for, so no class claimed for a gear covers them.",
        "Ask for them; a gear's own worst value may be among them.",
    ),
    "basis_mean": (
        "The report does not say which value of the teeth it gives; the mean fits.",
        "Ask the supplier.",
    ),
    "basis_worst": (
        "The report does not say which value of the teeth it gives; the worst fits.",
        "Ask the supplier.",
    ),
    "claims_on_the_other_flank": (
        "Flanks are named the other way round in the report.",
        "Agree on names: gearqa explain flanks.",
    ),
    "claims_judged_by_worst": ("A class holds for every trace, so the worst of ours judges it.", "Nothing."),
    "standard_not_stated": ("A class stands without its standard.", "Ask for standard and year."),
    "other_system": (
        "A class of another tolerance system is no class of ours; it is not compared.",
        "gearqa tolerances --compare shows one gear in all systems.",
    ),
    "claim_in_words": (
        "A class stands in words whose system is not known.",
        "Name it in the column standard.",
    ),
    "other_edition": (
        "Classes of another edition are judged by its own tolerances.",
        "Do not compare their numbers with those of the drawing.",
    ),
    "no_tolerance": ("That system has no tolerance for this parameter here.", "Agree on a limit in µm."),
    "claim_beyond_own_value": (
        "The reported value itself does not meet the claimed class.",
        "Ask the supplier.",
    ),
    "rounded_before_grading": (
        "The claimed classes would follow if values were rounded first.",
        "Ask for unrounded values; a value is graded as it is.",
    ),
    "classes_of_older_edition": (
        "The claimed classes follow from the tolerances of the older edition.",
        "Ask which edition was used.",
    ),
    "few_values": ("So few values can agree or differ by chance.", "Compare or measure more."),
    "large_uncertainty": ("A stated uncertainty is so large that anything agrees.", "Ask how it was found."),
    "not_the_same_gears": ("The gears seem not to be the same ones.", "Check the serials."),
    "no_reference": ("A crossed study shows spread, not bias.", "Measure a calibrated gear too."),
    "few_operators": (
        "Few operators (or set-ups) make the interval wide.",
        "Go by its upper end, or take more.",
    ),
    "one_operator": ("One operator shows repeatability alone.", "Add operators for reproducibility."),
    "interval_beyond": (
        "The values found are good enough, but their interval reaches beyond what is wanted: not proven.",
        "Measure more often, or with more operators (or set-ups).",
    ),
    "no_spread": (
        "The values do not differ at all: they are rounded more coarsely than the instrument repeats.",
        "Export more digits; until then there is no spread to judge and no U.",
    ),
    "negative_component": ("A variance came out below 0 and counts as 0.", "Nothing; more trials settle it."),
    "few_categories": (
        "The gauge hardly tells these items apart; good items look like that.",
        "Judge by the tolerance.",
    ),
    "conditionally_suitable": (
        "The gauge spread takes a fair part of the tolerance.",
        "Use it where the job allows, or improve it.",
    ),
    "no_reference_uncertainty": (
        "The uncertainty of the reference is missing, so there is no U.",
        "Take it from the certificate (reference_uncertainty_um).",
    ),
    "bias": (
        "The instrument is off by more than chance; it is not corrected but added to U.",
        "Find its cause; a bias of that size costs tolerance on every gear.",
    ),
    "stated_too_small": ("The study finds a larger U than the part file states.", "Take over the new one."),
    "product_differs": (
        "U was found on a calibrated gear.",
        "Add what differs on the product: form, temperature.",
    ),
}
"""Code -> (what it means, what to do)."""
