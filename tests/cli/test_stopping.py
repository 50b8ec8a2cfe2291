"""Ctrl-C and SIGTERM, whatever becomes of them on their way: exit status, message, nothing left behind."""

from __future__ import annotations

import importlib.util
import os
import random
import shutil
import signal
import subprocess
import sys
import time

import pytest
from lot_samples import SAMPLES
from made_folders import pitch_folder

pytestmark = pytest.mark.skipif(os.name == "nt", reason="POSIX signals")

STATUS = {signal.SIGINT: 130, signal.SIGTERM: 143}
PROGRAM = """
import os, sys
from importlib import import_module
from gearqa import __main__
from gearqa.jobs import folders as reading
from gearqa.results import outputs as atomic
lots = import_module("gearqa.evaluation.evaluate")

def stop(): os.kill(os.getpid(), {number})

def raised(*args, **options): stop()

def raised_in_source_text(*args, **options): exec("stop()", {{"stop": stop}})

def turned_into_another_error(*args, **options):
    try: stop()
    except BaseException: raise ImportError("numpy._core.multiarray failed to import")

def swallowed(*args, counter=lots.LotCounter, **options):
    try: stop()
    except BaseException: pass
    return counter(*args, **options)

{place} = {how}
sys.argv = ["gearqa", *{words!r}]
__main__.main()
"""
"""A run of the program in which `place` is spoiled so that a signal arrives there."""


def grade_stopped(tmp_path, number, place, how):
    words = ["grade", str(SAMPLES / "pinion"), "--json", str(tmp_path / "r.json"), "-q"]
    code = PROGRAM.format(number=int(number), place=place, how=how, words=words)
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)


@pytest.mark.parametrize("number", STATUS)
@pytest.mark.parametrize("how", ["raised", "raised_in_source_text", "turned_into_another_error", "swallowed"])
def test_a_signal_to_stop_decides_the_exit_status_whatever_it_becomes(tmp_path, number, how):
    place = "lots.LotCounter" if how == "swallowed" else "reading.open_folder"
    done = grade_stopped(tmp_path, number, place, how)
    assert (done.returncode, done.stdout) == (STATUS[number], "")
    assert done.stderr.endswith("; nothing was written.\n")
    assert len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("number", STATUS)
def test_a_library_that_is_loading_is_not_interrupted(tmp_path, number):
    """What a library written in C imports while it starts must not fail: orjson 3.11 crashes."""
    code = f"""
import os, sys
from gearqa import __main__

class Finder:
    def find_spec(self, name, path, target=None):
        if name == "orjson.orjson":
            sys.modules.pop("json", None)
            self.armed = True
        elif name == "json" and self.__dict__.pop("armed", False):
            os.kill(os.getpid(), {int(number)})

sys.meta_path.insert(0, Finder())
sys.argv = ["gearqa", "grade", {str(SAMPLES / "pinion")!r}, "--json", {str(tmp_path / "r.json")!r}, "-q"]
__main__.main()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (STATUS[number], "")
    assert done.stderr.endswith("; nothing was written.\n")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("number", STATUS)
def test_a_signal_that_comes_when_outputs_are_put_in_place_is_too_late(tmp_path, number):
    how = "lambda *words, replace=os.replace: (stop(), replace(*words), stop())"
    done = grade_stopped(tmp_path, number, "atomic.os.replace", how)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert [path.name for path in tmp_path.iterdir()] == ["r.json"]


@pytest.mark.parametrize("number", STATUS)
def test_an_archive_is_stopped_between_its_folders_and_goes_on_when_run_again(tmp_path, number):
    for name in ("a", "b", "c"):
        shutil.copytree(SAMPLES / "pinion", tmp_path / "archive" / name)
        part = tmp_path / "archive" / name / "part.toml"
        part.write_text(part.read_text().replace('number = "', f'number = "{name}-', 1))
    store = str(tmp_path / "s.sqlite")
    words = ["history", "add", str(tmp_path / "archive"), "--recursive", "--store", store, "--workers", "1"]
    how = "lambda *words, add=place.add_prepared, **more: ((add(*words, **more), place.calls.append(1))[0], "
    how += "len(place.calls) == 2 and stop())[0]"
    code = PROGRAM.format(number=int(number), place="place.add_prepared", how=how, words=words)
    code = code.replace(
        "lots = ", "place = import_module('gearqa.jobs.archive'); place.calls = []\nlots = ", 1
    )
    stopped = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert stopped.returncode == STATUS[number], stopped.stderr
    assert "the folders added before stay" in stopped.stderr
    again = subprocess.run(
        [sys.executable, "-m", "gearqa", *words], capture_output=True, text=True, check=False
    )
    assert "1 folder added" in again.stderr, again.stderr
    assert again.returncode == 0


@pytest.mark.parametrize("number", STATUS)
def test_a_signal_at_any_moment(tmp_path, number):
    """The whole result and its status, or nothing and the status of the signal."""
    folder = tmp_path / "out"
    code = "from gearqa.__main__ import main; print('ready', flush=True); main()"
    words = [sys.executable, "-c", code, "grade", SAMPLES / "pinion", "-q"]
    words += ["--json", folder / "r.json", "--csv", folder / "r.csv"]
    folder.mkdir()
    began = time.monotonic()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    seconds = time.monotonic() - began
    moments = random.Random(int(number))
    for _ in range(10):
        shutil.rmtree(folder)
        folder.mkdir()
        running = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert running.stdout is not None
        assert running.stdout.readline() == "ready\n"
        time.sleep(moments.uniform(0.02, 1.1) * seconds)  # on a busy machine it says ready before it is
        running.send_signal(number)
        out, err = running.communicate(timeout=60)
        names = sorted(path.name for path in folder.iterdir())
        assert running.returncode == (0 if names else STATUS[number]), err
        assert names in ([], ["r.csv", "r.json"])
        assert out == ""
        assert "fault of gearqa" not in err


@pytest.mark.parametrize("number", STATUS)
def test_a_signal_while_a_finished_program_ends_changes_no_status(number):
    code = "import atexit; from gearqa.__main__ import main; "
    code += "atexit.register(print, 'end', flush=True); main()"
    words = [sys.executable, "-c", code, "grade", SAMPLES / "pinion", "-q"]
    for moment in range(10):
        running = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        assert running.stdout is not None
        assert running.stdout.readline() == "end\n"
        time.sleep(moment / 1000)
        running.send_signal(number)
        running.communicate(timeout=60)
        assert running.returncode == 0


def test_commands_leave_nothing_where_they_are_stopped(tmp_path):
    """A sample of what tests/benchmarks/stops.py does to all commands."""
    path = SAMPLES.parent / "tests" / "benchmarks" / "stops.py"
    spec = importlib.util.spec_from_file_location("stops", path)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    sys.modules["stops"] = script
    spec.loader.exec_module(script)
    for one in script.stops(tmp_path, 6, random.Random(), ["history add", "gauge"]):
        assert (one.left, one.faults) == ((), ()), one
        assert one.cpu_seconds < 1, one


FAULT_IN_THE_SECOND_FOLDER = """
import sys
from gearqa import __main__
from gearqa.jobs import archive

def second_fails(*args, add=archive.add_prepared, calls=[], **options):
    calls.append(1)
    if len(calls) > 1: raise {error}
    return add(*args, **options)

archive.add_prepared = second_fails
sys.argv = ["gearqa", "history", "add", {root!r}, "--recursive", "--store", {store!r}]
__main__.main()
"""


@pytest.mark.parametrize(("error", "status"), [("MemoryError", 2), ("ZeroDivisionError", 70)])
def test_what_was_added_before_a_fault_is_not_denied(tmp_path, error, status):
    for name in ("a", "b"):
        pitch_folder(tmp_path / "lots" / name, [name])
    code = FAULT_IN_THE_SECOND_FOLDER.format(
        error=error, root=str(tmp_path / "lots"), store=str(tmp_path / "s.sqlite")
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == status
    assert "the folders added before stay" in done.stderr
    assert "nothing was written" not in done.stderr
