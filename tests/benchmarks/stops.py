"""Stops every command at random moments, by Ctrl-C and SIGTERM, and looks at what is left.

    python tests/benchmarks/stops.py [--stops 100] [--seed 1]

Prints what was left behind, and how long each end took: seconds of the clock, and of the processor (the
machine may be busy with other things).
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

SAMPLES = Path(__file__).parents[2] / "sample_measurements"
LONGEST_S = 1.0
COMMANDS = {
    "grade": ["grade", SAMPLES / "pinion", "--json", "out/r.json", "--pdf", "out/r.pdf", "-q"],
    "lot": ["lot", SAMPLES / "pinion", "--pdf", "out/r.pdf", "--csv", "out/r.csv", "-q"],
    "drift": ["drift", SAMPLES / "drift_history", "--html", "out/r.html", "-q"],
    "diagnose": ["diagnose", SAMPLES / "ring_faults", "--json", "out/r.json", "-q"],
    "incoming": [
        "incoming", SAMPLES / "supplier_report" / "report.csv", SAMPLES / "ring_conforming",
        "--json", "out/r.json", "-q",
    ],
    "gauge": ["gauge", SAMPLES / "gauge_study" / "crossed.csv", "--html", "out/r.html", "-q"],
    "history add": ["history", "add", SAMPLES / "pinion", "--store", "out/st.db", "-q"],
    "history archive": [
        "history", "add", SAMPLES, "--recursive", "--workers", "2", "--store", "out/st.db", "-q",
    ],
    "grade sheets": [
        "grade", SAMPLES / "ring_conforming", "--sheet-folder", "out/sheets", "--workers", "2", "-q",
    ],
    "lot record": [
        "lot", SAMPLES / "ring_master", "--lot-id", "L-1", "--record", "out/r.rec", "--html", "out/r.html",
        "-q",
    ],
    "verify": ["verify", "given.rec", SAMPLES / "ring_master", "--json", "out/r.json"],
    "diagnose pages": [
        "diagnose", SAMPLES / "pinion", "--html", "out/r.html", "--pdf", "out/r.pdf", "-q",
    ],
    "history export": [
        "history", "export", "--store", "given.db", "--csv", "out/r.csv", "--parquet", "out/r.parquet",
        "--json", "out/r.json",
    ],
    "history regrade": [
        "history", "regrade", "--store", "out/st.db", "--class", "7", "--from-files", "--workers", "2",
        "--json", "out/r.json", "-q",
    ],
    "history drift": ["drift", "--store", "given.db", "--pdf", "out/r.pdf", "-q"],
    "watch": ["watch", SAMPLES, "--once", "--settle", "0.01", "--store", "out/st.db", "--html", "out/r.html"],
    "simulate": ["simulate", "out/made", "--scenario", SAMPLES / "scenarios" / "pinion.toml", "-q"],
}  # fmt: skip
FREE = ("history add", "history archive", "history regrade", "watch", "simulate", "grade sheets")
"""Commands that write a store, or as many files as there are gears."""
CODE = "from gearqa.__main__ import main; print('ready', flush=True); main()"
GIVEN = [
    ["history", "add", SAMPLES / "drift_history", "--store", "given.db", "-q"],
    ["lot", SAMPLES / "ring_master", "--lot-id", "L-0", "--record", "given.rec", "-q"],
]
"""What the commands read that no sample is."""
STATUS = {signal.SIGINT: 130, signal.SIGTERM: 143}


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop: which command, how it ended, what it left that nobody asked for."""

    command: str
    status: int
    seconds: float
    cpu_seconds: float
    left: tuple[str, ...]
    faults: tuple[str, ...]


def stops(folder: Path, count: int, dice: random.Random, names: list[str]) -> Iterator[Stop]:
    """Stop commands that write into `folder`/out at any moment of the time that they take."""
    out = folder / "out"
    took_whole = {}
    for line in GIVEN:
        _run(line, folder)
    for _ in range(count):
        name = dice.choice(names)
        if name not in took_whole:
            took_whole[name] = _whole(name, folder)
        number = dice.choice(list(STATUS))
        _prepare(name, folder)
        words = [sys.executable, "-c", CODE, *map(str, COMMANDS[name])]
        running = subprocess.Popen(
            words, cwd=folder, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=_environment(),
            start_new_session=True,
        )  # fmt: skip
        assert running.stdout is not None
        running.stdout.readline()
        time.sleep(dice.uniform(0, 1.1) * took_whole[name])
        before = _cpu(running.pid)
        began = time.monotonic()
        running.send_signal(number)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        _, told = running.communicate(timeout=120)
        took = time.monotonic() - began
        ended = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu = ended.ru_utime + ended.ru_stime - used.ru_utime - used.ru_stime - before
        left = tuple(_temporary(out))
        yield Stop(
            name,
            running.returncode,
            took,
            max(cpu, 0.0),
            left,
            (*_faults(name, number, running.returncode, out, told), *["a process"] * _alive(running.pid)),
        )


def _whole(name: str, folder: Path) -> float:
    """Seconds of a run that nobody stops."""
    _prepare(name, folder)
    began = time.monotonic()
    _run(COMMANDS[name], folder)
    return time.monotonic() - began


def _prepare(name: str, folder: Path) -> None:
    """An empty folder for the outputs; of a command that changes a store, with one in it."""
    shutil.rmtree(folder / "out", ignore_errors=True)
    (folder / "out").mkdir()
    if name == "history regrade":
        shutil.copy(folder / "given.db", folder / "out" / "st.db")


def _run(line: list[str | Path], folder: Path) -> None:
    words = [sys.executable, "-m", "gearqa", *map(str, line)]
    done = subprocess.run(words, cwd=folder, capture_output=True, check=False, env=_environment())
    if done.returncode not in (0, 1):
        raise AssertionError(done.stderr.decode())


def _alive(group: int) -> bool:
    """Whether a process of a group still runs ten seconds after its first one ended: the machine is busy."""
    for _ in range(200):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return False
        time.sleep(0.05)
    return True


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(SAMPLES.parent)}


def _cpu(pid: int) -> float:
    """Processor seconds of a running process; 0 where the system does not tell."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _temporary(out: Path) -> Iterator[str]:
    for path in out.rglob("*"):
        if path.name.startswith(".") or ".part" in path.name or path.name.endswith(("-journal", "-wal")):
            yield path.name


def _faults(name: str, number: signal.Signals, status: int, out: Path, told: str) -> Iterator[str]:
    """What must not be: another status, a fault of the program, half an output, a store that is not whole."""
    files = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    if status not in (0, 1, STATUS[number]):
        yield f"status {status}"
    if "Traceback" in told or "fault of gearqa" in told:
        yield told.strip().splitlines()[-1]
    wanted = {
        Path(word).relative_to("out").as_posix()
        for word in map(str, COMMANDS[name])
        if word.startswith("out/")
    }
    if name not in FREE and files and (files != wanted or status == STATUS[number]):
        yield f"{sorted(files)} with status {status}"
    if name in ("simulate", "grade sheets") and status == STATUS[number] and files:
        yield f"half a folder: {sorted(files)}"
    if "st.db" in files:
        words = [sys.executable, "-m", "gearqa", "history", "check", "--store", str(out / "st.db"), "-q"]
        done = subprocess.run(words, capture_output=True, text=True, check=False, env=_environment())
        if done.returncode:
            yield f"store: {done.stderr.strip() or done.stdout.strip()}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--stops", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        done = []
        for one in stops(Path(name), asked.stops, random.Random(asked.seed), list(COMMANDS)):
            done.append(one)
            if one.left or one.faults:
                print(one, flush=True)
    slow = [one for one in done if one.seconds > LONGEST_S]
    busy = [one for one in done if one.cpu_seconds > LONGEST_S]
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    left, faults = sum(bool(one.left) for one in done), sum(bool(one.faults) for one in done)
    print(f"{len(done)} stops, {load}: {left} left a temporary file, {faults} at fault; "
          f"over {LONGEST_S:.0f} s: {len(slow)} by the clock "
          f"(longest {max(one.seconds for one in done):.1f} s), {len(busy)} of processor time "
          f"(longest {max(one.cpu_seconds for one in done):.2f} s)")  # fmt: skip
    for status, times in sorted(Counter(one.status for one in done).items()):
        print(f"status {status}: {times}")
    for one in slow:
        print(f"  {one.command}: {one.seconds:.1f} s, processor {one.cpu_seconds:.2f} s")


if __name__ == "__main__":
    main()
