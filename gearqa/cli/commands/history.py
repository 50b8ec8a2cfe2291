"""`gearqa history`: graded gears kept for years, with what was done to the grinders."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from gearqa.cli.commands import COMMANDS
from gearqa.cli.console import put_out, say
from gearqa.cli.exit_status import ExitStatus, status_of
from gearqa.cli.options import (
    ColumnMap,
    HtmlFile,
    JsonFile,
    PaperSize,
    PartFile,
    PdfFile,
    Quiet,
    Scheduler,
    Serials,
    Workers,
)
from gearqa.cli.stores import CommandStore, Grinder, PartNumber, Since, Store, Until
from gearqa.cli.values import Command, Group

app = typer.Typer(
    cls=Group,
    help=COMMANDS["history"] + "\n\n"
    "Part number, serial and measured_at identify a gear. Results, key figures, production data, events and "
    "part data are kept; raw traces stay in their files, whose digests are kept. Nothing is ever deleted: "
    "gears are superseded or removed, and all of it is logged.",
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
    recursive: Annotated[
        bool,
        typer.Option(
            "--recursive", help="Add every inspection folder below, each for itself; failures are listed."
        ),
    ] = False,
    workers: Workers = None,
    scheduler: Scheduler = None,
    quiet: Quiet = False,
) -> int:
    """Grade inspection folders and add their gears and events.

    All folders are added or none; with --recursive each one for itself, and those whose files are in the
    store already are passed over. The same gear again changes nothing; one that is stored with other values
    is an error, unless --replace is given. Exit status 0: added, whatever the gears are like; 2: something
    was not added.
    """
    from gearqa.cli.console import tell, tell_failed
    from gearqa.cli.progress import JobProgress
    from gearqa.jobs.archive import add_archive
    from gearqa.jobs.history import add_to_history
    from gearqa.model.history import ArchiveReport
    from gearqa.report.history.words import archive_sentence, intake_sentence

    if not recursive and scheduler is not None:
        raise typer.BadParameter("goes with --recursive", param_hint="--scheduler")
    if recursive and serial:
        raise typer.BadParameter("does not go with --recursive", param_hint="--serial")
    with CommandStore(store) as history:
        if recursive:
            report = add_archive(
                folders, part=part, columns=columns, store=history, replace=replace, workers=workers,
                scheduler=scheduler, progress=JobProgress(quiet=quiet),
            )  # fmt: skip
        else:
            added = add_to_history(
                folders, part=part, columns=columns, serial=serial, store=history, replace=replace,
                workers=workers, progress=JobProgress(quiet=quiet),
            )  # fmt: skip
            report = ArchiveReport(tuple(added), (), ())
        if not quiet:
            for one in report.added:
                say(intake_sentence(one))
        tell_failed("not added", report.failed)
        if recursive:
            tell(archive_sentence(report))
        tell(f"now {history.gears()}")
    return ExitStatus.NOT_DONE if report.failed else ExitStatus.CONFORMS


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
    from gearqa.jobs.history import list_history
    from gearqa.report.history.screen import ROWS_SHOWN, gear_list_blocks

    which: dict[str, Any] = {
        "part_number": part_number, "serial": serial, "grinder": grinder, "since": since, "until": until,
    }  # fmt: skip
    with CommandStore(store) as history:
        if json is not None:
            _export(history, json, contents="list", **which)
        if quiet or json == "-":
            return ExitStatus.CONFORMS
        found = list_history(**which, last=None if every else ROWS_SHOWN, store=history)
    screen = terminal()
    screen.blocks(gear_list_blocks(found, events=events, wide=screen.wide))
    return ExitStatus.CONFORMS


@app.command("show", cls=Command)
def show(
    serial: Annotated[list[str], typer.Argument(metavar="SERIAL", help="Serials of the gears.")],
    part_number: PartNumber = None,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Show the stored results of gears in full, with what became of them."""
    from gearqa.cli.console import terminal
    from gearqa.jobs.history import stored_results
    from gearqa.report.history.screen import result_blocks

    with CommandStore(store) as history:
        if json is not None:
            _export(history, json, contents="show", part_number=part_number, serial=serial, every_state=True)
        results = stored_results(serial, part_number=part_number, store=history)
    if not quiet and json != "-":
        screen = terminal()
        screen.blocks(result_blocks(results, wide=screen.wide))
    return ExitStatus.CONFORMS


@app.command("remove", cls=Command)
def remove(
    serial: Annotated[
        list[str] | None, typer.Argument(metavar="SERIAL", help="Serials of the gears.")
    ] = None,
    part_number: PartNumber = None,
    measured_at: Annotated[
        str | None, typer.Option("--measured-at", metavar="T", help="Only the measurement of this time.")
    ] = None,
    event: Annotated[
        int | None, typer.Option("--event", metavar="N", help="Remove event number N instead of gears.")
    ] = None,
    delivery: Annotated[
        int | None, typer.Option("--delivery", metavar="N", help="Remove delivery number N of a supplier.")
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Why; is logged.")] = None,
    store: Store = None,
) -> int:
    """Take gears, an event or a delivery out of the count; they are kept as removed, and logged."""
    from gearqa.jobs.history import remove_event, remove_from_history
    from gearqa.report.history.words import removal_sentence

    if [bool(serial), event is not None, delivery is not None].count(True) != 1:
        raise typer.BadParameter("give serials, --event N or --delivery N", param_hint="SERIAL")
    with CommandStore(store) as history:
        if delivery is not None:
            from gearqa.jobs.suppliers import remove_delivery
            from gearqa.report.suppliers.words import removed_delivery_sentence

            say(removed_delivery_sentence(remove_delivery(delivery, remark=remark, store=history)))
            return ExitStatus.CONFORMS
        if event is not None:
            remove_event(event, store=history)
            say(f"removed: event {event}")
            return ExitStatus.CONFORMS
        removed = remove_from_history(
            serial or (), part_number=part_number, measured_at=measured_at, remark=remark, store=history
        )
        for gear in removed:
            say(removal_sentence(gear))
        history.announce()
    return ExitStatus.CONFORMS


@app.command("export", cls=Command)
def export(
    part_number: PartNumber = None,
    serial: Serials = None,
    grinder: Grinder = None,
    since: Since = None,
    until: Until = None,
    every_state: Annotated[
        bool, typer.Option("--every-state", help="Superseded and removed gears too.")
    ] = False,
    store: Store = None,
    json: JsonFile = None,
    csv: Annotated[
        str | None,
        typer.Option("--csv", metavar="FILE", help="Key figures, one row a gear, parameter and flank."),
    ] = None,
    parquet: Annotated[
        str | None, typer.Option("--parquet", metavar="FILE", help="The same key figures as Parquet.")
    ] = None,
) -> int:
    """Write gears, results, events, references, parts and the log as JSON; key figures as CSV or Parquet."""
    from gearqa.cli.console import tell
    from gearqa.wording.numbers import count_text

    if json is None and csv is None and parquet is None:
        message = "name an output: --json FILE, --csv FILE or --parquet FILE"
        raise typer.BadParameter(message, param_hint="--json")
    with CommandStore(store) as history:
        count = _export(
            history, json, csv, parquet, part_number=part_number, serial=serial, grinder=grinder,
            since=since, until=until, every_state=every_state,
        )  # fmt: skip
    tell(f"exported: {count_text(count, 'gear')}")
    return ExitStatus.CONFORMS


@app.command("check", cls=Command)
def check(
    files: Annotated[
        bool, typer.Option("--files", help="Compare the raw files with their digests too.")
    ] = False,
    head: Annotated[
        str | None,
        typer.Option("--head", metavar="DIGEST", help="Head of the chain that an earlier check printed."),
    ] = None,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Check the whole store; exit status 1 if something is wrong.

    Every row is compared with the chain of digests, and every key figure with its gear's result. This finds
    accidents. Who knows how could write the chain anew: keep the head that is printed elsewhere, and give it
    to a later check.
    """
    from gearqa.cli.console import terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.jobs.history import check_history
    from gearqa.model.store_reports import CheckedStore, StorePlace
    from gearqa.report.history.screen import check_blocks
    from gearqa.results.history_json import HISTORY
    from gearqa.results.outputs import Outputs

    with CommandStore(store) as history, Outputs() as outputs:
        outputs.keep_clear_of(history.files)
        stream = None if json is None else outputs.open(json, "JSON result")
        report = check_history(files=files, head=head, store=history, progress=JobProgress(quiet=quiet))
        shown = "" if quiet or json == "-" else terminal().laid_out(check_blocks(report))
        if stream is not None:
            stream.write(HISTORY.json(CheckedStore(StorePlace(history.open().shown), report)))
    put_out(shown)
    return status_of(not report.findings)


@app.command("suppliers", cls=Command)
def suppliers(
    supplier: Annotated[
        str | None, typer.Argument(metavar="SUPPLIER", help="Only this one.", show_default=False)
    ] = None,
    part_number: PartNumber = None,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="T", help="As it was then (ISO 8601, or a date: its end); else now."),
    ] = None,
    store: Store = None,
    json: JsonFile = None,
    html: HtmlFile = None,
    pdf: PdfFile = None,
    paper: PaperSize = "a4",
    quiet: Quiet = False,
) -> int:
    """Show suppliers over their deliveries: agreement, bias, claims, how much to measure next.

    The deliveries are those that `gearqa incoming --store` kept. Exit status 1 if the next delivery of any is
    to be measured tightened.
    """
    from datetime import datetime

    from gearqa.cli.console import terminal
    from gearqa.cli.report_files import write_report
    from gearqa.jobs.suppliers import review_suppliers
    from gearqa.model.store_reports import StorePlace, SuppliersStore
    from gearqa.report.suppliers.page import suppliers_document
    from gearqa.report.suppliers.screen import supplier_blocks
    from gearqa.results.history_json import HISTORY
    from gearqa.results.outputs import Outputs

    with CommandStore(store) as history, Outputs() as outputs:
        outputs.keep_clear_of(history.files)
        reviews = review_suppliers(supplier, part_number=part_number, as_of=as_of, store=history)
        if json is not None:
            simulated = any(one.simulated for one in reviews)
            found = SuppliersStore(StorePlace(history.open().shown), simulated, reviews)
            outputs.open(json, "JSON result").write(HISTORY.json(found))
        now = datetime.now().astimezone()
        write_report(outputs, lambda: suppliers_document(reviews, now), html=html, pdf=pdf, paper=paper)
        screen = terminal()
        silent = quiet or "-" in (json, html, pdf)
        shown = "" if silent else screen.laid_out(supplier_blocks(reviews, wide=screen.wide))
    put_out(shown)
    return status_of(all(one.next.level != "tightened" for one in reviews))


@app.command("event", cls=Command)
def event_(
    kind: Annotated[
        str,
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
        float | None,
        typer.Option(
            "--correction",
            metavar="X",
            help="Change of the parameter that is wanted: -2 takes a deviation of +2 away.",
        ),
    ] = None,
    unit: Annotated[str, typer.Option("--unit", metavar="U", help="Unit of the correction.")] = "um",
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Anything else.")] = None,
    store: Store = None,
) -> int:
    """Record what was done to a grinder: dress, wheel or dresser change, set-up, correction.

    The events table of an inspection folder does the same.
    """
    from gearqa.jobs.history import record_event
    from gearqa.report.history.words import event_sentence

    with CommandStore(store) as history:
        recorded = record_event(
            kind, grinder, at=at, wheel=wheel, parameter=parameter, flank=flank, correction=correction,
            unit=unit, remark=remark, store=history,
        )  # fmt: skip
    say(event_sentence(recorded))
    return ExitStatus.CONFORMS


@app.command("acknowledge", cls=Command)
def acknowledge(
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who has seen it.")],
    part_number: PartNumber = None,
    grinder: Grinder = None,
    parameter: Annotated[
        str | None, typer.Option("--parameter", metavar="KEY", help="Only signals of this parameter.")
    ] = None,
    flank: Annotated[
        Literal["left", "right"] | None, typer.Option("--flank", help="Only signals of this flank.")
    ] = None,
    cause: Annotated[str | None, typer.Option("--cause", metavar="TEXT", help="What the cause is.")] = None,
    action: Annotated[str | None, typer.Option("--action", metavar="TEXT", help="What is done.")] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="T", help="When (ISO 8601; local without a zone); else now.")
    ] = None,
    undo: Annotated[
        int | None, typer.Option("--undo", metavar="N", help="Take acknowledgement number N back.")
    ] = None,
    store: Store = None,
) -> int:
    """Record that a signal was seen: by whom, its cause, what is done. It is not told again.

    All open signals of a part on a grinder, or those of a parameter and flank. Listed by
    `history list --events`.
    """
    from gearqa.jobs.watch_signals import acknowledge_signals, undo_acknowledgement
    from gearqa.report.history.words import acknowledged_sentence, undone_sentence

    with CommandStore(store) as history:
        if undo is not None:
            print(undone_sentence(undo_acknowledgement(undo, by=by, remark=cause or "", store=history)))
            return ExitStatus.CONFORMS
        if part_number is None or grinder is None or cause is None or action is None:
            raise typer.BadParameter(
                "give --part-number, --grinder, --cause and --action, or --undo N", param_hint="--part-number"
            )
        seen = acknowledge_signals(
            part_number, grinder, by=by, cause=cause, action=action, parameter=parameter, flank=flank, at=at,
            store=history,
        )  # fmt: skip
    for one in seen:
        print(acknowledged_sentence(one))
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
    release: Annotated[bool, typer.Option("--release", help="Take the frozen reference out of use.")] = False,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Why; is kept.")] = None,
    store: Store = None,
) -> int:
    """Freeze the period that the control limits of a part on a grinder come from.

    It stays until another one is frozen or it is released. Times are of production.
    """
    from gearqa.jobs.history import freeze_reference, release_reference
    from gearqa.report.history.words import frozen_sentence

    if not release and (from_ is None or to is None):
        raise typer.BadParameter("give --from and --to, or --release", param_hint="--from")
    with CommandStore(store) as history:
        if from_ is None or to is None or release:
            release_reference(part_number, grinder, store=history)
            say(f"released: the reference of part {part_number} on grinder {grinder}")
            return ExitStatus.CONFORMS
        frozen = freeze_reference(part_number, grinder, from_, to, remark=remark, store=history)
    say(frozen_sentence(*frozen))
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
    workers: Workers = None,
    scheduler: Scheduler = None,
    store: Store = None,
    json: JsonFile = None,
    quiet: Quiet = False,
) -> int:
    """Grade stored gears anew under another class, edition, drawing or evaluation setting.

    Where only the requirements change, the stored values are judged again; else the raw files are read
    again, which must be where they were and unchanged. The former results are kept as superseded.

    Exit status: 0 all gears graded anew conform; 1 some do not or cannot be decided; 2 not done.
    """
    from gearqa.cli.console import terminal
    from gearqa.cli.progress import JobProgress
    from gearqa.jobs.history import regrade_history
    from gearqa.model.store_reports import RegradedStore, StorePlace
    from gearqa.report.history.screen import regrade_blocks
    from gearqa.results.history_json import HISTORY
    from gearqa.results.outputs import Outputs

    values = dict(_key_and_value(setting) for setting in settings or ())
    with CommandStore(store) as history, Outputs() as outputs:
        outputs.keep_clear_of(history.files)
        stream = None if json is None else outputs.open(json, "JSON result")
        report = regrade_history(
            part_number=part_number, serial=serial, grinder=grinder, since=since, until=until, class_=class_,
            standard=standard, part=part, settings=values, from_files=from_files, dry_run=dry_run,
            workers=workers, scheduler=scheduler, store=history, progress=JobProgress(quiet=quiet),
        )  # fmt: skip
        shown = "" if quiet or json == "-" else terminal().laid_out(regrade_blocks(report))
        if stream is not None:
            stream.write(HISTORY.json(RegradedStore(StorePlace(history.open().shown), report)))
    put_out(shown)
    return status_of(report.conforms)


def _key_and_value(setting: str) -> tuple[str, Any]:
    """KEY=VALUE, the value as TOML writes it; a bare word is text."""
    import tomllib

    key, equals, text = setting.partition("=")
    if not equals or not key.strip():
        raise typer.BadParameter(f"found '{setting}', expected KEY=VALUE", param_hint="--set")
    try:
        return key.strip(), tomllib.loads(f"value = {text.strip()}")["value"]
    except tomllib.TOMLDecodeError:
        return key.strip(), text.strip()


def _export(
    history: CommandStore, json: str | None, csv: str | None = None, parquet: str | None = None, **which: Any
) -> int:
    """Write the chosen gears, all outputs or none; return how many gears there are."""
    from gearqa.jobs.history import export_history
    from gearqa.results.outputs import Outputs

    with Outputs() as outputs:
        streams = [
            None if json is None else outputs.open(json, "JSON result"),
            None if csv is None else outputs.open(csv, "CSV result"),
            None if parquet is None else outputs.open(parquet, "Parquet result"),
        ]
        outputs.keep_clear_of(history.files)
        return export_history(json=streams[0], csv=streams[1], parquet=streams[2], **which, store=history)
