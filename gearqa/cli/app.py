"""The `gearqa` program: its commands, and the one place where errors become exit status.

Commands are imported when they run, so that `gearqa --help` and small commands start fast.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from gearqa.cli.commands import COMMANDS
from gearqa.cli.console import tell
from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.values import Command, Group
from gearqa.errors import GearqaError, InputError
from gearqa.stopping import stop_received, what_stays
from gearqa.version import __version__

REPORT_A_FAULT = (
    "This is a fault of gearqa, not of your data; no verdict was made; {stays}.\n"
    "Please report it with the command line, the version and what --traceback prints."
)
SEE_FLANKS = "see: gearqa explain flanks"


class _Commands(Group):
    """The group of all commands, each imported when it is asked for."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"gearqa.cli.commands.{cmd_name}")
        group: typer.Typer | None = getattr(module, "app", None)
        if group is None:
            group = _typer()
            settings = getattr(module, "SETTINGS", None)
            group.command(cmd_name, cls=Command, short_help=COMMANDS[cmd_name], context_settings=settings)(
                module.command
            )
        return typer.main.get_command(group)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        if args[0] not in COMMANDS:
            raise typer.BadParameter(_no_such_command(args), ctx=ctx, param_hint="COMMAND")
        return super().resolve_command(ctx, args)


def _typer(**options: Any) -> typer.Typer:
    """Return an application with plain help and without a handler of exceptions of its own."""
    return typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, **options)


app = _typer(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Results go to standard output, messages to standard error. Start: gearqa new FOLDER; "
    "main job: gearqa grade FOLDER; flank names and signs: gearqa explain flanks.",
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"gearqa {__version__}")
        raise typer.Exit(ExitStatus.CONFORMS)


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
    traceback: Annotated[
        bool, typer.Option("--traceback", help="Show where an error arose; may be put anywhere.")
    ] = False,
) -> None:
    """Grade ground gears from measurements: ISO 1328-1 classes, conformity, master quality."""


def _no_such_command(args: Sequence[str]) -> str:
    """Say what was meant by a first word that is no command."""
    from difflib import get_close_matches

    word = args[0]
    if Path(word).exists():
        from gearqa.jobs.folders import grade_line

        return f"'{word}' is not a command; did you mean: {grade_line(word, args[1:])}"
    near = get_close_matches(word, COMMANDS, n=1)
    nearest = f"; nearest: gearqa {near[0]}" if near else ""
    return f"'{word}' is not a command{nearest}. Commands: {', '.join(COMMANDS)}"


def run(argv: Sequence[str]) -> int:
    """Run one command line and return its exit status; every error ends here."""
    words = list(argv)
    head = words[: words.index("--")] if "--" in words else words
    traceback = "--traceback" in head
    if traceback:
        words.remove("--traceback")
    try:
        program = typer.main.get_command(app)
        with program.make_context("gearqa", words) as context:  # not main(), which has exit codes of its own
            status = program.invoke(context)
        sys.stdout.flush()
        return int(status or 0)
    except BaseException as error:
        if stop_received():
            raise
        if traceback and not isinstance(error, SystemExit):
            import traceback as tracebacks

            tell(tracebacks.format_exc())
        return _status_and_message(error)


def _status_and_message(error: BaseException) -> int:
    """Print what a person needs to know of `error`; return the exit status."""
    if isinstance(error, SystemExit):
        raise error
    if isinstance(error, typer.Exit):
        return error.exit_code
    if isinstance(error, KeyboardInterrupt | typer.Abort):
        _message(f"gearqa: interrupted; {what_stays()}.")
        return ExitStatus.INTERRUPTED
    if isinstance(error, BrokenPipeError):
        # The interpreter flushes standard output once more when it ends: give it somewhere to go.
        _replace_stdout()
        return ExitStatus.READER_GONE
    if isinstance(error, typer.TyperException):
        _message(_usage_text(error))
        return ExitStatus.NOT_DONE
    if isinstance(error, GearqaError):
        _message(_error_text(error))
        return ExitStatus.NOT_DONE
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        _message(f"gearqa: {where}{error.strerror or error}")
        if error.filename is None:
            _replace_stdout()
        return ExitStatus.NOT_DONE
    if isinstance(error, MemoryError):
        _message(f"gearqa: out of memory; {what_stays()}.")
        return ExitStatus.NOT_DONE
    lines = str(error).strip().splitlines() or [""]
    if isinstance(error, RuntimeError) and lines[0] == "can't start new thread":
        _message(f"gearqa: no room for another thread (ulimit -u); {what_stays()}.")
        return ExitStatus.NOT_DONE
    about = REPORT_A_FAULT.format(stays=what_stays())
    _message(f"gearqa {__version__}: {type(error).__name__}: {lines[0]}\n{about}")
    return ExitStatus.PROGRAM_FAULT


def _usage_text(error: typer.TyperException) -> str:
    ctx = getattr(error, "ctx", None)
    message = error.format_message()
    lines = [f"gearqa: {message}"]
    if ctx is not None and "unexpected extra argument" in message:
        repeating = [max(p.opts, key=len) for p in ctx.command.params if getattr(p, "multiple", False)]
        names = ", ".join(f"{name} A {name} B" for name in repeating)
        if names:
            lines.append(f"An option that repeats is given again for each value: {names}")
    lines.append(f"Help: {ctx.command_path if ctx is not None else 'gearqa'} --help")
    return "\n".join(lines)


def _error_text(error: GearqaError) -> str:
    lines = [f"gearqa: {error}"]
    if error.hint:
        lines.append(error.hint)
    about_flanks = isinstance(error, InputError) and any(
        p.column is not None and "flank" in p.column.lower() for p in error.problems
    )
    if about_flanks and SEE_FLANKS not in "\n".join(lines):
        lines.append(f"Which flank is left and which is right? {SEE_FLANKS}")
    return "\n".join(lines)


def _message(text: str) -> None:
    with contextlib.suppress(OSError):  # standard error may be gone
        tell(text)


def _replace_stdout() -> None:
    with contextlib.suppress(OSError, ValueError):  # standard output may be no real file
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main() -> NoReturn:
    """Run the command line of this process."""
    sys.exit(run(sys.argv[1:]))
