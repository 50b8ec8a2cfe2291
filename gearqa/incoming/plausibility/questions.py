"""Looks at reported figures alone and asks about what honest figures show rarely or never.

Every statistical check may ask in `HONEST_LEVEL` of honest reports; the benchmark `plausible_reports`
counts false alarms and what is found.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from gearqa.evaluation.criteria import criteria_of
from gearqa.incoming.editions import Edition, edition_claimed
from gearqa.incoming.plausibility.contradictions import contradictions
from gearqa.incoming.plausibility.copies import Alike, copied_flanks, copied_gears, grouped
from gearqa.incoming.plausibility.distributions import Oddness, edges, last_digits
from gearqa.incoming.plausibility.figures import HONEST_LEVEL, Figures
from gearqa.incoming.plausibility.magnitudes import WrongSize, wrong_sizes
from gearqa.model.editions import EDITIONS_OF_ISO_1328_1
from gearqa.model.incoming import ReportedValue
from gearqa.model.part import Part
from gearqa.model.plausibility import CHECKS, Check, FigureQuestion, Plausibility
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import cases_text, count_text, fixed_text, short_text
from gearqa.wording.sentences import place_text, some_of, symbols_text
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

MOST_NAMED: Final = 4
EXCHANGED_CASES, EXCHANGED_SHARE, EXCHANGED_RATIO = 6, 0.9, 1.25
"""Cases, share of them and ratio from which form above total is asked about: one shape of a whole lot can
put form somewhat above total in most traces."""


def plausibility(
    values: Sequence[ReportedValue], part: Part, editions: Mapping[str, Edition], typed: Mapping[str, float]
) -> Plausibility:
    """What in the reported figures asks for a look; `typed` is the last digit of every parameter. [um]"""
    figures = Figures.of(values, part, editions, typed)
    criteria = criteria_of(part)
    digits = last_digits(figures)
    shapes, shapes_looked = edges(figures, criteria)
    looked: dict[Check, bool] = dict.fromkeys(CHECKS, True)
    looked["last_digits"] = digits is not None
    looked["pile_up"] = looked["trimmed"] = shapes_looked
    looked["copied_gears"] = looked["digits_alike"] = len(figures.serials) > 1
    looked["copied_flanks"] = any(place.flank == "right" for place in figures.places)
    looked["class_of_no_edition"] = any(value.class_ is not None for value in values)
    found = [
        *_contradictions(figures),
        *_form_above_total(figures),
        *map(_wrong_size, wrong_sizes(figures, criteria)),
        *_copies(figures),
        *(_odd(one) for one in (digits, *shapes) if one is not None and one.probability <= HONEST_LEVEL),
        *_classes(figures),
    ]
    return Plausibility(
        tuple(found),
        tuple(check for check, done in looked.items() if done),
        tuple(check for check, done in looked.items() if not done),
    )


def _contradictions(figures: Figures) -> Iterator[FigureQuestion]:
    """One question for each relation that is not kept, over all gears."""
    groups = defaultdict(list)
    for one in contradictions(figures):
        groups[one.parameters].append(one)
    for parameters, some in groups.items():
        named = some_of([f"{_named(one.serial)} {one.text}" for one in some], MOST_NAMED)
        serials = tuple(dict.fromkeys(one.serial for one in some))
        text = f"figures that cannot stand together on one gear: {named}"
        yield FigureQuestion("contradiction", "cannot be", None, serials, parameters, len(some), text)


def _form_above_total(figures: Figures) -> Iterator[FigureQuestion]:
    """Form well above total nearly everywhere: the columns of a report, exchanged."""
    place = {one: number for number, one in enumerate(figures.places)}
    for kind in ("profile", "helix"):
        keys = (f"{kind}_form", f"{kind}_total")
        pairs = [
            (n, place.get(figures.places[n]._replace(parameter=keys[1]))) for n in figures.columns(keys[0])
        ]
        blocks = [figures.um[:, [form, total]] for form, total in pairs if total is not None]
        both = np.concatenate(blocks) if blocks else np.empty((0, 2))
        both = both[np.isfinite(both).all(axis=1)]
        above = both[:, 0] > both[:, 1] + figures.digit.get(keys[0], 0.0)
        if len(both) < EXCHANGED_CASES or above.mean() < EXCHANGED_SHARE:
            continue
        if np.median(both[:, 0]) < EXCHANGED_RATIO * np.median(both[:, 1]):
            continue
        form, total = map(symbol_of, keys)
        text = f"{form} exceeds {total} in {above.sum()} of {len(both)} cases: were the columns exchanged?"
        yield FigureQuestion(
            "form_above_total", "unlikely", None, figures.serials, keys, int(above.sum()), text
        )


def _wrong_size(one: WrongSize) -> FigureQuestion:
    whose = f"{symbols_text(one.parameters)}" if len(one.parameters) == 1 else "the figures"
    if one.against == "other gears":
        whose = f"the figures of {_named(one.serials[0])}"
    against = "what is allowed" if one.against == "tolerance" else f"what the {one.against} suggest"
    fits = f"; {one.fits}" if one.fits else ""
    text = f"{whose}: the median is {short_text(one.ratio, 2)} times {against}{fits}: is the unit right?"
    return FigureQuestion("unit", "unlikely", None, one.serials, one.parameters, one.values, text)


def _copies(figures: Figures) -> Iterator[FigureQuestion]:
    """One question for gears that hang together."""
    gears = [one for one in copied_gears(figures) if one.check == "copied_gears"]
    yield from (_alike(figures, some) for some in grouped(gears))
    taken = {frozenset((one.first, one.second)) for one in gears}
    digits = [one for one in copied_gears(figures) if one.check == "digits_alike"]
    digits = [one for one in digits if frozenset((one.first, one.second)) not in taken]
    yield from (_alike(figures, some) for some in grouped(digits))
    yield from (_alike(figures, some) for some in grouped(list(copied_flanks(figures))))


def _alike(figures: Figures, some: Sequence[Alike]) -> FigureQuestion:
    first = min(some, key=lambda one: one.probability)
    rows = dict.fromkeys(row for one in some for row in (one.first, one.second))
    serials = tuple(figures.serials[row] for row in rows)
    parameters = tuple(dict.fromkeys(figures.places[n].parameter for n in first.columns))
    pair = (figures.serials[first.first], figures.serials[first.second])
    a, b = map(_named, pair)
    others = [_named(serial) for serial in serials if serial not in pair]
    number = len(first.columns)
    counted = f"{number} of {first.compared} figures"
    if first.check == "copied_flanks":
        where = f"left flank of {a} and right flank of {b}"
        text = f"{where}: {counted} are equal"
    elif first.check == "digits_alike":
        text = f"{a} and {b}: {counted} end in the same digit"
    elif first.offset:
        steps = count_text(abs(first.offset), "last digit")
        text = f"{a} and {b}: {counted} differ by the same {steps}"
    else:
        text = f"{a} and {b}: {counted} are equal"
    more = f" (also {some_of(others, MOST_NAMED)})" if others else ""
    text += f"{more}; by chance {cases_text(first.probability)}: was one measured, or typed, for the other?"
    return FigureQuestion(first.check, "unlikely", first.probability, serials, parameters, number, text)


def _odd(one: Oddness) -> FigureQuestion:
    chance = f"by chance {cases_text(one.probability)}"
    if one.check == "last_digits":
        text = (
            f"last digits are uneven over {one.values} figures ({one.often[0]} most often, {one.often[1]} "
            f"least); {chance}: were figures rounded, read off a scale, or typed by hand?"
        )
    else:
        where = place_text(one.parameters[0], one.flank)
        limit = f"{fixed_text(one.limit_um or 0.0)} µm"
        if one.check == "pile_up":
            text = (
                f"{where}: {one.near} of {one.values} figures lie right below the limit of {limit}, fewer on "
                f"either side; {chance}: were figures set to the limit?"
            )
        else:
            text = (
                f"{where}: the {one.values} figures end at the limit of {limit} as if those beyond it were "
                f"missing; {chance}: were gears sorted out before?"
            )
    return FigureQuestion(one.check, "unlikely", one.probability, (), one.parameters, one.values, text)


def _classes(figures: Figures) -> Iterator[FigureQuestion]:
    """Claims that the reported value itself meets in no edition, not even rounded to whole micrometres.

    The editions of ISO 1328-1 are often named wrongly, so a claim by one may meet the other.
    """
    found = []
    for value in figures.values:
        claimed = edition_claimed(value.standard, figures.editions)
        titles = EDITIONS_OF_ISO_1328_1 if claimed in EDITIONS_OF_ISO_1328_1 else (claimed,)
        known = [
            one for title, one in figures.editions.items() if title in titles and value.parameter in one.rows
        ]
        if value.class_ is None or not known:
            continue
        typed = (abs(value.value_um) - 0.5 * 10.0**-value.decimals, float(int(abs(value.value_um) + 0.5)))
        meets = [one.class_of(value.parameter, max(0.0, um)) for one in known for um in typed]
        if all(class_ is None or class_ > value.class_ for class_ in meets):
            found.append(value)
    if not found:
        return
    named = [
        f"{_named(v.serial)} {place_text(v.parameter, v.flank)} class {_named(v.class_text)}" for v in found
    ]
    text = (
        f"{count_text(len(found), 'claimed class', 'claimed classes')} better than the reported value meets "
        f"in any edition: {some_of(named, MOST_NAMED)}"
    )
    serials = tuple(dict.fromkeys(v.serial for v in found))
    keys = tuple(dict.fromkeys(v.parameter for v in found))
    yield FigureQuestion("class_of_no_edition", "cannot be", None, serials, keys, len(found), text)


def _named(text: str) -> str:
    """A serial or a claim as a sentence holds it."""
    return clip(text, LONGEST_IN_SENTENCE)
