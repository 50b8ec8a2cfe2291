"""`gearqa explain PARAMETER`: one page a parameter, made from the tables that the code uses.

Effects in service and causes after grinding are common practice, no source, where nothing else is said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gearqa.diagnosis.causes import SIGNATURES
from gearqa.model.editions import EDITIONS, ISO_1328_1_1995, ISO_1328_1_2013
from gearqa.report.blocks.document import Block, Bullets, Column, Facts, Paragraph, Table
from gearqa.standards import standard
from gearqa.standards.iso1328_1_2013 import tolerances as newer
from gearqa.standards.terms import Terms
from gearqa.symbols import PARAMETERS, Parameter
from gearqa.wording.numbers import percent_text, short_text


@dataclass(frozen=True, slots=True)
class About:
    """What the tables of the code do not say of a parameter."""

    computed: str
    effect: str
    components: tuple[str, ...]
    """Errors, as `gearqa diagnose` names them, that show in it."""


_PITCH = (
    "Arc of the measuring circle, brought to the reference circle; plus is displaced clockwise, seen onto "
    "the datum face. Each flank has its own value."
)
_MEAN_LINE = (
    "The mean line is the straight least squares line of the filtered trace over the evaluation range."
)
_CROWNING = (
    "Height of the middle of the trace over the chord of its ends, from the least squares parabola over the "
    "evaluation range; plus is a convex flank. It is reported and never graded."
)
_PARABOLA = (
    "Width of the filtered trace about its least squares parabola over the evaluation range, without the tip "
    "zone: second order analysis, after the title of an informative annex of ISO 1328-1:2013 (its text from "
    "memory; the symbol f2 is ours). Beside it stand the crowning and, for the slope of the parabola "
    "between the range ends, the slope of the mean line. Every trace result has it; it is judged by limits "
    "of the drawing only."
)
_ONCE_PER_TURN = ("eccentricity", "tangential", "lobes", "radial_order", "pitch_order", "pitch_ramp")
ABOUT: Final[dict[str, About]] = {
    "single_pitch": About(
        "Distance of a flank from the one before less the nominal pitch; the largest magnitude counts. "
        f"{_PITCH}",
        "Teeth take up load early or late: noise and shock at tooth frequency, uneven load sharing.",
        ("wheel_thread", "one_tooth", "pitch_ramp", "eccentricity", "tangential"),
    ),
    "cumulative_pitch": About(
        "Index deviations are the single pitch deviations added up from the first tooth; Fp is their range. "
        f"{_PITCH}",
        "The ratio varies over a turn: speed and position errors, sidebands beside the tooth frequency.",
        _ONCE_PER_TURN,
    ),
    "sector_pitch": About(
        f"The largest range of index deviations over z/8 pitches next to each other. {_PITCH}",
        "Like Fp, over the part of a turn in which a planet meets its neighbours.",
        _ONCE_PER_TURN,
    ),
    "adjacent_pitch": About(
        f"The largest difference of two single pitch deviations next to each other. {_PITCH}",
        "Jerks from tooth to tooth: noise, uneven sharing of load between neighbouring teeth.",
        ("wheel_thread", "one_tooth", "pitch_order"),
    ),
    "runout": About(
        "Range of the radial positions of a ball in all spaces: from readings, or computed from the pitch of "
        "both flanks for a ball that touches at the reference circle. Plus is away from the axis. It holds "
        "eccentricity and, unlike Fp, not what turns both flanks alike.",
        "Backlash and centre distance vary once per turn; planets share load unevenly.",
        ("eccentricity", "lobes", "radial_order"),
    ),
    "tooth_thickness_variation": About(
        "Range of the tooth thickness at the reference circle, from the index deviations of both flanks. It "
        "is reported and never graded.",
        "Backlash varies from tooth to tooth.",
        ("wheel_thread", "one_tooth", "eccentricity"),
    ),
    "profile_total": About(
        "Width of the filtered trace about the design profile, over the evaluation range; material in the "
        "tip zone counts too. The worst traced tooth of a flank counts.",
        "Transmission error at tooth frequency: noise; contact begins with a shock or at an edge.",
        ("pressure_angle", "profile_asymmetry", "profile_crowning", "eccentricity", "ripple", "tip_end"),
    ),
    "profile_form": About(
        f"Width of the filtered trace about its mean line. {_MEAN_LINE}",
        "Waves over the profile: noise at multiples of the tooth frequency, and at ghost orders.",
        ("ripple", "s_shape", "profile_crowning", "tip_end"),
    ),
    "profile_slope": About(
        f"{_MEAN_LINE} Plus gains material towards the tip.",
        "The pressure angle is off: teeth meet too early or too late; shock and noise at tooth frequency.",
        ("pressure_angle", "profile_asymmetry", "eccentricity", "twist"),
    ),
    "profile_crowning": About(
        _CROWNING,
        "Wanted against deflection and misalignment; too much of it costs contact ratio.",
        ("profile_crowning",),
    ),
    "profile_parabola_form": About(
        _PARABOLA,
        "What no crowning explains: waves and ends; noise at multiples of the tooth frequency.",
        ("ripple", "s_shape", "tip_end"),
    ),
    "helix_total": About(
        "Width of the filtered trace about the design helix, over the evaluation range. The worst traced "
        "tooth of a flank counts.",
        "Load lies at one end or in the middle of the face: pitting and bending stress rise there.",
        ("lead", "taper", "tilt", "helix_crowning", "overtravel"),
    ),
    "helix_form": About(
        f"Width of the filtered trace about its mean line. {_MEAN_LINE}",
        "The face carries on ridges only; axial ripple is heard as ghost orders of helical gears.",
        ("ripple", "helix_s_shape", "helix_crowning", "overtravel"),
    ),
    "helix_slope": About(
        f"{_MEAN_LINE} Plus gains material away from the datum face; multiplied by flank and hand it is the "
        "sign by helix angle.",
        "Load lies at one end of the face.",
        ("lead", "taper", "tilt", "twist"),
    ),
    "helix_crowning": About(
        _CROWNING,
        "Wanted against misalignment; too much of it carries the load in the middle only.",
        ("helix_crowning", "twist"),
    ),
    "helix_parabola_form": About(
        _PARABOLA,
        "What no crowning explains: the face carries on ridges or at its ends only.",
        ("ripple", "helix_s_shape", "overtravel"),
    ),
}  # fmt: skip
"""Parameter key -> what its page says beside what the tables hold."""
_TERMS: Final[dict[str, Terms]] = {
    "single_pitch": newer.SINGLE_PITCH,
    "cumulative_pitch": newer.CUMULATIVE_PITCH,
    "profile_slope": newer.PROFILE_SLOPE,
    "profile_form": newer.PROFILE_FORM,
    "helix_slope": newer.HELIX_SLOPE,
    "helix_form": newer.HELIX_FORM,
}
_SECOND: Final[dict[str, str]] = {
    "profile_total": "root of the squares of the tolerances of fHα and ffα, unrounded",
    "helix_total": "root of the squares of the tolerances of fHβ and ffβ, unrounded",
    "runout": f"{short_text(newer.RUNOUT_SHARE)} times that of Fp (informative annex)",
    "adjacent_pitch": "root of 2 times that of fp (informative annex)",
    "sector_pitch": "that of fp + 4 k / z ({terms}), k = z/8 (informative annex)",
}


def parameter_named(word: str) -> Parameter | None:
    """The parameter of a key or of a printed symbol, with Greek letters or without; fp and Fp differ."""
    return next((one for one in PARAMETERS.values() if word in (one.key, one.symbol, one.ascii_symbol)), None)


def parameter_blocks(parameter: Parameter) -> list[Block]:
    """The page of one parameter."""
    about = ABOUT[parameter.key]
    rows = tuple(
        (one.signature, "; ".join(one.causes), one.basis)
        for one in SIGNATURES
        if {*one.keys} & {*about.components} and _shows(parameter, one.origin)
    )
    return [
        Facts(
            (
                ("Symbol, key", f"{parameter.symbol}, {parameter.key}"),
                ("What it is", parameter.meaning),
                ("How", about.computed),
                *_range(parameter),
                ("Tolerance", " ".join(_tolerance(parameter))),
                ("In service", about.effect),
            )
        ),
        Table(
            "What makes it large after grinding",
            tuple(
                Column(title, "left", weight=1)
                for title in ("signature", "causes, likely ones first", "basis")
            ),
            rows,
        ),
        Bullets(("gearqa diagnose FOLDER measures which of these it is.",)),
        Paragraph(
            "Sources: definitions of ISO 1328-1 (from memory), the formulas of the edition named; effects in "
            "service: common practice, no source.",
            "note",
        ),
    ]


def _shows(parameter: Parameter, origin: str | None) -> bool:
    return origin is None or origin == parameter.family or parameter.family not in ("profile", "helix")


def _range(parameter: Parameter) -> Iterator[tuple[str, str]]:
    new, old = EDITIONS[ISO_1328_1_2013], EDITIONS[ISO_1328_1_1995]
    if parameter.family not in ("profile", "helix"):
        return
    if parameter.family == "profile":
        shares = (f"{percent_text(one.profile_share)} ({one.title})" for one in (new, old))
        yield (
            "Range",
            f"{' or '.join(shares)} of the roll length from control to tip form diameter, from the root side "
            "on, unless [evaluation.profile] says otherwise.",
        )
    else:
        yield (
            "Range",
            "The face width less 5 % or one module, whichever is smaller, at each end, unless "
            "[evaluation.helix] says otherwise.",
        )
    yield (
        "Filter",
        "Gaussian low-pass (ISO 16610-21), cutoff a thirtieth of the evaluation length, not below 0.05 mm, "
        "unless [evaluation.filter] says otherwise.",
    )
    if parameter.signed and parameter.grading != "never":
        yield (
            "Span",
            f"Stated over the full span ({new.title}) or over the evaluation range ({old.title} and others), "
            "unless [evaluation] slope_span says otherwise.",
        )


def _tolerance(parameter: Parameter) -> Iterator[str]:
    if parameter.grading == "never":
        yield "None: it is reported and never graded."
        return
    terms = _TERMS.get(parameter.key)
    text = _SECOND.get(parameter.key, "").format(terms=newer.SECTOR_PITCH.text)
    formula = text if terms is None else f"{terms.text}, in µm with d, m and b in mm"
    yield f"{ISO_1328_1_2013}, class 5: {formula};"
    yield "each class root of 2 times the one before, then rounded."
    if parameter.signed:
        yield "It holds for plus and minus."
    having = [title for title, one in EDITIONS.items() if not one.same_as and _has(title, parameter.key)]
    yield f"Graded by {', '.join(having)}: gearqa tolerances --compare."


def _has(title: str, key: str) -> bool:
    """Whether a system has the parameter for an ordinary gear."""
    return key in standard(title).rows(40, 1.5, 60.0, 30.0, 0.0)
