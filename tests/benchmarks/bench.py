"""Measures gearqa against general tools in one run, and prints ratios.

    python tests/benchmarks/bench.py [--rows 10000000] [--repeat 3] [--gears 100 500] [--stored 10000]

Seconds depend on the machine; the ratios are what counts. Nothing here is a test: see the README for
a measured table. Compared are

- `gearqa grade --json` with a general CSV reader that only parses the same two files (pandas' C engine
  with one thread a file; polars too, if it is installed),
- evaluation proper (filter, range, mean line, total, form, slope, crowning) on one core with nothing but
  scipy.ndimage's convolution of the same array with the same kernel (Gaussian, kept to one cutoff),
- peak memory at two sizes,
- reports of lots with the charts of every gear, page and PDF, and the PDF of one gear,
- adding many gears to a history store and analysing their drift,
- start-up of small commands with `python -c "import typer"`.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

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


def bench_grade(rows: int, repeat: int) -> None:
    """`grade --json` against general readers, and memory at two sizes."""
    print(f"\nGrading, {POINTS} points a trace, {TRACES_PER_GEAR} traces a gear")
    for size in (max(rows // 10, 100_000), rows):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "folder"
            gears = write_folder(folder, size)
            tables = [str(folder / "profile.csv"), str(folder / "helix.csv")]
            megabytes = sum(os.path.getsize(table) for table in tables) / 1e6
            graded = [
                child(
                    sys.executable,
                    "-m",
                    "gearqa",
                    "grade",
                    str(folder),
                    "--json",
                    f"{place}/out.json",
                    "--quiet",
                )
                for _ in range(repeat)
            ]
            if Path(place, "out.json").read_bytes().count(b'"not_assessed":[]') != gears:
                raise RuntimeError("a trace of the benchmark was not assessed: this would measure too little")
            seconds, memory = min(graded)
            count = gears * TRACES_PER_GEAR * POINTS
            print(f"  {count:>10,} rows, {megabytes:.0f} MB, {gears} gears")
            print(f"    gearqa grade --json              {seconds:7.2f} s  peak {memory:5.0f} MB")
            for name, code in readers().items():
                read_seconds, read_memory = min(
                    child(sys.executable, "-c", code, *tables) for _ in range(repeat)
                )
                ratio = seconds / read_seconds
                print(f"    {name:32} {read_seconds:7.2f} s  peak {read_memory:5.0f} MB  ratio {ratio:.2f}")


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
    print(f"    evaluation proper                {points / ours:7.0f} million points per second")
    print(f"    scipy.ndimage convolution alone  {points / theirs:7.0f} million points per second")
    print(f"    speed ratio                      {theirs / ours:7.2f}")


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
            for kind in ("html", "pdf"):
                out = f"{place}/out.{kind}"
                seconds, memory = min(child(*line, f"--{kind}", out) for _ in range(repeat))
                size = sum(path.stat().st_size for path in Path(place).glob(f"out*.{kind}")) / 1e6
                name = f"{gears} gears, --{kind}"
                print(f"    {name:32} {seconds:7.2f} s  peak {memory:5.0f} MB  file {size:.1f} MB")
            sheets = [PROGRAM, "grade", str(folder), "--quiet", "--sheet-folder", f"{place}/sheets"]
            many, _ = min(child(*sheets) for _ in range(repeat))
            one, _ = min(child(*sheets, "--serial", "OT-0201") for _ in range(max(repeat, 3)))
            name = f"{gears} gears, --sheet-folder"
            print(f"    {name:32} {many:7.2f} s  a further gear {1000 * (many - one) / (gears - 1):.0f} ms")


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


def bench_history(gears: int) -> None:
    """Adding gears to a new store, and charting them all."""
    print(f"\nHistory, {gears} gears with pitch and runout in {gears // 3} dress cycles")
    with tempfile.TemporaryDirectory() as place:
        folder, store = Path(place) / "folder", f"{place}/store.sqlite"
        write_history(folder, gears)
        for name, words in (
            ("grade --json", ["grade", str(folder), "--json", f"{place}/out.json", "--quiet"]),
            ("history add", ["history", "add", str(folder), "--store", store, "--quiet"]),
            ("drift --html", ["drift", "--store", store, "--html", f"{place}/out.html", "--quiet"]),
        ):
            seconds, memory = child(PROGRAM, *words)
            print(f"    {name:32} {seconds:7.2f} s  peak {memory:5.0f} MB")


def bench_start(repeat: int) -> None:
    """Start-up of small commands."""
    base = median_seconds([sys.executable, "-c", "import typer"], repeat)
    print(f"\nStart-up, against python -c 'import typer' ({base * 1000:.0f} ms)")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "folder"
        write_folder(folder, POINTS * TRACES_PER_GEAR)
        sizes = ["--module", "1.75", "--diameter", "160", "--face-width", "32"]
        for name, words in (
            ("gearqa --help", ["--help"]),
            ("gearqa tolerances", ["tolerances", *sizes]),
            ("gearqa grade, one gear", ["grade", str(folder)]),
        ):
            seconds = median_seconds([PROGRAM, *words], repeat)
            print(f"    {name:32} {seconds * 1000:7.0f} ms  ratio {seconds / base:.2f}")


def main() -> None:
    """Run everything."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rows", type=int, default=1_000_000, help="rows of the larger folder")
    parser.add_argument("--repeat", type=int, default=3, help="runs of which the best counts")
    parser.add_argument("--gears", type=int, nargs="*", default=[100], help="gears of the lots reported on")
    parser.add_argument("--stored", type=int, default=3000, help="gears put into a history store; 0: none")
    options = parser.parse_args()
    print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores")
    bench_start(max(options.repeat, 7))
    bench_evaluation(max(options.repeat, 5))
    bench_grade(options.rows, options.repeat)
    bench_reports(options.gears, options.repeat)
    if options.stored:
        bench_history(options.stored)


if __name__ == "__main__":
    main()
