"""What `gearqa explain` prints, as blocks of a report: numbers and names come from the code."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from typing import get_args

from gearqa.cli.code_topics import EXPLAINED_IN, code_blocks, code_list, codes
from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.parameter_topics import parameter_blocks, parameter_named
from gearqa.model.editions import ISO_1328_1_2013
from gearqa.model.gauge import ACCEPTABLE_PERCENT, GOOD_PERCENT, WANTED_INDEX
from gearqa.model.part import DEFAULT_MASTER_CLASS
from gearqa.model.results import DoubtCode
from gearqa.reading.folder.table_kinds import QUANTITIES, TABLES
from gearqa.report.blocks.document import Block, Bullets, Column, Paragraph, Table
from gearqa.symbols import DEFAULT_GRADED, PARAMETERS
from gearqa.wording.codes import code_named
from gearqa.wording.numbers import percent_text, share_text, short_text
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.verdicts import MASTER_QUALITY, RULES


@dataclass(frozen=True, slots=True)
class Topic:
    """One topic of `gearqa explain`."""

    title: str
    blocks: Callable[[], list[Block]]
    sketches: bool = False
    """Whether sketches of ring and pinion come above the text."""
    drawn: bool = False
    """Whether its page has drawings of its own, in `cli.sketches`."""


def _bullets(text: str, *more: str) -> Bullets:
    """Bullets from lines that begin with a dash, however they are broken."""
    points = re.split(r"^\s*- ", text, flags=re.MULTILINE)[1:]
    return Bullets((*(" ".join(point.split()) for point in points), *more))


def _points(text: str, *more: str) -> Callable[[], list[Block]]:
    """Blocks of a topic that is a list of points."""
    return lambda: [_bullets(text, *more)]


FLANKS = """
    - Look onto the datum face, the face that helix positions are counted from. Turn the gear until the
      tip of the tooth points up. The flank on your left is the left flank, the one on your right the
      right flank. On a ring this is the tooth at the bottom.
    - Teeth are numbered clockwise, seen onto the datum face. Space i lies clockwise of tooth i.
    - External gear, going clockwise: left flank, then right flank. Space i lies between the right flank
      of tooth i and the left flank of tooth i+1.
    - Internal gear, going clockwise: right flank, then left flank. Space i lies between the left flank of
      tooth i and the right flank of tooth i+1.
    - Seen from the other face left and right change places, and so does the counting direction. An
      instrument that looks from there, or counts anticlockwise, is read with a column map: [convention]
      seen_from = "opposite_face", numbering = "anticlockwise".
"""

SIGNS = """
    - Profile and helix deviations: plus is more material than the design, on external and internal gears
      alike. They are given in the transverse plane along the base tangent; with deviation_plane =
      "normal" in part.toml they are divided by cos(beta_b) on reading.
    - Pitch and index: plus is displaced clockwise, seen onto the datum face, along the arc of the
      measuring circle.
    - Runout readings: plus is away from the gear axis.
    - Profile slope: plus gains material towards the tip.
    - Helix slope: plus gains material away from the datum face. The sign by helix angle (plus: the helix
      angle is larger) is given too; equal signs of both flanks without that turn mean taper, opposite
      ones a lead error. For a spur gear it is right-hand or left-hand.
    - Roll length is counted from the base circle. On an internal gear the tip has the smaller diameter,
      so roll length falls towards the tip.
"""


def _classes() -> list[Block]:
    graded = ", ".join(PARAMETERS[key].symbol for key in DEFAULT_GRADED)
    words = {"default": "yes", "on_request": "on request", "never": "no"}
    return [
        _bullets(f"""
        - {ISO_1328_1_2013} has the flank tolerance classes 1 (finest) to 11. From class to class the
          tolerance grows by the square root of 2. gearqa tolerances prints them for a gear.
        - A value meets a class if it is not larger than that class's rounded tolerance; slopes count by
          magnitude. A value beyond class 11 is reported as such and counts as the worst.
        - Graded unless the drawing says otherwise: {graded}. The class of a gear is the worst of them. If one
          of them was not measured the class is incomplete, and always marked so.
        - The exact class is the same formula solved for the class: 4.3 lies just beyond class 4. It follows
          the unrounded tolerance, so near a step it may differ from the class.
        - Limits of the drawing win over the class for conformity: every evaluated trace must lie inside.
          Class and master quality still go by the formulas.
        - Slopes are printed over two spans: the full span (control to tip diameter, whole face width), as the
          edition of 2013 takes it, and the evaluation length, as the edition of 1995 and many charts do. The
          second is smaller: compare like with like.
        - Runout Fr, sector pitch Fpz/8 and adjacent pitch fu have their tolerances in annexes.
    """),
        Table(
            "Parameters",
            tuple(Column(title, "left") for title in ("symbol", "key", "graded", "name")),
            tuple((p.symbol, p.key, words[p.grading], p.name) for p in PARAMETERS.values()),
        ),
    ]


MASTER = f"""
    - No standard defines master quality; the job does, in [master_quality] of part.toml: a class, and the
      parameters that must meet it on every graded flank.
    - Without that table it is class {DEFAULT_MASTER_CLASS} in all graded parameters: handbooks list
      measuring gears at grades 3 to 5.
    - Three answers: reached; not reached (one value is beyond the class: that parameter is named); not
      decidable (nothing is beyond, but something that counts was not measured).
    - The job has reached master quality only if every gear has. The criterion is always printed with the
      answer.
"""


def _verdicts() -> list[Block]:
    from gearqa.evaluation.probe_faults import HELD, QUARTER

    words = tuple(Column(title, "left", weight=weight) for title, weight in (("word", 0), ("means", 1)))
    values = (
        ("conforms", "inside what the drawing allows; of a gear: all of its values"),
        ("does not conform", "at least one value is outside; what was not measured changes nothing in that"),
        ("not proven", "a limit lies within the measurement uncertainty U; needs [uncertainty_um]"),
        ("not assessed", "not measured, or the readings are in doubt; never a pass"),
    )
    master = (
        (MASTER_QUALITY[True], "everything that counts meets the class of [master_quality]"),
        (MASTER_QUALITY[False], "something that counts does not"),
        (MASTER_QUALITY[None], "nothing is beyond, but something that counts is not assessed"),
    )
    doubts = tuple((code, texts[0]) for code in get_args(DoubtCode) if (texts := code_named(code)))
    return [
        Table("A value, a gear, a lot against the drawing", words, values),
        Table("Master quality", words, master),
        Table("Decision rules: how a value counts that is not proven", words, tuple(RULES.items())),
        Table("Readings that are not assessed for doubt, by code", words, doubts),
        _bullets(f"""
        - In JSON a verdict is true, false or null, and the reason stands beside it. Every warning has a
          code that stays the same from version to version: gearqa explain CODE, or gearqa explain codes.
        - stuck: the same value everywhere, or over more than {percent_text(QUARTER)} of the range on end and
          left by a jump. clipped: extremes held over {percent_text(HELD)} of the points or more.
        - unit_doubt, stuck and clipped can be taken as they stand: [[evaluation.confirmed]] in part.toml,
          with name and reason, printed everywhere.
        - The lot: gearqa explain lot. A supplier's claims: gearqa explain incoming. Exit status: gearqa
          explain exit-status.
    """),
    ]


def _files() -> list[Block]:
    rows = tuple(
        (table.kind, ", ".join(map(" or ".join, table.required)), ", ".join(table.optional))
        for table in TABLES.values()
    )
    units = ", ".join(" or ".join(q.columns) for q in QUANTITIES.values() if len(q.columns) > 1)
    return [
        Paragraph(
            "One folder holds what was measured on one part number: part.toml, and CSV or Parquet tables in "
            "it. A table is known by its columns, not by its name, and may be split over several files. "
            "Start one with: gearqa new FOLDER"
        ),
        Table("Tables", tuple(Column(title, "left") for title in ("table", "needs", "may have")), rows),
        _bullets(f"""
        - The end of a column name is its unit: {units}.
        - flank is left or right (gearqa explain flanks); tooth and space run from 1 to the number of teeth.
          Serials are text: 007 and 7 differ.
        - One row a point, in any order. One trace is one serial, flank and tooth, and where given one face
          position (profile) or diameter (helix). Every trace is graded.
        - UTF-8, UTF-16 with byte order mark or Windows-1252; comma, semicolon or tab; decimal point, or
          decimal comma where the separator is not a comma. Empty lines and lines that begin with # are passed
          over.
        - Tables of another layout: gearqa columns FOLDER drafts a column map, gearqa grade FOLDER --columns
          map.toml reads with it.
        - A file to leave out: ignore = ["notes*.csv"] at the top of part.toml.
        - All faults of all files are reported at once, with file, line, column, what was found and what is
          expected; then nothing is written.
    """),
    ]


def _exit_status() -> list[Block]:
    return [
        Table(
            "",
            (Column("status"), Column("meaning", "left")),
            tuple((str(int(status)), status.meaning) for status in ExitStatus),
        ),
        Paragraph("A crash can never pass for a verdict: 0 and 1 are only ever given by a finished result."),
    ]


def _drift() -> list[Block]:
    from gearqa.drift.control import MINIMUM_REFERENCE, USUAL_REFERENCE
    from gearqa.drift.holds import HELD
    from gearqa.drift.outlook import CYCLES_FOR_INTERVAL
    from gearqa.model.drift import FAMILY, DriftSettings
    from gearqa.statistics.level_search import MINIMUM_CYCLES

    usual = DriftSettings()
    return [
        Paragraph(
            "A grinding wheel wears from part to part and is dressed; a dresser wears slowly; somebody "
            "changes the set-up. gearqa drift tells these apart, by part, grinder, parameter and flank. What "
            "it needs: a production table with dress and parts_since_dress, and at least two measured gears "
            "of each dress cycle, at different places in it."
        ),
        _bullets(f"""
        - Model: value = level after the dress of its cycle + wear at its part + scatter. The wear goes in
          chords from one measured part to the next, so it may bend. Charted is the mean over the traces of a
          flank, in the order of production.
        - Claims: chance alone makes a false claim of wear in {share_text(FAMILY.wear)} of reports, of a moved
          level in {share_text(FAMILY.level)}, of a label in {share_text(FAMILY.labels)}, all series together.
        - Wear: the slope inside the cycles, all cycles together. Its {share_text(usual.confidence)} interval
          comes from leaving out one cycle after the other, so it is wide where the wear differs from cycle to
          cycle. Without parts_since_dress no wear is claimed; --cycle-time estimates them from times, and
          says so.
        - Level change: from {MINIMUM_CYCLES} cycles on the levels are searched for places where they move and
          stay, and for a trend. A level change is named if a trend does not explain it as well; else the
          report says that the level moved. Events recorded near it, and labels that change there, are
          possible causes. A level that wanders looks like several level changes.
        - Recorded correction with a size (events table: parameter, flank, correction, unit): fitted at its
          place; as intended, smaller, larger, no effect, opposite or not decidable. An event without a size
          explains nothing by itself.
        - Labels: fixture, instrument, operator, temperature and the time since a stop of more than four hours
          are tested; a claimed effect is taken out of wear and levels.
        - Forecast: parts of the running cycle until the worst trace reaches the limit, with an interval.
          The limit is that of the drawing or class in the part data
          of the newest gear, less the guard where the uncertainty U is known. Where no wear is proven, no
          crossing is shown.
        - Dress interval: the most parts for which the last one lies beyond the limit with no more than the
          chosen risk (--risk, by default {share_text(usual.risk)}), over histories like this one; it allows
          for the wear, its uncertainty and the scatter of levels and parts. From {CYCLES_FOR_INTERVAL} cycles
          on, never beyond the parts measured after a dress: then it says "at least": to lengthen, raise in
          steps and measure. Where the wear bends between two measured parts, the worse of the two counts in
          between, and the gap to measure is named. The offset that
          centres the cycle is how far the level would have to move.
        - Control charts: the levels, their changes from cycle to cycle, and smoothed residuals of the model.
          Limits come from at least {MINIMUM_REFERENCE} cycles (the first {USUAL_REFERENCE} before a level
          change, or --reference, or gearqa history freeze), are wider where these are few, and stay. All
          series together give a false alarm in {share_text(usual.family_false_alarm)} of dress cycles. The
          one rule is: a point beyond a limit. Control limits are no tolerance limits: a signal says that the
          process has changed, not that a gear is bad.
          Recorded corrections are taken out of the charts as they were meant.
        - Gears to hold, on a level change, a correction that did something else, a signal of the current
          cycle or a measured gear beyond its limit: every part made since the change and not measured that
          has more than {share_text(HELD)} chance to lie beyond a limit. The production table may list parts
          that were not measured: then their serials are named.
        - Which parts to measure: the fewest places of each cycle at which a lasting change shows on the chart
          of levels before more than one cycle (--escaped-parts) is made, in 95 of 100 cases.
    """, SETTER),
        Paragraph("Exit status: 1 on a signal of the current cycle (or since --since), gears to hold, a "
                  "correction that did something else than was meant, or a limit that is reached within the "
                  "usual dress interval; older signals are only listed."),
    ]  # fmt: skip


def _lot() -> list[Block]:
    from gearqa.model.decision_table import TABLE as DECISION_TABLE
    from gearqa.model.plan import REQUIREMENTS
    from gearqa.signoff.sampling_plan import DEFAULT_CONSUMER_RISK, DEFAULT_LIMITING_QUALITY

    return [
        Table(
            "Decision table: the first row that fits decides, every row that fits is a reason",
            (Column("row"), Column("when, and what follows", "left", weight=1), Column("outcome", "left")),
            tuple((row.number, row.rule, row.outcome) for row in DECISION_TABLE),
        ),
        _bullets(f"""
        - One value: conforms if the probability that the true value lies within the limits is at least the
          confidence of the plan, does not conform if the probability that it lies outside is, else not
          proven. Without an uncertainty in part.toml the value is compared as it is.
        - The decision rule says only how not proven counts: guarded acceptance not as conforming, simple
          acceptance by the value itself, guarded rejection as conforming.
        - One gear takes the worst state of its values: does not conform, not assessed (one is missing), not
          proven, conforms.
        - The plan accepts if enough gears were measured and those that do not conform, or are open, are no
          more than the acceptance number. It rejects if those that do not conform are more. A sample smaller
          than asked for is never accepted.
        - Gears left out of the sample (--exclude, --serial) are judged too; one that does not conform holds
          the lot until it is sorted out. A lot measured whole gives a sort result and no risk of sampling.
        - The sample is spread over the dress cycle: no more than half of it on end without a measured gear.
          The length of a cycle is the lot size by the dress cycles of the plan, or of the production table.
        - Risks are stated by the plan alone and as measured. Bounds with dress cycles known hold from two
          cycles on; few cycles give wide ones.
        - Without a plan file: a plan for one lot, acceptance number 0, limiting quality
          {share_text(DEFAULT_LIMITING_QUALITY)}, consumer's risk {share_text(DEFAULT_CONSUMER_RISK)}: own
          computed plan, not a table of a standard. Another one: gearqa new FOLDER --plan
        - The whole lot is master quality only if every gear was measured. From a sample the share at master
          quality has exact bounds, and is shown, not shown or refuted.
        - Outliers, normality, indices, tolerance intervals and trends are cautions and change no decision,
          unless the plan requires them.
        - gearqa recommends, a person decides; that disposition is recorded with the recommendation.
    """),
        Table(
            "What require = [...] in a plan can ask for",
            (Column("word", "left"), Column("means", "left", weight=1)),
            tuple(REQUIREMENTS.items()),
        ),
    ]


def _incoming() -> list[Block]:
    from gearqa.incoming.plausibility.figures import HONEST_LEVEL

    text = f"""
        - Two answers, kept apart: are the claimed classes true, and why do the figures differ. A claim is
          judged on our value and our uncertainty U against the tolerance of the claimed class: confirmed if
          our value is within it with 95 % probability, not confirmed if it is beyond it with 95 %, else not
          proven. A better class found than claimed is confirmed.
        - A class belongs to an edition. A claim by another edition is judged by the tolerances of that
          edition; a class of another system is not compared as a number.
        - En: the difference over the root of both squared uncertainties. Up to 1 in magnitude both sides
          agree within what they state; a large stated U makes every En look good.
        - The difference is explained by evaluating traces again under the settings that laboratories use:
          slope over the full span or the evaluation length, ranges, filter, plane, sign, flanks and teeth
          named otherwise, worst or mean. A cause is named only where nothing else fits alike.
        - Agreement: the bias is the mean of reported less found; the limits of agreement hold 95 % of such
          differences. Compare them with the tolerance. Agreement proves neither side: both may be wrong in
          the same way.
        - Can the figures be true: looked at without any measurement. Contradictions follow from the
          definitions, beyond rounding: of total, form and slope over the evaluation length none exceeds the
          sum of the other two; fp does not exceed Fp. Form above total alone is no contradiction. What is
          unlikely (copied gears, uneven last digits, values that pile up below a limit or end there) is
          asked about where honest reports would show it in {share_text(HONEST_LEVEL, 1)} or fewer. These are
          questions to the supplier, never an accusation, and they change no verdict.
        - Not measured by us: then nothing is confirmed or refused; only whether the claims follow from the
          reported values, and whether these can stand together.
    """
    return [_bullets(text)]


def _gauge() -> list[Block]:
    from gearqa.statistics.gauge_study import POOL_ABOVE

    good, usable = short_text(GOOD_PERCENT), short_text(ACCEPTABLE_PERCENT)
    text = f"""
        - A crossed study tells spread, not bias: items measured by several operators (or set-ups, days,
          instruments: --factor) several times. Repeat: the same item by the same operator again. Operator:
          what operators differ on average. Interaction: what they differ from item to item; pooled with the
          repeats where the p of its test is above {short_text(POOL_ABOVE)}.
        - Gauge spread over the tolerance: 6 s over its width (over the limit, where there is only an upper
          one). Up to {good} % good, up to {usable} % usable where the job allows it (common practice), above
          it not good enough. A yes that the interval of the spread (95 % bounds of Cg and Cgk)
          does not prove says so; values that never differ are not judged.
        - A study with cells missing, or measured unequally often, is analysed by a mixed model (restricted
          maximum likelihood); where it is complete both ways give the same, unless a component is below 0.
        - A calibrated gear tells the bias. U = 2 times the root of squared spread and squared standard
          uncertainty of the reference, plus the bias in full. Cg and Cgk of at least
          {short_text(WANTED_INDEX)} are wanted (common practice); none for one-sided limits. En compares the
          bias with the certificate.
        - Several calibrated gears (column item) that differ in size tell whether the bias changes with it:
          from three gears on, one point a gear.
        - The result ends with an [uncertainty_um] table for part.toml: lot and incoming decide with it. U
          holds for the calibrated gear; what differs on the product comes on top.
        - An instrument whose calibration was due before it measured (calibration_due and measured_at of the
          production table) is told in grade, lot and incoming.
    """
    return [_bullets(text)]


DIAGNOSE = """
    - Every deviation is a sum of physical errors and scatter. One least squares fit over slopes,
      crownings and S-shapes of all traces, the index of all teeth and the ball readings finds how large
      each error is; what scatters from tooth to tooth gives its U (k = 2).
    - A component is named only if it is beyond chance within the report as a whole: gears without errors
      are meant to show none. A lot's components are means over the gears, directed ones as vectors, held
      against the scatter from gear to gear.
    - Eccentricity (radial) makes runout, pitch, profile and helix slopes once per turn: clamping or
      datum. A tangential first order makes pitch without runout: table, encoder or the measuring
      instrument. Both come out of the index of the two flanks. Nothing here can tell a gear ground off
      centre from one measured off centre: clamp again, turned by 180 degrees.
    - Directions are clockwise from the centre of tooth 1, seen onto the datum face: where the toothing
      lies farthest from the axis; of tilt, where its far end does; of pitch, where teeth are most
      clockwise; of ripple, where there is most material.
    - Signs: below the components stands what plus means. Pressure angle and lead are in micrometres of
      slope: pressure angle plus is more material at the tip, that is an angle too small, and is corrected
      by a larger one; lead plus is a helix angle too large (spur gear: right-hand).
    - What if: a component is taken out of the readings, and the gear evaluated and graded again. The
      measured class counts; shares need not add up.
    - Ripple: an order is named from 8 teeth on, if no other order fits as well. From the usual four
      equally spaced teeth it cannot be told; the measuring plan says what could.
    - Centring is told as the toothing is to move on the gear: at the grinder the workpiece moves the other
      way.
    - Corrections invert geometry. What a grinder makes of a command is not known before a trial step;
      where the events table records corrections, their effect gives the gain. A qualified setter checks
      sign, size and reach.
"""

LIMIT_CURVES = """
    - Drawings that give an upper and a lower curve, beside a class or instead of it:
      [tolerance.curve.profile] and [tolerance.curve.helix], by points (from memory: common in North
      American practice).
    - The filtered trace, against the unmodified flank, is shifted along the deviation axis, not tilted,
      to where its smallest distance to either curve is largest: that is its margin. Below 0 it lies
      outside.
    - Level curves leave half of what their distance is more than the total deviation. So twice the
      margin is judged under U of the total deviation.
    - A pass says nothing about slope or form. Where the drawing gives a class too, both count.
"""

SIZE = """
    - gearqa size computes the size of teeth, nominal and at limits; sizes in a size table are judged
      against [tolerance.size].
    - Thickness: normal, along the arc of the reference circle; m (pi/2 + 2 x tan alpha_n), with the sign
      of ISO 21771 for x: plus thickens, internal gears too. Allowance: thickness less the nominal one.
    - Over balls (between balls of an internal gear): inv alpha_K = inv alpha_t - s eta + s D/(z m cos
      alpha_n), s +1 external, -1 internal, eta half the angle of a space at the reference circle; the
      centres lie on d_b / cos alpha_K. With an odd number of teeth the balls do not stand opposite.
    - Span, external gears only: m cos alpha_n (pi (k - 1/2) + z inv alpha_t) + 2 x m sin alpha_n.
    - Chordal thickness: across the chord of the reference circle, in the normal section. Constant chord,
      external gears: where a rack touches both flanks of a tooth; thickness times cos^2 alpha_n,
      whatever the number of teeth. A tooth caliper takes either at its height below the tip.
    - Source: ISO 21771 and handbooks, from memory where no page is named; balls are checked against the
      helicoid by brute force, the rest against printed examples.
"""


def _zones() -> list[Block]:
    from gearqa.core.traces import FEWEST_POINTS

    text = f"""
        - Stretches of profile or helix with tolerances of their own, where the drawing states them:
          [[tolerance.zone]]. Whether a zone counts for conformity or is for information has to be said.
        - Within its zone the filtered trace is evaluated by itself: the total deviation about the design
          trace of the whole flank, the form deviation about the mean line of the zone alone. The worst
          traced tooth of a flank counts.
        - At least {FEWEST_POINTS} points are needed in a zone, and the trace has to cover it; else it is not
          assessed. Nor is it where the probe stood still over more than half of it.
        - Each is judged under U of the same deviation of the whole trace.
        - Source: {ISO_1328_1_2013} has an informative annex on zone-based tolerance evaluation. Its title is
          public, its text was not seen: the rule is ours, and nothing is evaluated so unless the drawing
          asks.
    """
    return [_bullets(text)]


TOPICS: dict[str, Topic] = {
    "flanks": Topic("Which flank is left and which is right", _points(FLANKS), sketches=True),
    "signs": Topic("Signs of deviations", _points(SIGNS)),
    "classes": Topic("Flank tolerance classes and parameters", _classes),
    "master-quality": Topic("Master quality", _points(MASTER, *CAUTIONS)),
    "verdicts": Topic("Words of verdicts, and codes of readings in doubt", _verdicts),
    "limit-curves": Topic(
        "Traces between an upper and a lower limit curve", _points(LIMIT_CURVES), drawn=True
    ),
    "zones": Topic("Zones with tolerances of their own", _zones, drawn=True),
    "size": Topic("Size of teeth: balls, span, thickness, chords", _points(SIZE), drawn=True),
    "files": Topic("The inspection folder and its tables", _files),
    "drift": Topic("Drift: wear, level changes, dress interval, limits", _drift),
    "lot": Topic("How a lot is decided: release, hold or reject", _lot),
    "diagnose": Topic("What components of a diagnosis mean", _points(DIAGNOSE)),
    "incoming": Topic("How a supplier's report is judged", _incoming),
    "gauge": Topic("How a measuring instrument is studied", _gauge),
    "codes": Topic("Codes of messages: what they mean, what to do", code_list),
    "exit-status": Topic("Exit status", _exit_status),
    **{
        one.key: Topic(f"{one.symbol}, {one.name}", partial(parameter_blocks, one), drawn=True)
        for one in PARAMETERS.values()
    },
}


def topic_named(word: str) -> tuple[str, Topic] | None:
    """Name and topic of a word: a topic, a parameter's symbol, a verdict or a code; None of others."""
    parameter = parameter_named(word)
    name = EXPLAINED_IN.get(word, word) if parameter is None else parameter.key
    if name in TOPICS:
        return name, TOPICS[name]
    blocks = code_blocks(name)
    return (name, Topic(f"Code {name}", lambda: blocks)) if blocks else None


def alike(word: str, options: Sequence[str] = ()) -> list[str]:
    """Topics that somebody may have meant, the likeliest first."""
    known = (*TOPICS, *EXPLAINED_IN, *codes(), *(one.symbol for one in PARAMETERS.values()), *options)
    return (
        get_close_matches(word, known, n=4, cutoff=0.5)
        or [one for one in known if word.lower() in one.lower()][:4]
    )
