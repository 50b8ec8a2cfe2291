"""A diagnosis in a few lines, for the sheet of a gear that does not conform."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gearqa.model.diagnosis import Component, GearDiagnosis
from gearqa.report.blocks import document as doc
from gearqa.report.diagnosis.names import component_name, keys_text, rung_class
from gearqa.report.diagnosis.words import shares_text
from gearqa.wording.numbers import DASH, fixed_text, um_text
from gearqa.wording.sentences import sentence
from gearqa.wording.visible import clip

MOST: Final = 3
LONGEST_SERIAL: Final = 48
RAW: Final = "The measured class counts."
KEEPS: Final = "What keeps this gear from conforming"


def what_keeps(gear: GearDiagnosis | None, serial: str) -> tuple[doc.Block, ...]:
    """What keeps a gear from conforming and what it would be without; where there is more, or all of it."""
    more = f"gearqa diagnose FOLDER --serial {clip(serial, LONGEST_SERIAL)}"
    lines = [f"Components, causes and corrections: {more}"]
    if gear is not None:
        lines = [*_lines(gear), f"Causes, corrections and what cannot be told: {more}"]
    return (doc.Paragraph(KEEPS, "lead"), doc.Bullets(tuple(lines), "note"))


def _lines(gear: GearDiagnosis) -> Iterator[str]:
    better = [rung for rung in gear.ladder if rung.without and rung.conforms]
    last = gear.ladder[-1]
    least = min(better, key=lambda rung: len(rung.without), default=last)
    telling = [one for one in gear.components if one.significant and shares_text(one) != DASH]
    telling.sort(key=lambda one: one.key not in least.without)
    if telling:
        yield sentence("; ".join(map(_component, telling[:MOST])))
    if better:
        yield f"Without {keys_text(least.without)} it would conform: class {rung_class(least)}. {RAW}"
    elif last.without:
        yield f"Without {keys_text(last.without)} it would still not conform: class {rung_class(last)}. {RAW}"
    else:
        yield "No component that was found would change that."


def _component(one: Component) -> str:
    place = "" if one.phase_deg is None else f" at {fixed_text(one.phase_deg, 0)}°"
    size = um_text(one.amplitude_um, signed=one.phase_deg is None)
    return f"{component_name(one)} {size}{place} ({shares_text(one)})"
