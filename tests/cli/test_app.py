"""The program as a whole: commands, help, the one error boundary, exit status."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest
from made_folders import pitch_folder

from gearqa.cli import app
from gearqa.cli.commands import COMMANDS, history
from gearqa.cli.exit_status import ExitStatus, status_of
from gearqa.errors import GearqaError, MeasurementFileError, Problem, Reason
from gearqa.version import __version__


def process(*words, **options):
    return subprocess.run(
        [sys.executable, "-m", "gearqa", *map(str, words)], capture_output=True, check=False, **options
    )


def test_version(capsys):
    assert app.run(["--version"]) == 0
    assert capsys.readouterr().out == f"gearqa {__version__}\n"


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize(
    "name", [*COMMANDS, *(f"history {one.name}" for one in history.app.registered_commands)]
)
def test_help_fits_the_terminal_whole(capsys, monkeypatch, name, width):
    """No line too wide, no sentence cut, no option broken at one of its hyphens, no type of the language."""
    monkeypatch.setenv("COLUMNS", str(width))
    assert app.run([*name.split(), "--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= width
    assert not [
        line for line in lines[1:] if line.endswith("...") and "$" not in line and "GEARQA" not in line
    ]
    assert not [line for line in lines if re.search(r"--[a-z-]*-$|<(list|path|str)", line)]


@pytest.mark.parametrize("words", [["--help"], ["-h"]])
def test_help_lists_every_command_with_its_short_help(capsys, words):
    assert app.run(words) == 0
    shown = " ".join(capsys.readouterr().out.split())
    for name, short in COMMANDS.items():
        assert f"{name} {short}" in shown


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_that_begins_with_its_short_help(capsys, name):
    assert app.run([name, "--help"]) == 0
    usage, first, *_ = capsys.readouterr().out.split("\n\n")
    assert usage.startswith(f"Usage: gearqa {name}")
    assert " ".join(first.split()) == COMMANDS[name]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_explained(name):
    import typer

    command = app._Commands(name="gearqa").get_command(None, name)
    commands = [command, *getattr(command, "commands", {}).values()]
    for param in (p for c in commands for p in c.params if getattr(p, "param_type_name", "") == "option"):
        assert param.help, f"{name}: {param.opts} has no help"
    assert isinstance(typer.main.get_command(app.app), object)


def test_an_unknown_command_names_the_nearest(capsys):
    assert app.run(["grde"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "nearest: gearqa grade" in err


def test_a_folder_instead_of_a_command_gives_the_line_that_was_meant(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "a lot")
    assert app.run([str(folder), "--json", "out.json"]) == 2
    assert f"gearqa grade '{folder}' --json out.json" in capsys.readouterr().err


def test_a_file_instead_of_a_folder_gives_the_line_that_was_meant(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    assert app.run(["grade", str(folder / "pitch.csv")]) == 2
    assert f"gearqa grade {folder}\n" in capsys.readouterr().err


def test_a_folder_that_does_not_exist(capsys, tmp_path):
    assert app.run(["grade", str(tmp_path / "none")]) == 2
    assert "does not exist" in capsys.readouterr().err


def test_an_option_that_repeats_is_explained(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    assert app.run(["grade", str(folder), "--serial", "A", "B"]) == 2
    assert "--serial A --serial B" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "status", "text"),
    [
        (GearqaError("no good", hint="try this"), 2, "no good\ntry this"),
        (MeasurementFileError([Problem(Reason.RAGGED_ROW, "a.csv", "3 cells", "4", 7)]), 2, "a.csv:7"),
        (PermissionError(13, "Permission denied", "x.json"), 2, "x.json: Permission denied"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (MemoryError(), 2, "out of memory"),
        (RuntimeError("can't start new thread"), 2, "no room for another thread"),  # as Python says it
        (BrokenPipeError(32, "Broken pipe"), 141, ""),
        (ZeroDivisionError("division by zero"), 70, "ZeroDivisionError: division by zero"),
        (AssertionError(), 70, "Please report it"),
    ],
)
def test_every_error_becomes_a_status_and_a_message(monkeypatch, capsys, error, status, text):
    def fail(*args, **options):
        raise error

    monkeypatch.setattr("gearqa.jobs.folders.open_folder", fail)
    assert app.run(["grade", "."]) == status
    out, err = capsys.readouterr()
    assert out == ""
    assert text in err
    assert "Traceback" not in err


def test_traceback_on_request_anywhere(monkeypatch, capsys):
    monkeypatch.setattr("gearqa.jobs.folders.require_folder", lambda folder: 1 / 0)
    assert app.run(["grade", "--traceback", "."]) == 70
    assert "Traceback" in capsys.readouterr().err
    assert app.run(["--traceback", "grade", "."]) == 70
    assert "Traceback" in capsys.readouterr().err


def test_flank_errors_point_to_the_explanation(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    table = folder / "pitch.csv"
    table.write_text(table.read_text().replace("left", "links"))
    assert app.run(["grade", str(folder)]) == 2
    assert "gearqa explain flanks" in capsys.readouterr().err


def test_status_of_a_verdict():
    assert [status_of(answer) for answer in (True, False, None)] == [0, 1, 1]
    assert {int(status) for status in ExitStatus} >= {0, 1, 2, 70}


def test_a_reader_that_goes_away(tmp_path):
    folder = pitch_folder(tmp_path / "lot", [f"G-{i}" for i in range(900)])
    line = f"{sys.executable} -m gearqa grade '{folder}' --json - | head -c 9; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ['{"schema"141']
    assert done.stderr == ""


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
def test_standard_output_that_is_full(tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    for words in (["--json", "-"], []):
        with open("/dev/full", "wb") as full:
            done = subprocess.run(
                [sys.executable, "-m", "gearqa", "grade", str(folder), *words],
                stdout=full, stderr=subprocess.PIPE, text=True, check=False,
            )  # fmt: skip
        assert done.returncode == 2
        assert "No space left" in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words", [["grade"], ["grade", "x", "--part"], ["schema", "nix"], ["explain", "nix"], ["columns"]]
)
def test_wrong_usage_is_2_and_prints_nothing_on_standard_output(words):
    done = process(*words)
    assert done.returncode == 2
    assert done.stdout == b""
    assert re.search(rb"gearqa: .+\nHelp: gearqa", done.stderr)


def test_no_arguments_is_wrong_usage():
    done = process()
    assert done.returncode == 2
    assert b"gearqa grade" in done.stderr or b"--help" in done.stderr
