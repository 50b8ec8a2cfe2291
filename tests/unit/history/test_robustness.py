"""A store under bad luck: killed writers, two writers, full disk, write protection, damage, newer schema."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from history_folders import made_folder
from sqlalchemy.exc import OperationalError

from gearqa.errors import StoreBusyError, StoreError
from gearqa.history.checking import check_store
from gearqa.history.faults import store_error
from gearqa.history.intake import FolderToAdd, add_folders, add_prepared, prepare
from gearqa.history.migrations.run import scripts
from gearqa.history.queries import Selection, select_gears
from gearqa.history.sql_tables import HEAD, METADATA, VERSION_TABLE
from gearqa.history.store import ADVISORY_LOCK, HistoryStore
from gearqa.history.store_location import locate

KILLS = 12
NOBODY = 65534
FOLDERS = 6
GEARS = 40


def add(store, folder):
    return add_folders(store, [FolderToAdd(Path(folder))])


def serials(where):
    with HistoryStore.open(where) as store, store.reading() as connection:
        return [gear.serial for gear in select_gears(connection, Selection())]


def in_child(work):
    """Run `work` in a process of its own that ends without cleaning up; return its number."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            work()
            status = 0
        finally:
            os._exit(status)
    return child


def sound(where):
    with HistoryStore.open(where) as store:
        return check_store(store).findings == ()


def test_a_writer_killed_at_any_moment_loses_nothing_it_acknowledged(where, tmp_path, request):
    names = [[f"F{folder}-{gear:02d}" for gear in range(GEARS)] for folder in range(FOLDERS)]
    prepared = [
        prepare(FolderToAdd(made_folder(tmp_path / str(day), own, day=day)))
        for day, own in enumerate(names, start=1)
    ]
    for one in prepared:
        request.addfinalizer(one.drafts.close)
    HistoryStore.open(where, writing=True).close()

    def empty():
        with HistoryStore.open(where, writing=True) as store, store.writing() as connection:
            for table in reversed(METADATA.sorted_tables):
                connection.execute(table.delete())

    def run(kill_after=None, delay=0.0):
        """Kill a writer of all folders some time after it acknowledged so many; return how many it did."""
        reading, writing = os.pipe()

        def work():
            with HistoryStore.open(where, writing=True) as store:
                for one in prepared:
                    add_prepared(store, [one])
                    os.write(writing, b"a")

        child = in_child(work)
        os.close(writing)
        acknowledged = 0
        while acknowledged != kill_after and os.read(reading, 1):
            acknowledged += 1
        if kill_after is not None:
            time.sleep(delay)
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        acknowledged += len(b"".join(iter(lambda: os.read(reading, 100), b"")))
        os.close(reading)
        return acknowledged

    started = time.monotonic()
    assert run() == FOLDERS
    one_folder = min(0.5, (time.monotonic() - started) / FOLDERS)
    chance = random.Random(20250607)
    in_the_middle = 0
    for _ in range(KILLS):
        empty()
        acknowledged = run(chance.randrange(FOLDERS), chance.uniform(0.0, one_folder))
        there = serials(where)
        for number, own in enumerate(names):
            kept = sum(name in there for name in own)
            assert kept in (0, GEARS), "half a folder"
            assert kept == GEARS or number >= acknowledged, "an acknowledged folder is lost"
        assert len(there) == len(set(there))
        assert sound(where)
        in_the_middle += 0 < acknowledged < FOLDERS
    assert in_the_middle, "no kill fell between the first and the last folder"
    with HistoryStore.open(where, writing=True) as store:
        add_prepared(store, prepared)
    assert len(serials(where)) == FOLDERS * GEARS


def test_two_writers_at_once(where, tmp_path):
    common = [made_folder(tmp_path / f"c{day}", [f"C{day}"], day=day) for day in range(1, 6)]
    own = {
        name: [made_folder(tmp_path / f"{name}{day}", [f"{name}{day}"], day=day) for day in range(1, 6)]
        for name in "XY"
    }

    def writer(name):
        def work():
            with HistoryStore.open(where, writing=True) as store:
                for mine, shared in zip(own[name], common, strict=True):
                    add(store, mine)
                    add(store, shared)

        return work

    children = [in_child(writer(name)) for name in "XY"]
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0]
    assert sorted(serials(where)) == sorted(f"{name}{day}" for name in "CXY" for day in range(1, 6))
    assert sound(where)


def test_two_first_writers_of_a_new_store_at_the_same_instant(where, tmp_path):
    prepared = [
        prepare(FolderToAdd(made_folder(tmp_path / name, [name], day=day)))
        for day, name in ((1, "A"), (2, "B"))
    ]
    together = threading.Barrier(2)
    faults = []

    def write(one):
        try:
            together.wait()
            with HistoryStore.open(where, writing=True) as store, one.drafts:
                add_prepared(store, [one])
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=write, args=(one,)) for one in prepared]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert sorted(serials(where)) == ["A", "B"]
    assert sound(where)


@pytest.mark.parametrize("end", ["refused", "killed"])
def test_a_first_writer_that_fails_does_not_hinder_the_one_that_waits(tmp_path, end):
    """Its file goes with it; the other one, which has it open already, begins anew."""
    where = str(tmp_path / "history.sqlite")
    one = prepare(FolderToAdd(made_folder(tmp_path / "a", ["A"])))
    reading, writing = os.pipe()

    def fail():
        with HistoryStore.open(where, writing=True) as store, store.writing():
            os.write(writing, b"w")
            time.sleep(0.3)
            if end == "killed":
                os._exit(1)
            raise ValueError

    child = in_child(fail)
    os.read(reading, 1)
    with HistoryStore.open(where, writing=True) as store, one.drafts:
        assert add_prepared(store, [one])[0].added == 1
    os.waitpid(child, 0)
    assert serials(where) == ["A"]
    assert sound(where)


def test_a_store_opened_beside_a_writer_of_the_same_program_leaves_its_lock(tmp_path):
    """Closing any handle of a file ends the locks of the whole process on it (POSIX, fcntl)."""
    where = str(tmp_path / "history.sqlite")
    HistoryStore.open(where, writing=True).close()
    with HistoryStore.open(where, writing=True) as store:
        add(store, made_folder(tmp_path / "a", ["A"]))
        with store.writing():
            HistoryStore.open(where).close()
            line = "import sqlite3, sys; sqlite3.connect(sys.argv[1], 0.1).execute('BEGIN IMMEDIATE')"
            other = subprocess.run(
                [sys.executable, "-c", line, where], capture_output=True, text=True, check=False
            )
    assert "database is locked" in other.stderr


def test_a_full_disk_changes_nothing_and_is_told(store, tmp_path):
    add(store, made_folder(tmp_path / "a", ["A"]))
    undo = fill(store)
    with pytest.raises(StoreError, match="disk is full") as caught:
        add(store, made_folder(tmp_path / "b", [f"B{n}" for n in range(200)], day=2))
    assert "free some space" in caught.value.hint
    assert store.gear_count() == 1
    assert check_store(store).findings == ()
    undo()
    assert add(store, tmp_path / "b")[0].added == 200


def fill(store):
    """Let the database say that there is no more room; return what undoes it."""
    if store._engine.dialect.name == "sqlite":

        def limit(connection, _):
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count = {pages + 2}")

        sa.event.listen(store._engine, "connect", limit)
        return lambda: sa.event.remove(store._engine, "connect", limit)
    with store.writing() as connection:
        connection.exec_driver_sql(
            "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'no room' USING ERRCODE = 'disk_full'; END $$"
        )
        connection.exec_driver_sql(
            "CREATE TRIGGER full_disk BEFORE INSERT ON gearqa_chain EXECUTE FUNCTION no_room()"
        )

    def undo():
        with store.writing() as connection:
            connection.exec_driver_sql("DROP TRIGGER full_disk ON gearqa_chain")

    return undo


@pytest.mark.postgres
def test_a_lost_connection_changes_nothing_and_is_told(postgres, tmp_path):
    where = postgres.database()
    with HistoryStore.open(where, writing=True) as store:
        add(store, made_folder(tmp_path / "a", ["A"]))
        folder = made_folder(tmp_path / "b", ["B"], day=2)

        def cut_off(connection, cursor, statement, *_):
            if "gearqa_chain" in statement:
                cursor.execute("SELECT pg_terminate_backend(pg_backend_pid())")

        sa.event.listen(store._engine, "before_cursor_execute", cut_off)
        with pytest.raises(StoreBusyError, match=r"was shut down|cannot be reached") as caught:
            add(store, folder)
        assert "nothing was changed" in caught.value.hint
        sa.event.remove(store._engine, "before_cursor_execute", cut_off)
        assert store.gear_count() == 1
        assert check_store(store).findings == ()
        assert add(store, folder)[0].added == 1


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount")
def test_a_file_on_a_really_full_disk(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", disk], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("this computer does not allow mounting")
    try:
        where = str(disk / "history.sqlite")
        with HistoryStore.open(where, writing=True) as store:
            add(store, made_folder(tmp_path / "a", ["A"]))
            with pytest.raises(StoreError, match="disk is full"):
                add(store, made_folder(tmp_path / "b", [f"B{n}" for n in range(300)], day=2))
        assert serials(where) == ["A"]
        assert sound(where)
    finally:
        subprocess.run(["umount", disk], check=True)


def test_a_locked_store_is_told_after_waiting(where, tmp_path):
    HistoryStore.open(where, writing=True).close()
    folder = made_folder(tmp_path / "a", ["A"])
    with HistoryStore.open(where, writing=True) as other, other.writing():
        with (
            HistoryStore.open(where, writing=True, lock_seconds=0.1) as store,
            pytest.raises(StoreBusyError, match="holds it locked") as caught,
        ):
            add(store, folder)
        assert "try again" in caught.value.hint
    assert ADVISORY_LOCK > 0
    assert serials(where) == []


def test_a_newer_schema_is_refused_untouched(where):
    with HistoryStore.open(where, writing=True) as store, store.writing() as connection:
        connection.exec_driver_sql(f"UPDATE {VERSION_TABLE} SET version_num = '9999'")
    for writing in (False, True):
        with pytest.raises(
            StoreError, match="schema version 9999, this gearqa knows versions up to"
        ) as caught:
            HistoryStore.open(where, writing=writing)
        assert "update gearqa" in caught.value.hint


def test_the_migrations_make_the_tables_that_the_program_uses(store):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    assert scripts().get_current_head() == HEAD
    with store.reading() as connection:
        context = MigrationContext.configure(
            connection, opts={"version_table": VERSION_TABLE, "compare_type": True}
        )
        assert compare_metadata(context, METADATA) == []


def test_the_last_migration_can_be_taken_back(store):
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext

    with store.writing() as connection:
        script = scripts().get_revision(HEAD)
        context = MigrationContext.configure(connection)
        with Operations.context(context):
            script.module.downgrade()
        assert "gearqa_figure" in sa.inspect(connection).get_table_names()
        with Operations.context(context):
            script.module.upgrade()


# --- SQLite files ------------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path):
    """A store in a file, with some gears."""
    path = tmp_path / "history.sqlite"
    with HistoryStore.open(str(path), writing=True) as store:
        add(store, made_folder(tmp_path / "lot", [f"G{n}" for n in range(60)]))
    return path


def test_writing_is_durable_and_reading_does_not_need_a_shared_memory_file(file):
    with HistoryStore.open(str(file), writing=True) as store, store.writing() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "delete"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 3  # EXTRA
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
    assert sorted(path.name for path in file.parent.iterdir()) == ["history.sqlite", "lot"]


def test_a_damaged_beginning(file):
    content = file.read_bytes()
    file.write_bytes(b"garbage" + content[7:])
    with pytest.raises(StoreError, match="its beginning is damaged"):
        HistoryStore.open(str(file))


@pytest.mark.parametrize("writing", [True, False])
def test_a_damaged_middle(file, writing):
    content = bytearray(file.read_bytes())
    for page in range(1, len(content) // 4096):
        content[page * 4096 : page * 4096 + 200] = b"\xa5" * 200
    file.write_bytes(content)

    def use():
        with HistoryStore.open(str(file), writing=writing) as store:
            store.gear_count()

    with pytest.raises(StoreError, match="damaged") as caught:
        use()
    assert "restore the last backup" in caught.value.hint


def test_a_damaged_result_is_found_by_the_check(file):
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("UPDATE gearqa_gear SET result = substr(result, 1, 20) WHERE serial = 'G7'")
        connection.execute(
            "UPDATE gearqa_gear SET state = 'superseded', superseded_by = 999 WHERE serial = 'G8'"
        )
        connection.commit()
    with HistoryStore.open(str(file)) as store:
        report = check_store(store)
    found = [finding.code for finding in report.findings]
    assert found == ["row_changed", "damaged_result", "state_changed", "lost_successor"]
    assert "G7" in report.findings[1].sentence


def test_a_damaged_index_is_found_by_the_check(file):
    with closing(sqlite3.connect(file)) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'gearqa_gear_made'"
        ).fetchone()
    content = bytearray(file.read_bytes())
    start = (page - 1) * 4096
    content[start + 3 : start + 5] = (1).to_bytes(2, "big")  # one entry instead of sixty
    file.write_bytes(content)
    with HistoryStore.open(str(file)) as store:
        report = check_store(store)
    assert "damaged" in [finding.code for finding in report.findings]


def test_raw_files_that_changed_are_found_by_the_check(file, tmp_path):
    lot = tmp_path / "lot"
    with HistoryStore.open(str(file)) as store:
        assert check_store(store, files=True).findings == ()
        assert check_store(store, files=True).files_checked == 2
        with (lot / "pitch.csv").open("a") as table:
            table.write("# a remark\n")
        (lot / "production.csv").unlink()
        found = [finding.sentence for finding in check_store(store, files=True).findings]
        assert any("pitch.csv: changed" in one for one in found)
        assert any("production.csv: gone" in one for one in found)
        shutil.rmtree(lot)
        assert "folder is gone" in check_store(store, files=True).findings[0].sentence


def test_what_is_no_store(tmp_path):
    text = tmp_path / "notes.txt"
    text.write_text("these are notes, no database at all")
    other = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE customers (name)")
        connection.commit()
    cases = {
        str(text): "no SQLite file",
        str(other): "a database of something else \\(it has a table 'customers'\\)",
        str(tmp_path): "is a folder",
    }
    for writing in (False, True):
        for where, message in cases.items():
            with pytest.raises(StoreError, match=message):
                HistoryStore.open(where, writing=writing)
    with pytest.raises(StoreError, match="does not exist"):
        HistoryStore.open(str(tmp_path / "none" / "history.sqlite"), writing=True)
    with closing(sqlite3.connect(other)) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [("customers",)]


def test_reading_a_file_that_is_not_there_finds_nothing_and_makes_nothing(tmp_path):
    where = tmp_path / "none.sqlite"
    assert serials(str(where)) == []
    assert not where.exists()


def as_ordinary_user(work):
    """What `work` returns when it is done by a user whom write protection hinders."""
    reading, writing = os.pipe()

    def child():
        if os.geteuid() == 0:
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        os.write(writing, work().encode())

    number = in_child(child)
    os.close(writing)
    said = b"".join(iter(lambda: os.read(reading, 10_000), b""))
    os.close(reading)
    assert os.waitpid(number, 0)[1] == 0
    return said.decode()


@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_write_protected_store_can_be_read_and_says_why_it_cannot_be_written(file, what):
    folder = Path(tempfile.mkdtemp(dir="/tmp"))  # other users cannot look into the folders of pytest
    copy = folder / "history.sqlite"
    try:
        shutil.copy(file, copy)
        copy.chmod(0o444 if what == "file" else 0o666)
        folder.chmod(0o777 if what == "file" else 0o555)

        def work():
            with HistoryStore.open(str(copy)) as store:
                count = store.gear_count()
            try:
                HistoryStore.open(str(copy), writing=True)
            except StoreError as error:
                return f"{count}\n{error}\n{error.hint}"
            return "written"

        count, message, hint = as_ordinary_user(work).splitlines()
        assert count == "60"
        protected = "the file" if what == "file" else f"the folder {folder}"
        assert message == f"history store {copy}: {protected} is write-protected"
        assert "--store" in hint
    finally:
        folder.chmod(0o777)
        shutil.rmtree(folder)


# --- words of faults that cannot be brought about here ----------------------------------------------------


class ServerError(Exception):
    """Stands for an error of the driver."""

    sqlstate: str | None = None


ServerError.__name__ = "OperationalError"


@pytest.mark.parametrize(
    ("state", "message", "busy"),
    [
        ("25006", "read-only", False),
        ("42501", "may not do that", False),
        ("28P01", "refuses user or password", False),
        ("3D000", "no such database", False),
        ("57P01", "was shut down", True),
        ("08006", "cannot be reached", True),
        (None, "cannot be reached", True),
    ],
)
def test_words_for_faults_of_a_server(state, message, busy):
    original = ServerError("the connection was lost")
    original.sqlstate = state
    place = locate("postgresql://anna:pepper@db/gears", {})
    fault = store_error(OperationalError("SELECT 1", {}, original), place)
    assert fault is not None
    assert message in str(fault)
    assert isinstance(fault, StoreBusyError) is busy
    assert "pepper" not in str(fault)


def test_a_fault_of_the_program_is_not_blamed_on_the_store(store):
    with pytest.raises(sa.exc.SQLAlchemyError), store.reading() as connection:
        connection.exec_driver_sql("SELECT nothing FROM nowhere")
