"""Whether reported figures can be true, in words: careful ones, a question and never an accusation."""

from __future__ import annotations

from typing import Final

from gearqa.model.incoming import IncomingResult
from gearqa.model.plausibility import Check, FigureQuestion
from gearqa.report.blocks import document as doc
from gearqa.wording.numbers import count_text
from gearqa.wording.sentences import sentence

QUESTION: Final = "Can the figures be true by themselves"
CAREFUL: Final = (
    "These are questions, no findings: what is unlikely happens, and most oddities are typing and rounding."
)
_LOOKED: Final[dict[Check, str]] = {
    "contradiction": "contradictions by definition",
    "form_above_total": "columns exchanged",
    "unit": "units",
    "copied_gears": "gears too much alike",
    "copied_flanks": "flanks too much alike",
    "digits_alike": "digits too much alike",
    "last_digits": "last digits",
    "pile_up": "values piled up below a limit",
    "trimmed": "a lot without its tail",
    "class_of_no_edition": "classes that follow in no edition",
}


def plausible_answer(result: IncomingResult) -> doc.Answer:
    """Whether anything asks for a look, and what was looked for."""
    found = result.plausibility
    left = ", ".join(_LOOKED[check] for check in found.not_looked_for)
    tail = f"; too few figures to look for {left}" if left else ""
    if not found.questions:
        looked = ", ".join(_LOOKED[check] for check in found.looked_for)
        return doc.Answer(QUESTION, "nothing asks for a look", "good", sentence(f"looked for {looked}{tail}"))
    impossible = sum(one.strength == "cannot be" for one in found.questions)
    number = len(found.questions)
    answer = f"{count_text(number, 'point')} {'asks' if number == 1 else 'ask'} for a look"
    answer += f", {impossible} by definition" if impossible else ""
    first = sentence(found.questions[0].sentence)
    return doc.Answer(QUESTION, answer, "bad" if impossible else "open", first)


def questions_blocks(result: IncomingResult) -> list[doc.Block]:
    """What asks for a look, each with its reason; nothing where nothing does."""
    questions = result.plausibility.questions
    if not questions:
        return []
    lines = tuple((sentence(one.sentence), _kind(one)) for one in questions)
    columns = (doc.Column("asks for a look", "left", weight=1.0), doc.Column("", "left"))
    return [doc.Table("What the figures themselves ask", columns, lines, (CAREFUL,))]


def question_lines(result: IncomingResult) -> tuple[str, ...]:
    """The same as sentences, for a mail."""
    return tuple(sentence(one.sentence) for one in result.plausibility.questions)


def _kind(one: FigureQuestion) -> str:
    return "by definition" if one.strength == "cannot be" else "unlikely"
