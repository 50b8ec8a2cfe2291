"""An archive of folders: many workers, several machines, failures, and going on where it stopped."""

from __future__ import annotations

import json
import os
import platform
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

import gearqa
from gearqa.jobs.spread import spread

SAMPLES = Path("sample_measurements")


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    root = tmp_path / "archive"
    places = {"2025/03/a": "ring_master", "2025/03/b": "pinion", "2025/04/c": "ring_conforming"}
    for place, name in places.items():
        shutil.copytree(SAMPLES / name, root / place)
    (root / "notes").mkdir()
    return root


def rows(store: Path) -> list[tuple[object, ...]]:
    with sa.create_engine(f"sqlite:///{store}").connect() as connection:
        query = "SELECT serial, result, digests, intake_id FROM gearqa_gear ORDER BY id"
        found = connection.execute(sa.text(query))
        return [tuple(row) for row in found]


def square(x: int) -> int:
    return x * x


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_results_come_in_the_order_of_the_things(workers: int) -> None:
    assert list(spread(square, range(11), workers=workers)) == [(x, x * x) for x in range(11)]


def test_what_is_stored_does_not_depend_on_the_workers(archive: Path, tmp_path: Path) -> None:
    stores = [tmp_path / f"{workers}.sqlite" for workers in (1, 2)]
    for workers, store in enumerate(stores, 1):
        report = gearqa.add_archive(archive, store=store, workers=workers)
        assert [Path(one.folder).name for one in report.added] == ["a", "b", "c"]
        assert report.failed == ()
    assert rows(stores[0]) == rows(stores[1])


def test_a_folder_at_fault_is_listed_and_the_others_are_added(archive: Path, tmp_path: Path) -> None:
    store = tmp_path / "s.sqlite"
    pitch = archive / "2025/03/b/pitch.csv"
    text = pitch.read_text()
    pitch.write_text(text + "P-099,left,notooth,1\n")
    report = gearqa.add_archive(archive, store=store, workers=2)
    (failure,) = report.failed
    assert failure.folder.endswith("b")
    assert "notooth" in failure.problems[0]
    assert len(report.added) == 2
    pitch.write_text(text)
    again = gearqa.add_archive(archive, store=store, workers=2)
    assert [Path(one.folder).name for one in again.added] == ["b"]
    assert [Path(one).name for one in again.unchanged] == ["a", "c"]
    assert gearqa.check_history(store=store).findings == ()


def test_a_file_that_came_or_another_drawing_is_not_passed_over(archive: Path, tmp_path: Path) -> None:
    store = tmp_path / "s.sqlite"
    part = archive / "2025/03/b/part.toml"
    production = archive / "2025/03/b/production.csv"
    held = production.read_text()
    production.unlink()
    gearqa.add_archive(archive / "2025/03/b", store=store)
    production.write_text(held)
    came = gearqa.add_archive(archive / "2025/03/b", store=store)
    assert came.unchanged == ()
    harder = tmp_path / "harder.toml"
    harder.write_text(part.read_text().replace('revision = "A"', 'revision = "B"'))
    other = gearqa.add_archive(archive / "2025/03/b", part=harder, store=store)
    assert other.unchanged == ()
    assert len(other.added) + len(other.failed) == 1


def test_a_folder_of_which_one_gear_was_added_is_added_whole(archive: Path, tmp_path: Path) -> None:
    store = tmp_path / "s.sqlite"
    gearqa.add_to_history(archive / "2025/03/b", serial=["P-011"], store=store)
    (report,) = gearqa.add_archive(archive / "2025/03/b", store=store).added
    assert (report.added, report.unchanged) == (3, 1)


def test_no_folder_is_a_fault_of_the_argument(tmp_path: Path) -> None:
    with pytest.raises(gearqa.ArgumentError, match=r"part\.toml"):
        gearqa.add_archive(tmp_path, store=tmp_path / "s.sqlite")
    with pytest.raises(gearqa.ArgumentError, match="expected 1 to 1000") as caught:
        list(spread(square, [1], workers=0))
    assert caught.value.argument == "workers"


def test_a_cluster_gives_the_same_rows_though_a_worker_is_killed(archive: Path, tmp_path: Path) -> None:
    """A real scheduler and two worker processes on this machine."""
    pytest.importorskip("distributed")
    processes = []

    def start(*words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "distributed.cli." + words[0], *words[1:], "--no-dashboard"]
        process = subprocess.Popen(command, cwd=Path.cwd(), stderr=subprocess.DEVNULL)
        processes.append(process)
        return process

    place = tmp_path / "scheduler.json"
    try:
        start("dask_scheduler", "--port", "0", "--scheduler-file", str(place))
        for _ in range(200):
            if place.exists():
                break
            time.sleep(0.1)
        address = json.loads(place.read_text())["address"]
        workers = [start("dask_worker", address, "--nthreads", "1", "--no-nanny") for _ in range(2)]
        from distributed import Client

        with Client(address, timeout="30s") as client:
            client.wait_for_workers(2, timeout=60)
        for number in range(6):
            shutil.copytree(SAMPLES / "ring_faults", archive / f"more/{number}")
            part = archive / f"more/{number}/part.toml"
            part.write_text(part.read_text().replace("OT-4471", f"OT-447{number}", 1))
        one, other = tmp_path / "one.sqlite", tmp_path / "other.sqlite"
        gearqa.add_archive(archive, store=one, workers=1)
        killer = subprocess.Popen(
            [sys.executable, "-c", f"import time, os; time.sleep(1); os.kill({workers[0].pid}, 9)"]
        )
        report = gearqa.add_archive(archive, store=other, scheduler=address)
        killer.wait(timeout=30)
        assert report.failed == ()
        assert rows(one) == rows(other)
        anew = {"from_files": True, "dry_run": True, "store": one}
        assert gearqa.regrade_history(**anew, scheduler=address) == gearqa.regrade_history(**anew)
        for name, more in (("here", ["--workers", "1"]), ("there", ["--scheduler", address])):
            sheets(tmp_path / name, *more)
        assert pdfs(tmp_path / "here") == pdfs(tmp_path / "there")
    finally:
        for process in processes:
            process.kill()
            process.wait(timeout=30)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="the C library has no such setting")
def test_a_worker_behind_a_scheduler_uses_freed_memory_again() -> None:
    """Page faults of a megabyte that is taken and freed again and again, where the nanny of the worker has
    set what glibc's mallopt(3) names; arithmetic: 256 pages of 4096 bytes each time."""
    code = """
import resource, numpy
from gearqa.jobs.spread import _there
def churn(times):
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(times):
        numpy.ones(1 << 17)
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
print(churn(100), _there(churn, 100), churn(100))
"""
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "MALLOC_TRIM_THRESHOLD_": "65536"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    without, first, later = map(int, done.stdout.split())
    assert without >= 100 * 256
    assert first < 10 * 256
    assert later < 256


def sheets(folder: Path, *more: str) -> None:
    line = ["grade", str(SAMPLES / "pinion"), "--sheet-folder", str(folder), "--quiet", *more]
    subprocess.run([sys.executable, "-m", "gearqa", *line], check=False, timeout=120)


def pdfs(folder: Path) -> dict[str, bytes]:
    found = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert len(found) == 4
    return found


def test_sheets_do_not_depend_on_the_workers(tmp_path: Path) -> None:
    for workers in ("1", "2"):
        sheets(tmp_path / workers, "--workers", workers)
    assert pdfs(tmp_path / "1") == pdfs(tmp_path / "2")


def test_grading_anew_does_not_depend_on_the_workers(archive: Path, tmp_path: Path) -> None:
    stores = [tmp_path / f"{workers}.sqlite" for workers in (1, 2)]
    gearqa.add_archive(archive, store=stores[0], workers=1)
    shutil.copy(stores[0], stores[1])
    settings = {"evaluation.slope_span": "evaluation"}
    reports = [
        gearqa.regrade_history(settings=settings, store=store, workers=workers)
        for workers, store in enumerate(stores, 1)
    ]
    assert reports[0] == reports[1]
    assert {gear.source for gear in reports[0].gears} == {"raw files"}
    assert rows(stores[0]) == rows(stores[1])


def test_folders_by_a_pattern(archive: Path, tmp_path: Path) -> None:
    report = gearqa.add_archive(archive / "2025" / "*" / "[bc]", store=tmp_path / "s.sqlite")
    assert [Path(one.folder).name for one in report.added] == ["b", "c"]


def test_a_scheduler_that_does_not_answer(archive: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    with pytest.raises(gearqa.GearqaError, match="no scheduler answers"):
        gearqa.add_archive(archive, store=tmp_path / "s.sqlite", scheduler="tcp://127.0.0.1:9")
