"""`gearqa new`: start an inspection folder."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.errors import GearqaError

if TYPE_CHECKING:
    from gearqa.reading.settings.templates import Question

OPTIONS: dict[str, str] = {
    "part.number": "--number",
    "part.name": "--name",
    "part.revision": "--revision",
    "gear.kind": "--kind",
    "gear.teeth": "--teeth",
    "gear.normal_module_mm": "--module",
    "gear.normal_pressure_angle_deg": "--pressure-angle",
    "gear.helix_angle_deg": "--helix-angle",
    "gear.helix_hand": "--helix-hand",
    "gear.face_width_mm": "--face-width",
    "gear.profile_shift_coefficient": "--profile-shift",
    "gear.tip_diameter_mm": "--tip-diameter",
    "gear.root_diameter_mm": "--root-diameter",
    "evaluation.profile.control_diameter_mm": "--control-diameter",
    "evaluation.profile.tip_form_diameter_mm": "--tip-form-diameter",
    "tolerance.class": "--class",
    "master_quality.class": "--master-class",
}
"""Key of part.toml -> the option that answers it without asking."""

NOT_ASKED = {"part.revision", "gear.profile_shift_coefficient", "gear.root_diameter_mm"}
"""Rarely needed: taken as options or filled in by hand, never asked for."""


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to start; made if it is missing.")],
    number: Annotated[str | None, typer.Option("--number", metavar="TEXT", help="Part number.")] = None,
    name: Annotated[str | None, typer.Option("--name", metavar="TEXT", help="Name of the part.")] = None,
    revision: Annotated[str | None, typer.Option("--revision", metavar="TEXT", help="Revision.")] = None,
    kind: Annotated[
        Literal["internal", "external"] | None,
        typer.Option("--kind", help="Internal: ring; external: the rest."),
    ] = None,
    teeth: Annotated[int | None, typer.Option("--teeth", metavar="N", help="Number of teeth.")] = None,
    module: Annotated[float | None, typer.Option("--module", metavar="MM", help="Normal module.")] = None,
    pressure_angle: Annotated[
        float | None,
        typer.Option("--pressure-angle", metavar="DEG", help="Normal pressure angle [default: 20]"),
    ] = None,
    helix_angle: Annotated[
        float | None, typer.Option("--helix-angle", metavar="DEG", help="Helix angle [default: 0, spur]")
    ] = None,
    helix_hand: Annotated[
        Literal["right", "left"] | None, typer.Option("--helix-hand", help="Hand of the helix.")
    ] = None,
    face_width: Annotated[
        float | None, typer.Option("--face-width", metavar="MM", help="Face width.")
    ] = None,
    profile_shift: Annotated[
        float | None, typer.Option("--profile-shift", metavar="X", help="Profile shift coefficient.")
    ] = None,
    tip_diameter: Annotated[
        float | None, typer.Option("--tip-diameter", metavar="MM", help="Tip diameter.")
    ] = None,
    root_diameter: Annotated[
        float | None, typer.Option("--root-diameter", metavar="MM", help="Root diameter.")
    ] = None,
    control_diameter: Annotated[
        float | None,
        typer.Option("--control-diameter", metavar="MM", help="Root-side limit of the profile evaluation."),
    ] = None,
    tip_form_diameter: Annotated[
        float | None,
        typer.Option("--tip-form-diameter", metavar="MM", help="Tip-side limit of the profile evaluation."),
    ] = None,
    grade: Annotated[
        int | None, typer.Option("--class", metavar="A", help="Required flank tolerance class, 1 to 11.")
    ] = None,
    master_class: Annotated[
        int | None,
        typer.Option("--master-class", metavar="A", help="Class that is master quality [default: 4]"),
    ] = None,
    plan: Annotated[
        bool, typer.Option("--plan", help="Write FOLDER/plan.toml for gearqa lot instead.")
    ] = False,
    reported: Annotated[
        bool,
        typer.Option(
            "--reported", help="Write FOLDER/reported.csv, an empty sheet for gearqa incoming, instead."
        ),
    ] = False,
) -> int:
    """Start an inspection folder: part.toml and table templates.

    On a terminal what is missing is asked for. With all that is needed given as options nothing is asked.
    Every key of part.toml is explained in the file. Nothing that exists is overwritten; the templates are
    in FOLDER/templates and are not read.

    Which flank is left and which is right: gearqa explain flanks
    """
    from gearqa.cli.console import tell
    from gearqa.jobs.start import start_folder, start_plan, start_reported_sheet
    from gearqa.reading.settings.templates import questions

    if plan or reported:
        if plan:
            path = start_plan(folder)
            tell(f"written: {path}")
            tell(f"then: gearqa lot {folder} --plan {path} (how a lot is decided: gearqa explain lot)")
        if reported:
            path = start_reported_sheet(folder)
            tell(f"written: {path}")
            tell(f"then: gearqa incoming {path} {folder}")
        return ExitStatus.CONFORMS
    values = (
        number, name, revision, kind, teeth, module, pressure_angle, helix_angle, helix_hand, face_width,
        profile_shift, tip_diameter, root_diameter, control_diameter, tip_form_diameter, grade, master_class,
    )  # fmt: skip
    answers: dict[str, Any] = {key: v for key, v in zip(OPTIONS, values, strict=True) if v is not None}
    asked = questions()
    if (folder / "part.toml").exists():
        asked = ()  # refused below, before anything is asked
    missing = [q for q in asked if q.required and q.key not in answers and q.default is None]
    if missing and sys.stdin.isatty():
        ask(asked, answers, prompt)
    elif missing:
        wanted = ", ".join(OPTIONS[q.key] for q in missing)
        raise GearqaError(
            f"missing: {wanted}", hint="On a terminal they are asked for. Help: gearqa new --help"
        )
    for path in start_folder(folder, answers):
        tell(f"written: {path}")
    tell("next: check part.toml and put your tables into the folder (gearqa explain files)")
    tell(f"tables of another layout: gearqa columns {folder}; which flank is left: gearqa explain flanks")
    tell(f"then: gearqa grade {folder}")
    return ExitStatus.CONFORMS


def ask(asked: Sequence[Question], answers: dict[str, Any], answer_to: Callable[[Question], Any]) -> None:
    """Ask for what no option answered; an empty answer leaves an optional key out."""
    for question in asked:
        if question.key in answers or question.key in NOT_ASKED or not _applies(question, answers):
            continue
        helical = question.key == "gear.helix_hand"  # only asked of a helical gear, which needs it
        value = answer_to(replace(question, required=True) if helical else question)
        if value not in (None, ""):
            answers[question.key] = value


def _applies(question: Question, answers: Mapping[str, Any]) -> bool:
    return question.key != "gear.helix_hand" or bool(answers.get("gear.helix_angle_deg"))


def prompt(question: Question) -> Any:
    """Ask one question on the terminal until the answer is of the right kind."""
    choices = f" ({' or '.join(question.choices)})" if question.choices else ""
    optional = not question.required and question.default is None
    text = f"{question.text}{choices}{' [Enter: leave out]' if optional else ''}"
    default = "" if optional else question.default
    while True:
        answer = str(typer.prompt(text, default=default, show_default=not optional, err=True)).strip()
        if not answer and optional:
            return None
        if question.choices and answer not in question.choices:
            typer.echo(f"  one of: {', '.join(question.choices)}", err=True)
            continue
        try:
            return question.type(answer.replace(",", ".") if question.type is float else answer)
        except ValueError:
            typer.echo(f"  a {'whole ' if question.type is int else ''}number, please", err=True)
