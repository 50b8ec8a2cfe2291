"""Kills writers of a history store at the moment of their commit, and damages stores; prints what came of it.

    python tests/benchmarks/store_faults.py kills [--number 1000] [--seed 1] sqlite|postgres
    python tests/benchmarks/store_faults.py damages [--number 1000] [--seed 1] sqlite|postgres|bytes

`kills`: a writer adds folders one after the other and tells when each commit begins and when it is done. It
is killed (SIGKILL) around the commit of a folder chosen by chance: some after the commit began, some a moment
before. Then what was acknowledged must be there, each folder whole or not at all, no gear twice, the check
must find nothing, and adding all folders again must make the store complete. The server itself is not killed
and the computer keeps its power: fsync is the database's own promise.
`damages`: single damages by hand (values, rows, their order) or of bytes of a file; how many are found, by
kind and table, and which codes find them. Kills run on a server of the tests' own, started for it.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import sqlalchemy as sa
from history_folders import made_folder
from store_damage import contents, damages_by_hand, engine_of, filled, flipped, found, harmless

from gearqa.history.checking import check_store
from gearqa.history.intake import FolderToAdd, Prepared, add_prepared, prepare
from gearqa.history.queries import Selection, select_gears
from gearqa.history.sql_tables import METADATA
from gearqa.history.store import HistoryStore

FOLDERS = 4
GEARS = 12


@contextmanager
def place(kind: str) -> Iterator[tuple[Path, str]]:
    """A folder, and the address of a store in it or on a server of its own."""
    folder = Path(tempfile.mkdtemp(prefix="gq-faults-"))
    try:
        if kind != "postgres":
            yield folder, str(folder / "history.sqlite")
            return
        from postgres_server import running_server

        server = running_server()
        try:
            yield folder, server.database()
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder)


def serials(where: str) -> list[str]:
    """Serials of the gears that count."""
    with HistoryStore.open(where) as store, store.reading() as connection:
        return [gear.serial for gear in select_gears(connection, Selection())]


def emptied(where: str) -> None:
    """Begin anew; a file every other time from nothing, so that its creation is met too."""
    if "://" not in where and random.random() < 0.5:
        Path(where).unlink(missing_ok=True)
        return
    with HistoryStore.open(where, writing=True) as store, store.writing() as connection:
        for table in reversed(METADATA.sorted_tables):
            connection.execute(table.delete())


def written(where: str, prepared: list[Prepared], tell: int) -> None:
    """Add the folders; tell `b` when a commit begins and `d` when the folder is acknowledged."""

    def begins(_: sa.Connection) -> None:
        os.write(tell, b"b")

    sa.event.listen(sa.engine.Engine, "commit", begins)
    with HistoryStore.open(where, writing=True) as store:
        for one in prepared:
            os.write(tell, b"f")
            add_prepared(store, [one])
            os.write(tell, b"d")


def killed(where: str, prepared: list[Prepared], at: int, early: bool, delay: float) -> tuple[int, bool]:
    """Kill a writer at one folder; return how many it acknowledged and whether a commit was under way."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            written(where, prepared, writing)
        finally:
            os._exit(0)
    os.close(writing)
    said = b""
    while (byte := os.read(reading, 1)) != b"":
        said += byte
        if said.count(b"f") == at + 1 and (early or byte == b"b"):
            break
    end = time.monotonic() + delay
    while time.monotonic() < end:
        pass
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said += b"".join(iter(lambda: os.read(reading, 100), b""))
    os.close(reading)
    last = said.rpartition(b"f")[2]
    return said.count(b"d"), last.count(b"b") > 0 and b"d" not in last


def kills(kind: str, number: int, seed: int) -> None:
    """Kill many writers and print what was lost or doubled."""
    chance, faults, moments = random.Random(seed), Counter[str](), Counter[str]()
    random.seed(seed)
    with place(kind) as (folder, where):
        names = [[f"F{one}-{gear:02d}" for gear in range(GEARS)] for one in range(FOLDERS)]
        prepared = [
            prepare(FolderToAdd(made_folder(folder / str(day), own, day=day)))
            for day, own in enumerate(names, start=1)
        ]
        started = time.monotonic()
        emptied(where)
        add_prepared(HistoryStore.open(where, writing=True), prepared[:1])
        commit, everything = 0.004, sorted(name for own in names for name in own)
        for done in range(1, number + 1):
            emptied(where)
            early = chance.random() < 0.3
            delay = chance.uniform(0.0, 0.05 if early else 3 * commit)
            acknowledged, within = killed(where, prepared, chance.randrange(FOLDERS), early, delay)
            moments["during a commit" if within else "before or after one"] += 1
            there = serials(where)
            for one, own in enumerate(names):
                kept = sum(name in there for name in own)
                faults["half a folder"] += kept not in (0, GEARS)
                faults["an acknowledged folder lost"] += one < acknowledged and kept != GEARS
            faults["a gear twice"] += len(there) != len(set(there))
            with HistoryStore.open(where, writing=True) as store:
                faults["findings of the check"] += bool(Path(where).exists() and check_store(store).findings)
                add_prepared(store, prepared)
                faults["not complete when added again"] += sorted(serials(where)) != everything
                faults["findings after adding again"] += bool(check_store(store).findings)
            if done % 100 == 0 or done == number:
                seconds = time.monotonic() - started
                print(
                    f"{kind}: {done} kills in {seconds:.0f} s, {dict(moments)}; faults: {dict(faults)}",
                    flush=True,
                )


def damages(kind: str, number: int, seed: int) -> None:
    """Damage a store again and again; print how many damages are found, by kind and by code."""
    chance = random.Random(seed)
    with place(kind) as (folder, where):
        filled(where, folder / "folders")
        table: dict[str, Counter[str]] = {}
        if kind == "bytes":
            for name, codes in _bytes(folder, Path(where), chance, number):
                table.setdefault(name, Counter()).update(["all", *codes])
        else:
            for one, codes in damages_by_hand(where, chance, number):
                row = table.setdefault(f"{one.kind}, {one.table.removeprefix('gearqa_')}", Counter())
                row.update(["all", *(codes or ["NOT FOUND"])])
        for name, row in sorted(table.items()):
            rest: Any = ", ".join(f"{code} {count}" for code, count in row.most_common() if code != "all")
            print(f"{name}: {row['all']}: {rest}")
        print(f"{kind}: {number} damages, not found: {sum(row['NOT FOUND'] for row in table.values())}")


def _bytes(
    folder: Path, original: Path, chance: random.Random, number: int
) -> Iterator[tuple[str, set[str]]]:
    engine = engine_of(str(original))
    with engine.connect() as connection:
        whole = contents(connection)
    engine.dispose()
    file = folder / "damaged.sqlite"
    for _ in range(number):
        shutil.copy(original, file)
        flipped(file, chance)
        codes = found(str(file))
        if codes:
            yield "bytes of the file, found", codes
        elif harmless(file, whole):
            yield "bytes of the file, harmless: every value as it was", set()
        else:
            yield "bytes of the file", {"NOT FOUND"}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("what", choices=["kills", "damages"])
    words.add_argument("kind", choices=["sqlite", "postgres", "bytes"])
    words.add_argument("--number", type=int, default=1000)
    words.add_argument("--seed", type=int, default=1)
    given = words.parse_args()
    (kills if given.what == "kills" else damages)(given.kind, given.number, given.seed)


if __name__ == "__main__":
    main()
