"""Measures gearqa against general tools in one run, and prints ratios.

    python tests/benchmarks/bench.py [--rows 10000000] [--repeat 3] [--gears 100 500] [--stored 10000]
                                     [--archive-gears 20 400] [--sheets 200] [--deliveries 24]
                                     [--json FILE] [--compare OLD.json] [--markdown]

Seconds depend on the machine; the ratios are what counts. Nothing here is a test. What was measured is
printed as it comes; `--json` keeps it, `--compare` sets it against an earlier run (of another commit, on the
same machine), `--markdown` prints the table of the README. Compared are

- `gearqa grade --json` with a general CSV reader that only parses the same two files (pandas' C engine
  with one thread a file; polars too, if it is installed),
- evaluation proper (filter, range, mean line, total, form, slope, crowning) on one core with nothing but
  scipy.ndimage's convolution of the same array with the same kernel (Gaussian, kept to one cutoff),
- peak memory at two sizes,
- reports of lots with the charts of every gear, page and PDF, and the PDF of one gear,
- adding many gears to a history store, analysing their drift and exporting their figures,
- archives of many folders, sheets, deliveries and grading anew with one worker and with two, and two
  machines' workers behind a scheduler on this one (if dask.distributed is installed),
- the same rows as Parquet,
- start-up of small commands with `python -c "import typer"`.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else every start would compile what changed since

import numpy as np  # noqa: E402

PROGRAM = str(Path(sys.executable).parent / "gearqa")
POINTS = 480
TEETH = (1, 23, 45, 66)
TRACES_PER_GEAR = 2 * 2 * len(TEETH)
PART = """schema = "gearqa.part/1"
[part]
number = "BENCH"
[gear]
kind = "internal"
teeth = 87
normal_module_mm = 1.75
normal_pressure_angle_deg = 20.0
helix_angle_deg = 18.0
helix_hand = "right"
face_width_mm = 32.0
tip_diameter_mm = 156.7
[evaluation.profile]
control_diameter_mm = 163.4
tip_form_diameter_mm = 157.0
[tolerance]
class = 6
parameters = ["profile_total", "profile_form", "profile_slope", "helix_total", "helix_form", "helix_slope"]
"""
PROFILE_MM = (23.7, 33.6)
HELIX_MM = (0.5, 31.5)


@dataclass
class Measured:
    """One line of the table."""

    name: str
    seconds: float | None = None
    peak_mb: float | None = None
    ratios: dict[str, float] = field(default_factory=dict)
    """Against what, and how many times as much."""
    value: str = ""
    """What is no time, as text."""
    note: str = ""

    @property
    def value_text(self) -> str:
        """Value as the table has it."""
        peak = "" if self.peak_mb is None else f"peak {self.peak_mb:.0f} MB"
        return ", ".join(filter(None, (self.value or time_text(self.seconds or 0.0), peak)))

    @property
    def against_text(self) -> str:
        """Comparisons as the table has them."""
        ratios = (f"{ratio:.2f} times {what}" for what, ratio in self.ratios.items())
        return "; ".join((*ratios, *filter(None, (self.note,))))


def time_text(seconds: float) -> str:
    """Seconds, or milliseconds of short times."""
    return f"{seconds:.2f} s" if seconds >= 0.5 else f"{1000 * seconds:.0f} ms"


TABLE: list[Measured] = []


def measured(
    name: str, seconds: float | None = None, peak_mb: float | None = None, **more: object
) -> Measured:
    """Keep a line of the table and print it."""
    one = Measured(name, seconds, peak_mb, **more)  # type: ignore[arg-type]
    TABLE.append(one)
    print(f"    {one.name:58} {one.value_text:24} {one.against_text}", flush=True)
    return one


def machine() -> dict[str, object]:
    """The machine in general words."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    pages = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 0
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {
        "system": platform.system(), "processor": platform.machine(), "cores": cores,
        "memory_gb": round(pages / 1e9), "python": platform.python_version(), "load_before": load,
    }  # fmt: skip


def write_folder(folder: Path, rows: int) -> int:
    """Write a long-format folder of about so many rows; return the number of gears."""
    gears = max(1, round(rows / (POINTS * TRACES_PER_GEAR)))
    folder.mkdir(parents=True)
    (folder / "part.toml").write_text(PART, encoding="utf-8")
    rng = np.random.default_rng(1)
    for kind, column, (start, end) in (
        ("profile", "roll_length_mm", PROFILE_MM),
        ("helix", "face_position_mm", HELIX_MM),
    ):
        position = [f"{x:.4f}" for x in np.linspace(start, end, POINTS)]
        with (folder / f"{kind}.csv").open("w", encoding="ascii") as stream:
            stream.write(f"serial,flank,tooth,{column},deviation_um\n")
            for gear in range(gears):
                values = np.round(rng.normal(0, 0.4, (2 * len(TEETH), POINTS)).cumsum(axis=1) / 8, 3)
                for trace, (flank, tooth) in enumerate((f, t) for f in ("left", "right") for t in TEETH):
                    head = f"B-{gear:06d},{flank},{tooth},"
                    lines = zip(position, values[trace].tolist(), strict=True)
                    stream.writelines(f"{head}{x},{y:.3f}\n" for x, y in lines)
    return gears


def best(run: Callable[[], object], repeat: int) -> float:
    """Shortest of several runs, in seconds."""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


def child(*command: str) -> tuple[float, float]:
    """Seconds and peak memory in MB of a command."""
    code = (
        "import resource, subprocess, sys;"
        "status = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE);"
        "sys.stderr.buffer.write(status.stderr) if status.returncode not in (0, 1) else None;"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, *command], capture_output=True, text=True, check=True)
    seconds = time.perf_counter() - start
    if done.stderr:
        raise RuntimeError(done.stderr)
    return seconds, float(done.stdout)


def median_seconds(command: list[str], repeat: int) -> float:
    """Median time of a command."""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


PANDAS_READER = """
import sys
from concurrent.futures import ThreadPoolExecutor
import pandas as pd
TYPES = {"serial": "category", "flank": "category", "tooth": "int64", "deviation_um": "float64"}
def read(path):
    rows = 0
    for chunk in pd.read_csv(path, engine="c", chunksize=500_000, dtype=TYPES, na_filter=False):
        rows += len(chunk)
    return rows
with ThreadPoolExecutor(2) as pool:
    print(sum(pool.map(read, sys.argv[1:])))
"""
POLARS_READER = """
import sys
import polars as pl
for path in sys.argv[1:]:
    rows = sum(len(batch) for batch in pl.scan_csv(path).collect_batches())
"""


def readers() -> dict[str, str]:
    """General CSV readers that are installed."""
    found = {"pandas, C engine, two threads": PANDAS_READER}
    try:
        import polars  # noqa: F401
    except ImportError:
        return found
    return {**found, "polars": POLARS_READER}


def as_parquet(folder: Path, target: Path) -> None:
    """The same folder with its tables as Parquet."""
    import polars as pl

    target.mkdir()
    shutil.copy(folder / "part.toml", target)
    for table in folder.glob("*.csv"):
        pl.scan_csv(table).sink_parquet(target / f"{table.stem}.parquet")


def bench_grade(rows: int, repeat: int) -> None:
    """`grade --json` against general readers, and memory at two sizes."""
    print(f"\nGrading, {POINTS} points a trace, {TRACES_PER_GEAR} traces a gear")
    for size in (max(rows // 10, 100_000), rows):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "folder"
            gears = write_folder(folder, size)
            tables = [str(folder / "profile.csv"), str(folder / "helix.csv")]
            megabytes = sum(os.path.getsize(table) for table in tables) / 1e6
            line = [
                sys.executable,
                "-m",
                "gearqa",
                "grade",
                str(folder),
                "--json",
                f"{place}/out.json",
                "--quiet",
            ]
            graded = [child(*line) for _ in range(repeat)]
            if Path(place, "out.json").read_bytes().count(b'"not_assessed":[]') != gears:
                raise RuntimeError("a trace of the benchmark was not assessed: this would measure too little")
            seconds, memory = min(graded)
            ratios = {}
            for name, code in readers().items():
                read_seconds, read_memory = min(
                    child(sys.executable, "-c", code, *tables) for _ in range(repeat)
                )
                ratios[f"{name} alone ({time_text(read_seconds)}, peak {read_memory:.0f} MB)"] = (
                    seconds / read_seconds
                )
            count = gears * TRACES_PER_GEAR * POINTS
            what = f"`gearqa grade --json`, {f'{count:,}'.replace(',', ' ')} rows"
            sizes = f"({megabytes:.0f} MB, {gears} gears)"
            measured(f"{what} {sizes}", seconds, memory, ratios=ratios)
            as_parquet(folder, Path(place) / "parquet")
            line[4] = str(Path(place) / "parquet")
            parquet_seconds, parquet_memory = min(child(*line) for _ in range(repeat))
            against = {"the time for CSV": parquet_seconds / seconds}
            measured(f"the same from Parquet, {gears} gears", parquet_seconds, parquet_memory, ratios=against)


def bench_evaluation(repeat: int) -> None:
    """Evaluation proper on one core against one convolution of the same array."""
    from scipy.ndimage import convolve1d

    from gearqa.evaluation.part_setup import setup_of
    from gearqa.evaluation.trace_sets import evaluate_trace_sets
    from gearqa.model.measurement import GearMeasurement, Trace
    from gearqa.reading.settings.part_file import read_part

    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "part.toml"
        path.write_text(PART, encoding="utf-8")
        part = read_part(path)
    rng = np.random.default_rng(2)
    position = np.linspace(*HELIX_MM, POINTS)
    position.setflags(write=False)
    gears = []
    array = np.ascontiguousarray(rng.normal(0, 1, (64 * 64 * 2, POINTS)))
    array.setflags(write=False)
    for gear in range(64):
        rows = array[gear * 128 : (gear + 1) * 128]
        traces = tuple(
            Trace("helix", "left" if i % 2 else "right", i // 2 + 1, position, row)
            for i, row in enumerate(rows)
        )
        gears.append(GearMeasurement(f"B-{gear}", traces))
    setup = setup_of(part)
    evaluate_trace_sets(gears, setup)
    ours = best(lambda: evaluate_trace_sets(gears, setup), repeat)
    step, cutoff = position[1] - position[0], 28.8 / 30
    reach = int(cutoff / step)
    kernel = np.exp(-np.pi * (np.arange(-reach, reach + 1) * step / cutoff) ** 2 / (np.log(2) / np.pi))
    kernel /= kernel.sum()
    theirs = best(lambda: convolve1d(array, kernel, axis=1), repeat)
    points = array.size / 1e6
    print(f"\nEvaluation on one core, {array.shape[0]} traces of {POINTS} points")
    measured(
        "evaluation proper, one core",
        value=f"{points / ours:.0f} million points/s",
        ratios={f"the speed of scipy.ndimage's convolution alone ({points / theirs:.0f})": theirs / ours},
    )


SCENARIOS = Path(__file__).parents[2] / "sample_measurements" / "scenarios"
POINTS_LINE = re.compile(r"^(profile|helix)_points = .*\n", re.MULTILINE)


def simulated_lot(place: Path, gears: int) -> Path:
    """A lot of rings with profile, helix, pitch, runout and size, 480 points a trace."""
    text = (SCENARIOS / "ring_conforming.toml").read_text(encoding="utf-8")
    text = POINTS_LINE.sub("", text).replace("parts = 12\n", f"parts = {gears}\n")
    (place / "lot.toml").write_text(text, encoding="utf-8")
    shutil.copy(SCENARIOS / "ring.toml", place)
    folder = place / "lot"
    child(PROGRAM, "simulate", str(folder), "--scenario", str(place / "lot.toml"), "--quiet")
    return folder


def bench_reports(sizes: list[int], repeat: int) -> None:
    """Reports of a lot with all charts; the PDF of one gear against nothing but start-up."""
    print(f"\nReports, every gear with its charts, {POINTS} points a trace, 16 traces a gear")
    for gears in sizes:
        with tempfile.TemporaryDirectory() as place:
            folder = simulated_lot(Path(place), gears)
            line = [PROGRAM, "grade", str(folder), "--quiet", "--sheets", "all"]
            page = 0.0
            for kind in ("html", "pdf"):
                out = f"{place}/out.{kind}"
                seconds, memory = min(child(*line, f"--{kind}", out) for _ in range(repeat))
                size = sum(path.stat().st_size for path in Path(place).glob(f"out*.{kind}")) / 1e6
                ratios = {"the time of the page": seconds / page} if page else {}
                page = page or seconds
                name = f"{gears} gears with every chart, `--{kind}`"
                measured(name, seconds, memory, ratios=ratios, note=f"files {size:.1f} MB")


def bench_sheets(gears: int, repeat: int) -> None:
    """One PDF a gear, with one worker and with two."""
    print(f"\nSheets of {gears} gears in a folder")
    with tempfile.TemporaryDirectory() as place:
        folder = simulated_lot(Path(place), gears)
        sheets = [PROGRAM, "grade", str(folder), "--quiet", "--sheet-folder", f"{place}/sheets"]
        one, _ = min(child(*sheets, "--serial", "OT-0201") for _ in range(max(repeat, 3)))
        by_workers(f"{gears} gears, one PDF each, `--sheet-folder`", repeat, lambda _: sheets)
        further = 1000 * ((TABLE[-1].seconds or 0.0) - one) / (gears - 1)
        TABLE[-1].note = f"{further:.0f} ms a further gear"


def bench_deliveries(deliveries: int, repeat: int) -> None:
    """Reports of many deliveries against our measurement."""
    print(f"\nA supplier's reports of {deliveries} deliveries, 12 gears each")
    samples = SCENARIOS.parent
    with tempfile.TemporaryDirectory() as place:
        for number in range(deliveries):
            shutil.copytree(samples / "ring_conforming", f"{place}/all/{number:03d}")
            shutil.copy(samples / "supplier_report" / "report.csv", f"{place}/all/{number:03d}")
        line = [PROGRAM, "incoming", f"{place}/all", "--recursive", "--quiet", "--review-folder"]
        name = f"`gearqa incoming --recursive`, {deliveries} deliveries with JSON and page"
        by_workers(name, repeat, lambda run: [*line, f"{place}/{run}"])


def by_workers(name: str, repeat: int, line: Callable[[int], list[str]]) -> None:
    """A command with one worker and with two, by turns so that other load meets both."""
    times: dict[int, list[tuple[float, float]]] = {1: [], 2: []}
    for run in range(repeat):
        for workers in (1, 2):
            times[workers].append(child(*line(10 * run + workers), "--workers", str(workers)))
    alone, both = min(times[1]), min(times[2])
    measured(f"{name}, one worker", *alone)
    measured(f"{name}, two workers", *both, ratios={"as fast as one": alone[0] / both[0]})


HISTORY_PART = """schema = "gearqa.part/1"
[part]
number = "BENCH-H"
[gear]
kind = "external"
teeth = 19
normal_module_mm = 2.0
normal_pressure_angle_deg = 20.0
helix_angle_deg = 0.0
face_width_mm = 20.0
[tolerance]
class = 6
parameters = ["single_pitch", "cumulative_pitch", "runout"]
"""


def write_history(folder: Path, gears: int) -> None:
    """Gears with pitch and runout, three measured of each dress cycle of thirty."""
    folder.mkdir()
    (folder / "part.toml").write_text(HISTORY_PART, encoding="utf-8")
    rng = np.random.default_rng(3)
    begin = datetime(2025, 1, 1, tzinfo=UTC)
    with (
        (folder / "pitch.csv").open("w", encoding="ascii") as pitch,
        (folder / "runout.csv").open("w", encoding="ascii") as runout,
        (folder / "production.csv").open("w", encoding="ascii") as production,
    ):
        pitch.write("serial,flank,tooth,index_um\n")
        runout.write("serial,space,radial_um\n")
        production.write("serial,finished_at,grinder,wheel,dress,parts_since_dress,measured_at\n")
        for gear in range(gears):
            serial, cycle, part = f"H-{gear:06d}", gear // 3, (1, 15, 30)[gear % 3]
            made = begin + timedelta(minutes=60 * cycle + 2 * part)
            production.write(f"{serial},{made.isoformat()},GR-1,W-1,D{cycle:05d},{part},{made.isoformat()}\n")
            for flank in ("left", "right"):
                index = np.round(rng.normal(0, 2 + 0.02 * part, 19), 2).tolist()
                pitch.writelines(f"{serial},{flank},{k},{x}\n" for k, x in enumerate(index, 1))
            radial = np.round(rng.normal(0, 3, 19), 2).tolist()
            runout.writelines(f"{serial},{k},{x}\n" for k, x in enumerate(radial, 1))


READ_ROWS = """
import sys
from gearqa.history.observations import load_observations
from gearqa.history.store import HistoryStore
with HistoryStore.open(sys.argv[1]) as store:
    rows = list(load_observations(store))
"""


def bench_history(gears: int) -> None:
    """Adding gears to a new store, and charting them all."""
    print(f"\nHistory, {gears} gears with pitch and runout in {gears // 3} dress cycles")
    with tempfile.TemporaryDirectory() as place:
        folder, store = Path(place) / "folder", f"{place}/store.sqlite"
        write_history(folder, gears)
        graded = 0.0
        for name, words in (
            ("grade --json", ["grade", str(folder), "--json", f"{place}/out.json", "--quiet"]),
            ("history add", ["history", "add", str(folder), "--store", store, "--quiet"]),
            ("drift --html", ["drift", "--store", store, "--html", f"{place}/out.html", "--quiet"]),
            (
                "history export --parquet",
                ["history", "export", "--store", store, "--parquet", f"{place}/o.parquet"],
            ),
        ):
            seconds, memory = child(PROGRAM, *words)
            ratios = {"`grade --json` of the same gears": seconds / graded} if graded else {}
            graded = graded or seconds
            if words[0] == "drift":
                reading, _ = child(sys.executable, "-c", READ_ROWS, store)
                ratios[f"a program that only reads its rows ({time_text(reading)})"] = seconds / reading
            measured(f"`gearqa {name}`, {gears} gears with pitch and runout", seconds, memory, ratios=ratios)
        size = os.path.getsize(store)
        measured(
            "size of the store", value=f"{size / 1e6:.0f} MB", note=f"{size / gears / 1e3:.1f} kB a gear"
        )
        regrade = [PROGRAM, "history", "regrade", "--store", store, "--from-files", "--dry-run", "--quiet"]
        measured(f"`gearqa history regrade --from-files --dry-run`, {gears} gears", *child(*regrade))


def write_archive(root: Path, folders: int, gears: int) -> None:
    """An archive of folders, each of as many gears with profile and helix of their own serials."""
    for number in range(folders):
        folder = root / f"{number:03d}"
        write_folder(folder, gears * POINTS * TRACES_PER_GEAR)
        for table in folder.glob("*.csv"):
            table.write_text(table.read_text().replace("B-", f"B{number:03d}-"), encoding="ascii")


def bench_archive(folders: int, gears: int, repeat: int) -> None:
    """An archive on one core, on two, and on workers behind a scheduler."""
    print(f"\nAn archive of {folders} folders, each of {gears} gears, {POINTS} points a trace")
    with tempfile.TemporaryDirectory() as place:
        root = Path(place) / "archive"
        write_archive(root, folders, gears)
        name = f"`gearqa history add --recursive`, {folders} folders of {gears} gears"
        add = [PROGRAM, "history", "add", str(root), "--recursive", "--quiet", "--store"]
        by_workers(name, repeat, lambda run: [*add, f"{place}/{run}.sqlite"])
        store = f"{place}/1.sqlite"
        regrade = [PROGRAM, "history", "regrade", "--store", store, "--from-files", "--dry-run", "--quiet"]
        again = f"`gearqa history regrade --from-files`, {folders} folders of {gears} gears"
        by_workers(again, repeat, lambda _: regrade)
        try:
            import distributed  # noqa: F401
        except ImportError:
            return
        alone = 0.0
        for workers in (1, 2):
            with cluster(workers) as address:
                line = [*add, f"{place}/warm-{workers}.sqlite", "--scheduler", address]
                child(*line)  # workers load their libraries once for many archives
                line[-3] = f"{place}/cluster-{workers}.sqlite"
                seconds, memory = child(*line)
            ratios = {"as fast as one": alone / seconds} if alone else {}
            alone = alone or seconds
            words = "one worker" if workers == 1 else "two workers"
            measured(f"{name}, {words} behind a scheduler", seconds, memory, ratios=ratios)


@contextmanager
def cluster(workers: int) -> Iterator[str]:
    """A scheduler and separate workers of one thread on this machine; gives its address."""
    with tempfile.TemporaryDirectory() as place:
        note = f"{place}/scheduler.json"
        base = [sys.executable, "-m", "distributed.cli"]
        started = [
            subprocess.Popen(
                [
                    *base[:2],
                    "distributed.cli.dask_scheduler",
                    "--host",
                    "127.0.0.1",
                    "--port",
                    "0",
                    "--no-dashboard",
                    "--scheduler-file",
                    note,
                ],
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        ]
        try:
            while not Path(note).exists() or not Path(note).read_text():
                time.sleep(0.1)
            worker = [
                *base[:2],
                "distributed.cli.dask_worker",
                "--scheduler-file",
                note,
                "--nthreads",
                "1",
                "--no-dashboard",
                "--local-directory",
                place,
            ]
            started += [
                subprocess.Popen(worker, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                for _ in range(workers)
            ]
            from distributed import Client

            address = json.loads(Path(note).read_text())["address"]
            with Client(address) as client:
                client.wait_for_workers(workers)
            yield address
        finally:
            for process in reversed(started):
                process.terminate()
                process.wait()


def bench_start(repeat: int) -> None:
    """Start-up of small commands."""
    base = median_seconds([sys.executable, "-c", "import typer"], repeat)
    print(f"\nStart-up, against python -c 'import typer' ({base * 1000:.0f} ms)")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "folder"
        write_folder(folder, POINTS * TRACES_PER_GEAR)
        sizes = ["--module", "1.75", "--diameter", "160", "--face-width", "32"]
        for name, words in (
            ("`gearqa --help`", ["--help"]),
            ("`gearqa tolerances`", ["tolerances", *sizes]),
            ("`gearqa grade`, one gear", ["grade", str(folder)]),
        ):
            seconds = median_seconds([PROGRAM, *words], repeat)
            ratios = {f'`python -c "import typer"` ({time_text(base)})': seconds / base}
            measured(name, seconds, ratios=ratios)


def main() -> None:
    """Run everything."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rows", type=int, default=1_000_000, help="rows of the larger folder")
    parser.add_argument("--repeat", type=int, default=3, help="runs of which the best counts")
    parser.add_argument("--gears", type=int, nargs="*", default=[100], help="gears of the lots reported on")
    parser.add_argument("--stored", type=int, default=3000, help="gears put into a history store; 0: none")
    parser.add_argument("--folders", type=int, default=24, help="folders of the archives; 0: none")
    parser.add_argument("--archive-gears", type=int, nargs="*", default=[20, 400], help="gears of a folder")
    parser.add_argument("--sheets", type=int, default=200, help="gears with a PDF each; 0: none")
    parser.add_argument("--deliveries", type=int, default=24, help="deliveries of a supplier; 0: none")
    parser.add_argument("--json", type=Path, help="keep what was measured in this file")
    parser.add_argument("--compare", type=Path, help="set it against what an earlier run kept")
    parser.add_argument("--markdown", action="store_true", help="print the table as the README has it")
    options = parser.parse_args()
    where = machine()
    print(", ".join(f"{key.replace('_', ' ')} {value}" for key, value in where.items()))
    begin = time.perf_counter()
    bench_start(max(options.repeat, 7))
    bench_evaluation(max(options.repeat, 5))
    bench_grade(options.rows, options.repeat)
    bench_reports(options.gears, options.repeat)
    if options.stored:
        bench_history(options.stored)
    if options.sheets:
        bench_sheets(options.sheets, options.repeat)
    if options.folders:
        for gears in options.archive_gears:
            bench_archive(options.folders, gears, options.repeat)
    if options.deliveries:
        bench_deliveries(options.deliveries, options.repeat)
    print(f"\n{time.perf_counter() - begin:.0f} s in all")
    if options.json:
        from gearqa.version import __version__

        kept = {"machine": where, "version": __version__, "measured": list(map(asdict, TABLE))}
        options.json.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    if options.compare:
        compare(json.loads(options.compare.read_text(encoding="utf-8")))
    if options.markdown:
        print("\n| measured | value | against |\n|---|---|---|")
        for one in TABLE:
            print(f"| {one.name} | {one.value_text} | {one.against_text} |")


def compare(old: dict[str, Any]) -> None:
    """Print what became of the figures of an earlier run."""
    print(f"\nAgainst version {old['version']}, {old['machine']}")
    before = {one["name"]: one for one in old["measured"]}
    for one in TABLE:
        was = before.get(one.name)
        if was is None or not one.seconds or not was["seconds"]:
            continue
        text = f"{time_text(was['seconds'])} -> {time_text(one.seconds)}"
        text += f", {one.seconds / was['seconds']:.2f} times"
        if one.peak_mb and was["peak_mb"]:
            text += f"; {was['peak_mb']:.0f} -> {one.peak_mb:.0f} MB"
        print(f"    {one.name:58} {text}")


if __name__ == "__main__":
    main()
