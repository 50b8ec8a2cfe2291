"""`gearqa history`: graded gears kept for years, with what was done to the grinders."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer
from typer.core import TyperGroup

from gearqa.cli.commands import COMMANDS
from gearqa.cli.exit_status import ExitStatus, status_of
from gearqa.cli.options import ColumnMap, JsonFile, PartFile, Quiet, Serials
from gearqa.cli.stores import Grinder, PartNumber, Since, Store, Until, announce, moment, open_store
from gearqa.cli.values import Command

if TYPE_CHECKING:
    from gearqa.history.queries import Selection
    from gearqa.history.regrading import Change
    from gearqa.history.store import HistoryStore
    from gearqa.model.history import StoredGear

EVENT_WORDS: dict[str, str] = {
    "dress": "dress",
    "wheel-change": "wheel change",
    "dresser-change": "dresser change",
    "set-up": "set-up",
    "correction": "correction",
    "other": "other",
}
"""Words of the command line -> words in the store."""

app = typer.Typer(
    cls=TyperGroup,
    help=COMMANDS["history"] + "\n\n"
    "A gear is known by part number, serial and measured_at. Results, key figures, production data, events "
    "and part data are kept; raw traces stay in their files, whose digests are kept. Nothing is ever "
    "deleted: gears are superseded or removed, and all of it is logged.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.command("add", cls=Command)
def add(
    folders: Annotated[
        list[Path], typer.Argument(metavar="FOLDER", help="Inspection folders.", show_default=False)
    ],
    part: PartFile = None,
    columns: ColumnMap = None,
    serial: Serials = None,
    store: Store = None,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Gears stored with other values are superseded (kept and logged)."),
    ] = False,
    quiet: Quiet = False,
) -> int:
    """Grade inspection folders and add their gears and events.

    All folders are added or none. The same gear again changes nothing; one that is stored with other
    values is an error, unless --replace is given. Exit status 0: added, whatever the gears are like.
    """
    from gearqa.cli.console import tell
    from gearqa.cli.progress import Progress
    from gearqa.history.intake import FolderToAdd, add_folders
    from gearqa.jobs.folders import require_folder
    from gearqa.report.history.words import intake_sentence
    from gearqa.wording.numbers import count_text

    for folder in folders:
        require_folder(folder)
    sources = [FolderToAdd(folder, part, columns, tuple(serial or ())) for folder in folders]
    with open_store(store, writing=True) as history:
        with Progress("adding", "gears", quiet=quiet) as progress:
            reports = add_folders(history, sources, replace=replace, graded=progress.step)
        if not quiet:
            for report in reports:
                print(intake_sentence(report))
        tell(f"now {count_text(history.gear_count(), 'gear')}")
    return ExitStatus.CONFORMS


@app.command("list", cls=Command)
def list_(
    part_number: PartNumber = None,
    serial: Serials = None,
    grinder: Grinder = None,
    since: Since = None,
    until: Until = None,
    events: Annotated[bool, typer.Option("--events", help="Show the events too.")] = False,
    every: Annotated[bool, typer.Option("--all", help="Every gear, however many.")] = False,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """List the gears, events and frozen references that count."""
    from gearqa.cli.console import terminal
    from gearqa.history.queries import (
        count_gears,
        select_events,
        select_gears,
        select_references,
    )
    from gearqa.report.history.words import ROWS_SHOWN, gear_list_blocks

    which = _selection(part_number, serial, grinder, since, until)
    with open_store(store) as history:
        if json is not None:
            _write_json(history, "list", which, json)
        if quiet or json == "-":
            return ExitStatus.CONFORMS
        with history.reading() as connection:
            total = count_gears(connection, which)
            gears = list(select_gears(connection, which, last=None if every else ROWS_SHOWN))
            shown = (
                select_events(connection, grinder=grinder, since=which.since, until=which.until)
                if events
                else None
            )
            references = select_references(connection, part_number=part_number, grinder=grinder)
    screen = terminal()
    screen.blocks(gear_list_blocks(gears, total, shown, references, wide=screen.wide))
    return ExitStatus.CONFORMS


@app.command("show", cls=Command)
def show(
    serials: Annotated[list[str], typer.Argument(metavar="SERIAL", help="Serials of the gears.")],
    part_number: PartNumber = None,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Show the stored results of gears in full, with what became of them."""
    from gearqa.cli.console import terminal
    from gearqa.cli.history_views import shown_blocks

    which = _selection(part_number, serials, every_state=True)
    with open_store(store) as history:
        _require_known(history, serials, which)
        if json is not None:
            _write_json(history, "show", which, json)
        if quiet or json == "-":
            return ExitStatus.CONFORMS
        screen = terminal()
        screen.blocks(shown_blocks(history, which, wide=screen.wide))
    return ExitStatus.CONFORMS


@app.command("remove", cls=Command)
def remove(
    serials: Annotated[
        list[str] | None, typer.Argument(metavar="SERIAL", help="Serials of the gears.")
    ] = None,
    part_number: PartNumber = None,
    measured_at: Annotated[
        str | None, typer.Option("--measured-at", metavar="T", help="Only the measurement of this time.")
    ] = None,
    event: Annotated[
        int | None, typer.Option("--event", metavar="N", help="Remove event number N instead of gears.")
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Why; is logged.")] = None,
    store: Store = None,
) -> int:
    """Take gears or an event out of the count; they are kept as removed, and logged."""
    from gearqa.history.events import remove_event
    from gearqa.history.removal import remove_gears

    if bool(serials) == (event is not None):
        raise typer.BadParameter("give serials, or --event N", param_hint="SERIAL")
    with open_store(store, writing=True) as history:
        if event is not None:
            remove_event(history, event)
            print(f"removed: event {event}")
            return ExitStatus.CONFORMS
        which = _selection(part_number, serials)
        gears = _measured(_require_known(history, serials or [], which), measured_at)
        for gear in remove_gears(history, _ids(gears), remark=remark):
            print(f"removed: {gear.serial} of part {gear.part_number}, kept in the log")
        announce(history)
    return ExitStatus.CONFORMS


@app.command("export", cls=Command)
def export(
    part_number: PartNumber = None,
    serial: Serials = None,
    grinder: Grinder = None,
    since: Since = None,
    until: Until = None,
    history_too: Annotated[
        bool, typer.Option("--every-state", help="Superseded and removed gears too.")
    ] = False,
    store: Store = None,
    json: JsonFile = None,
    csv: Annotated[
        str | None,
        typer.Option("--csv", metavar="FILE", help="Key figures, one row a gear, parameter and flank."),
    ] = None,
) -> int:
    """Write gears, results, events, references, part data and the log as JSON, or key figures as CSV."""
    from gearqa.cli.console import tell
    from gearqa.history.documents import write_history_csv, write_history_json
    from gearqa.results.outputs import Outputs
    from gearqa.wording.numbers import count_text

    if json is None and csv is None:
        raise typer.BadParameter("name an output: --json FILE or --csv FILE", param_hint="--json")
    which = _selection(part_number, serial, grinder, since, until, every_state=history_too)
    with open_store(store) as history, Outputs() as outputs:
        streams = [(outputs.open(name), name) if name is not None else None for name in (json, csv)]
        _keep_clear(outputs, history)
        count = 0
        if streams[0] is not None:
            count = write_history_json(streams[0][0], history, "export", which)
        if streams[1] is not None:
            count = write_history_csv(streams[1][0], history, which)
    tell(f"exported: {count_text(count, 'gear')}")
    return ExitStatus.CONFORMS


@app.command("check", cls=Command)
def check(
    files: Annotated[
        bool, typer.Option("--files", help="Compare the raw files with their digests too.")
    ] = False,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Look the whole store through; exit status 1 if something is wrong."""
    from gearqa.cli.console import terminal
    from gearqa.cli.history_views import check_document, write_document
    from gearqa.cli.progress import Progress
    from gearqa.history.checking import check_store
    from gearqa.report.history.words import check_blocks

    with open_store(store) as history:
        with Progress("checking", "gears", quiet=quiet) as progress:
            report = check_store(history, files=files, step=progress.at)
        write_document(json, check_document(history, report))
    if not quiet and json != "-":
        terminal().blocks(check_blocks(report))
    return status_of(not report.findings)


@app.command("event", cls=Command)
def event_(
    kind: Annotated[
        Literal["dress", "wheel-change", "dresser-change", "set-up", "correction", "other"],
        typer.Argument(
            metavar="KIND", help="dress, wheel-change, dresser-change, set-up, correction, other."
        ),
    ],
    grinder: Annotated[str, typer.Option("--grinder", metavar="G", help="On which grinder.")],
    at: Annotated[
        str | None, typer.Option("--at", metavar="T", help="When (ISO 8601; local without a zone); else now.")
    ] = None,
    wheel: Annotated[str | None, typer.Option("--wheel", metavar="W", help="Which wheel.")] = None,
    parameter: Annotated[
        str | None, typer.Option("--parameter", metavar="KEY", help="Which parameter was corrected.")
    ] = None,
    flank: Annotated[Literal["left", "right"] | None, typer.Option("--flank", help="Which flank.")] = None,
    correction: Annotated[
        float | None, typer.Option("--correction", metavar="X", help="By how much, signed.")
    ] = None,
    unit: Annotated[str, typer.Option("--unit", metavar="U", help="Unit of the correction.")] = "um",
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Anything else.")] = None,
    store: Store = None,
) -> int:
    """Record what was done to a grinder: dress, wheel or dresser change, set-up, correction.

    The events table of an inspection folder does the same.
    """
    from datetime import datetime

    from gearqa.history.events import record_event
    from gearqa.model.measurement import GrinderEvent

    if kind == "correction" and correction is None:
        raise typer.BadParameter("a correction needs its amount", param_hint="--correction")
    if kind == "other" and not remark:
        raise typer.BadParameter("say what it was with --remark", param_hint="--remark")
    if parameter is not None:
        _require_parameter(parameter)
    when = moment(at, "--at") or datetime.now().astimezone().replace(microsecond=0)
    event = GrinderEvent(
        when, EVENT_WORDS[kind], grinder, wheel, parameter, flank, correction,
        unit if correction is not None else None, remark,
    )  # fmt: skip
    with open_store(store, writing=True) as history:
        new = record_event(history, event)
    print(f"{'recorded' if new else 'stored already'}: {event.event} on {grinder}, {when.isoformat()}")
    return ExitStatus.CONFORMS


@app.command("freeze", cls=Command)
def freeze(
    part_number: Annotated[str, typer.Option("--part-number", metavar="P", help="Of which part number.")],
    grinder: Annotated[str, typer.Option("--grinder", metavar="G", help="On which grinder.")],
    from_: Annotated[
        str | None, typer.Option("--from", metavar="T|DRESS", help="First time, or label of the first dress.")
    ] = None,
    to: Annotated[
        str | None, typer.Option("--to", metavar="T|DRESS", help="Last time, or label of the last dress.")
    ] = None,
    release: Annotated[
        bool, typer.Option("--release", help="Let the frozen reference count no longer.")
    ] = False,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Why; is kept.")] = None,
    store: Store = None,
) -> int:
    """Freeze the period that the control limits of a part on a grinder come from.

    It stays until another one is frozen or it is released. Times are of production.
    """
    from gearqa.history.references import freeze_reference, release_reference
    from gearqa.wording.numbers import count_text

    if not release and (from_ is None or to is None):
        raise typer.BadParameter("give --from and --to, or --release", param_hint="--from")
    with open_store(store, writing=True) as history:
        if release:
            release_reference(history, part_number, grinder)
            print(f"released: the reference of part {part_number} on grinder {grinder}")
            return ExitStatus.CONFORMS
        assert from_ is not None
        assert to is not None
        first, last = _period(history, part_number, grinder, from_, to)
        frozen, gears = freeze_reference(history, part_number, grinder, first, last, remark=remark)
    print(
        f"frozen: part {part_number} on grinder {grinder}, {frozen.from_at.isoformat()} to "
        f"{frozen.to_at.isoformat()}, {count_text(gears, 'gear')}"
    )
    return ExitStatus.CONFORMS


@app.command("regrade", cls=Command)
def regrade_(
    part_number: PartNumber = None,
    serial: Serials = None,
    grinder: Grinder = None,
    since: Since = None,
    until: Until = None,
    class_: Annotated[
        int | None,
        typer.Option(
            "--class", metavar="N", help="Class required in general; exceptions of the drawing stay."
        ),
    ] = None,
    standard: Annotated[
        str | None, typer.Option("--standard", metavar="TITLE", help="Standard and edition.")
    ] = None,
    part: Annotated[
        Path | None, typer.Option("--part", metavar="FILE", help="Part file to grade by, such as a revision.")
    ] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="KEY=VALUE",
            help="A key of the part file, such as evaluation.slope_span=evaluation; may be given again.",
        ),
    ] = None,
    from_files: Annotated[
        bool, typer.Option("--from-files", help="Evaluate the raw files again in any case.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what would come out, write nothing.")
    ] = False,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Grade stored gears anew under another class, edition, drawing or evaluation setting.

    Where only what is asked for changes, the stored values are judged again; else the raw files are read
    again, which must lie where they lay and be unchanged. The former results are kept as superseded.

    Exit status: 0 all gears graded anew conform; 1 some do not or cannot be decided; 2 not done.
    """
    from gearqa.cli.console import terminal
    from gearqa.cli.history_views import regrade_document, write_document
    from gearqa.cli.progress import Progress
    from gearqa.history.regrading import regrade
    from gearqa.report.history.words import regrade_blocks

    which = _selection(part_number, serial, grinder, since, until)
    change = _change(class_, standard, part, settings or [], from_files=from_files)
    with open_store(store, writing=not dry_run) as history:
        if serial:
            _require_known(history, serial, which)
        with Progress("regrading", "gears", quiet=quiet) as progress:
            report = regrade(history, which, change, dry_run=dry_run, step=progress.at)
        write_document(json, regrade_document(history, report))
    if not quiet and json != "-":
        terminal().blocks(regrade_blocks(report))
    return status_of(report.conforms)


def _selection(
    part_number: str | None = None,
    serials: list[str] | None = None,
    grinder: str | None = None,
    since: str | None = None,
    until: str | None = None,
    *,
    every_state: bool = False,
) -> Selection:
    from gearqa.history.queries import Selection

    return Selection(
        part_number,
        tuple(serials or ()),
        grinder,
        moment(since, "--since"),
        moment(until, "--until", end_of_day=True),
        every_state,
    )


def _ids(gears: list[StoredGear]) -> Selection:
    from gearqa.history.queries import Selection

    return Selection(ids=tuple(gear.id for gear in gears))


def _require_known(history: HistoryStore, serials: list[str], which: Selection) -> list[StoredGear]:
    """The chosen gears; raise for a serial that the store does not have."""
    from gearqa.errors import StoreError
    from gearqa.history.queries import nearest_serials, select_gears

    with history.reading() as connection:
        gears = list(select_gears(connection, which))
        missing = [serial for serial in serials if serial not in {gear.serial for gear in gears}]
        if missing:
            near = nearest_serials(connection, missing[0], which.part_number)
            hint = f"nearest: {', '.join(near)}" if near else "gearqa history list shows what is there"
            of_part = f" of part {which.part_number}" if which.part_number else ""
            names = ", ".join(f"'{serial}'" for serial in missing)
            raise StoreError(f"history store {history.shown} has no gear {names}{of_part}", hint=hint)
    return gears


def _measured(gears: list[StoredGear], measured_at: str | None) -> list[StoredGear]:
    """The one measurement of each serial, or the one of a time."""
    from gearqa.errors import StoreError
    from gearqa.report.history.words import time_text

    when = moment(measured_at, "--measured-at")
    if when is not None:
        gears = [gear for gear in gears if gear.measured_at == when]
    keys = [(gear.part_number, gear.serial) for gear in gears]
    double = [gear for gear in gears if keys.count((gear.part_number, gear.serial)) > 1]
    parts = {gear.part_number for gear in gears}
    if not gears:
        raise StoreError("no measurement of that time", hint="gearqa history list shows what is there")
    if len(parts) > 1:
        raise StoreError(f"serials of several parts: {', '.join(sorted(parts))}", hint="add --part-number P")
    if double:
        times = ", ".join(time_text(gear.measured_at) for gear in double if gear.serial == double[0].serial)
        raise StoreError(
            f"'{double[0].serial}' was measured several times: {times}",
            hint="choose one with --measured-at T",
        )
    return gears


def _require_parameter(key: str) -> None:
    from difflib import get_close_matches

    from gearqa.model.drift import SIZE
    from gearqa.symbols import PARAMETERS

    known = (*PARAMETERS, SIZE)
    if key not in known:
        near = get_close_matches(key, known, n=1)
        meant = f"; did you mean {near[0]}?" if near else ""
        raise typer.BadParameter(f"'{key}' is not a parameter{meant} Known: {', '.join(known)}")


def _period(history: HistoryStore, part_number: str, grinder: str, first: str, last: str) -> tuple[Any, Any]:
    """A period from two times or two labels of dresses."""
    from gearqa.history.references import span_of_dresses

    times = []
    for text, option in ((first, "--from"), (last, "--to")):
        try:
            times.append(moment(text, option, end_of_day=option == "--to"))
        except typer.BadParameter:
            times.append(None)
    if None not in times:
        return times[0], times[1]
    if times[0] is not None or times[1] is not None:
        raise typer.BadParameter("give two times, or two labels of dresses", param_hint="--from")
    return span_of_dresses(history, part_number, grinder, first, last)


def _change(
    class_: int | None, standard: str | None, part: Path | None, settings: list[str], *, from_files: bool
) -> Change:
    from gearqa.history.regrading import Change
    from gearqa.standards import COMPARISON, GRADING

    values: dict[str, Any] = {}
    if standard is not None:
        if standard not in GRADING:
            kept = " is kept to compare stated figures and does not grade" if standard in COMPARISON else ""
            raise typer.BadParameter(
                f"'{standard}'{kept}; gears are graded by: {', '.join(GRADING)}", param_hint="--standard"
            )
        values["tolerance.standard"] = standard
    for setting in settings:
        key, equals, text = setting.partition("=")
        if not equals or not key.strip():
            raise typer.BadParameter(f"found '{setting}', expected KEY=VALUE", param_hint="--set")
        values[key.strip()] = _toml_value(text.strip())
    drawing = None
    if part is not None:
        from gearqa.reading.settings.part_file import read_part

        drawing = read_part(part)
    return Change(class_, drawing, values, from_files)


def _toml_value(text: str) -> Any:
    """A value as TOML writes it; a bare word is text."""
    import tomllib

    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def _write_json(
    history: HistoryStore, report: Literal["list", "show"], which: Selection, target: str
) -> None:
    from gearqa.history.documents import write_history_json
    from gearqa.results.outputs import Outputs

    with Outputs() as outputs:
        stream = outputs.open(target)
        _keep_clear(outputs, history)
        write_history_json(stream, history, report, which)


def _keep_clear(outputs: Any, history: HistoryStore) -> None:
    if history.location.path is not None:
        outputs.keep_clear_of([history.location.path])
