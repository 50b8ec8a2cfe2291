"""Measures gearqa against general tools in one run, and prints ratios.

    python tests/benchmarks/bench.py [--rows 10000000] [--repeat 3]

Seconds depend on the machine; the ratios are what counts. Nothing here is a test: see the README for
a measured table. Compared are

- `gearqa grade --json` with a general CSV reader that only parses the same two files (pandas' C engine
  with one thread a file; polars too, if it is installed),
- evaluation proper (filter, range, mean line, total, form, slope, crowning) on one core with nothing but
  scipy.ndimage's convolution of the same array with the same kernel (Gaussian, kept to one cutoff),
- peak memory at two sizes,
- start-up of small commands with `python -c "import typer"`.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402

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
PROFILE_MM = (24.5, 33.6)
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

    from gearqa.evaluation.plan import plan_of
    from gearqa.evaluation.trace_sets import evaluate_trace_sets
    from gearqa.io.part_file import read_part
    from gearqa.model.measurement import GearMeasurement, Trace

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
    plan = plan_of(part)
    evaluate_trace_sets(gears, plan)
    ours = best(lambda: evaluate_trace_sets(gears, plan), repeat)
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


def bench_start(repeat: int) -> None:
    """Start-up of small commands."""
    base = median_seconds([sys.executable, "-c", "import typer"], repeat)
    print(f"\nStart-up, against python -c 'import typer' ({base * 1000:.0f} ms)")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "folder"
        write_folder(folder, POINTS * TRACES_PER_GEAR)
        program = str(Path(sys.executable).parent / "gearqa")
        sizes = ["--module", "1.75", "--diameter", "160", "--face-width", "32"]
        for name, words in (
            ("gearqa --help", ["--help"]),
            ("gearqa tolerances", ["tolerances", *sizes]),
            ("gearqa grade, one gear", ["grade", str(folder)]),
        ):
            seconds = median_seconds([program, *words], repeat)
            print(f"    {name:32} {seconds * 1000:7.0f} ms  ratio {seconds / base:.2f}")


def main() -> None:
    """Run everything."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rows", type=int, default=1_000_000, help="rows of the larger folder")
    parser.add_argument("--repeat", type=int, default=3, help="runs of which the best counts")
    options = parser.parse_args()
    print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores")
    bench_start(max(options.repeat, 7))
    bench_evaluation(max(options.repeat, 5))
    bench_grade(options.rows, options.repeat)


if __name__ == "__main__":
    main()
