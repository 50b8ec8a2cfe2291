"""Signature, causes in order, what to do: common practice of continuous generating grinding, as data.

`basis` says how sure the link from signature to cause is: derived geometry, a published effect, or
common practice without a source. All of it is common practice where nothing else is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from gearqa.model.diagnosis import Cause, Component

Confidence = Literal["high", "medium", "low"]
GEOMETRY, PRACTICE = "derived geometry", "common practice, no source"


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One row of the table."""

    keys: tuple[str, ...]
    signature: str
    causes: tuple[str, ...]
    correction: str
    confidence: Confidence
    basis: str = PRACTICE
    origin: str | None = None
    """Only for components of this origin; such a row wins over one for all."""


SIGNATURES: Final = (
    CauseRow(
        ("pressure_angle",),
        "profile slope common to both flanks, all teeth alike",
        (
            "profile angle of the wheel: setting or wear of the dresser",
            "lead of the wheel at dressing (axial module)",
            "dressing position differs from grinding position",
        ),
        "pressure angle of dressing; pose errors make hardly any profile slope",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("profile_asymmetry",),
        "profile slope opposite on both flanks, all teeth alike",
        ("sides of the dresser worn unequally", "angle of the dresser axis", "tangential offset (internal)"),
        "each dresser flank by its own profile slope",
        "medium",
    ),
    CauseRow(
        ("lead",),
        "helix slope of one hand on both flanks",
        (
            "lead or differential setting",
            "synchronisation of the table over the stroke",
            "wind-up of a long arbor",
        ),
        "twist of the stroke",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("taper",),
        "helix slopes opposite by hand: one end of the gear thicker",
        (
            "feed path not parallel to the work axis",
            "support of the workpiece gives way",
            "column tilted by heat",
        ),
        "infeed at one end against the other",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("profile_slope", "helix_slope"),
        "slope of the only flank that was measured",
        ("what both flanks share or what they differ by: the other flank tells",),
        "measure the other flank before a setting that acts on both is changed",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("eccentricity",),
        "runout, pitch and slopes once per turn, as of a shifted axis",
        (
            "clamped off centre: arbor or chuck runout, chip under the seat",
            "datum bore or datum diameter runs out",
            "mounted off centre on the measuring instrument",
        ),
        "clamp again turned by 180 degrees: what turns with the gear is in the gear; centre the fixture",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("eccentricity", "tilt"),
        "once per turn, in another direction on every gear",
        (
            "chuck or arbor does not repeat: dirt, wear, play, clamping force",
            "datum of the blanks runs out before grinding",
            "mounted anew off centre or inclined for each measurement",
        ),
        "clamp one part several times: does its datum run out in another direction each time?",
        "high",
        GEOMETRY,
        "clamping",
    ),
    CauseRow(
        ("lobes",),
        "runout of a low order, in another direction on every gear",
        (
            "the parts sit in the jaws in any position",
            "ovality of heat treatment released",
            "thin ring clamped out of round on the measuring instrument",
        ),
        "mark jaw 1 on some parts: do the lobes follow the jaws? Then less force, more or wider jaws",
        "high",
        GEOMETRY,
        "clamping",
    ),
    CauseRow(
        ("tangential",),
        "pitch once per turn on both flanks alike, no runout of it",
        (
            "table or encoder, synchronisation",
            "rotary table of the measuring instrument",
            "temperature drift while pitch was measured",
        ),
        "measure again from another start tooth; compensate the encoder's first order",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("tilt",),
        "helix slopes once per turn: taper that turns into lead round the gear",
        (
            "locating face runs out, burr or chip on it",
            "tilted clamping",
            "mounted with tilt on the measuring instrument",
        ),
        "clean or dress the seat; check face runout of the locating face",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("lobes",),
        "runout of a low order, cumulative pitch smaller than runout",
        (
            "thin ring clamped out of round",
            "ovality of heat treatment released",
            "clamping on as many points as there are lobes",
        ),
        "less clamping force, more or wider jaws; turn the part against the jaws: do the lobes follow them?",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("radial_order", "pitch_order"),
        "a wave of pitch or runout",
        ("kinematic error of table or wheel spindle", "an order of the flanks seen once a tooth"),
        "profiles of more teeth tell the order on the flanks",
        "low",
    ),
    CauseRow(
        ("pitch_ramp",),
        "index rises round the gear and steps between two teeth",
        (
            "measuring drift or slip",
            "part moved in its clamping while it was ground",
            "wear or heat over one turn (single indexing only)",
        ),
        "warm up and measure from another start tooth: a step that moves is the measurement's",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("wheel_thread",),
        "pitch pattern that comes again after some teeth",
        ("one or more threads of the wheel off: dress indexing, thread runout",),
        "dress again; a number of threads that shares no divisor with the teeth",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("one_tooth",),
        "one flank of one tooth sits off its neighbours",
        ("dirt, burr or damage at the tooth", "probe caught"),
        "clean and measure again",
        "medium",
    ),
    CauseRow(
        ("profile_crowning", "profile_crowning_asymmetry"),
        "profile crowning off its design",
        ("dresser profile", "wheel worn at thread tip or root", "dressing path"),
        "crowning of the dresser by target less actual",
        "high",
    ),
    CauseRow(
        ("helix_crowning", "helix_crowning_asymmetry"),
        "helix crowning off its design",
        ("radial path over the stroke", "wheel gives way over the stroke", "barrel radius of the wheel"),
        "infeed of the ends against the middle",
        "high",
    ),
    CauseRow(
        ("twist",),
        "profile slope changes along the face",
        (
            "natural twist: crowning made by radial motion alone",
            "crossed axes with a wide contact path",
        ),
        "act on twist less natural twist only",
        "high",
        "published effect, action uncertain",
    ),
    CauseRow(
        ("s_shape",),
        "S-shaped profile",
        (
            "form of the dresser",
            "wheel worn on a part of its profile",
            "roughing and finishing zones do not match",
        ),
        "dress; compare the first part after dressing",
        "medium",
    ),
    CauseRow(
        ("helix_s_shape",),
        "S-shaped helix",
        ("path of the stroke", "part gives way towards the ends"),
        "compare with a slower feed",
        "low",
    ),
    CauseRow(
        ("overtravel",),
        "helix turns at one end of the face",
        (
            "overtravel too short: plus at the end",
            "wheel pushed off less at entry and exit: minus at both ends",
            "burr or chamfer",
        ),
        "longer stroke, slower feed at the ends; check the chamfer",
        "high",
        GEOMETRY,
    ),
    CauseRow(
        ("tip_end", "root_end"),
        "profile turns at its tip or root end",
        ("chamfer or burr at the tip", "wheel worn at thread root or tip", "fillet within the range"),
        "check the limits of evaluation, then dress",
        "medium",
    ),
    CauseRow(
        ("lobes",),
        "as many lobes as jaws, or a multiple",
        ("thin ring clamped out of round by the jaws", "jaws worn or dirty"),
        "less clamping force, more or wider jaws, a full diaphragm; grind one part turned against the jaws",
        "high",
        GEOMETRY,
        "jaws",
    ),
    CauseRow(
        ("ripple",),
        "waves on the flanks",
        (
            "wheel once per turn: unbalance, runout (orders teeth/threads and multiples)",
            "dressing disc (changes after each dress)",
            "table or encoder (whole orders)",
            "vibration from outside (order moves with speed)",
        ),
        "balance and dress; grind one part at five per cent more wheel speed: does the order move?",
        "medium",
        "derived geometry, common practice",
    ),
    CauseRow(
        ("ripple",),
        "waves that all teeth share (a multiple of the number of teeth)",
        (
            "form of the dresser on the whole profile",
            "a modification that the design in the part file lacks",
            "contact of two or three threads in turn",
        ),
        "check [design.profile]; dress; compare the first part after dressing",
        "medium",
        GEOMETRY,
        "mesh",
    ),
    CauseRow(
        ("ripple",),
        "waves that go with whole turns of the grinding wheel",
        (
            "wheel unbalanced or running out",
            "wheel spindle",
            "dressing disc (changes after each dress)",
        ),
        "balance at grinding speed, dress; a wave that changes with the dress comes from dressing",
        "high",
        "derived geometry, published effect",
        "wheel",
    ),
)  # fmt: skip


def causes_of(components: Sequence[Component]) -> tuple[Cause, ...]:
    """Rows of the table for the components found, in the order of the components."""
    found: list[Cause] = []
    for component in components:
        rows = [row for row in SIGNATURES if component.key in row.keys]
        own = [row for row in rows if row.origin is not None and row.origin == component.origin]
        for row in own or [row for row in rows if row.origin is None]:
            cause = Cause(row.keys, row.signature, row.causes, row.correction, row.confidence, row.basis)
            if cause not in found:
                found.append(cause)
    return tuple(found)
