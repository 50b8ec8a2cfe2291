"""What was changed in a store by hand or by a fault is found by the check, on both databases."""

from __future__ import annotations

import io
import random
import shutil

import pytest
import sqlalchemy as sa
from store_damage import (
    REFUSED,
    contents,
    damages_by_hand,
    downgraded,
    engine_of,
    filled,
    flipped,
    found,
    harmless,
)

import gearqa
from gearqa.history.chain_checks import ChainWalk, entries_of
from gearqa.history.checking import check_store, store_findings
from gearqa.history.documents import write_history_csv, write_history_json
from gearqa.history.queries import Selection
from gearqa.history.sealed_rows import ChainEntry, link_after, raw_rows, sealed_rows
from gearqa.history.sql_tables import CHAIN, GEAR, VERSION_TABLE
from gearqa.history.store import HistoryStore

DAMAGES = 120
FLIPS = 80


@pytest.fixture
def full(where, tmp_path):
    """A store with some of everything."""
    filled(where, tmp_path / "folders")
    return where


def say(where, *lines):
    engine = engine_of(where)
    with engine.begin() as connection:
        for line in lines:
            assert connection.execute(sa.text(line)).rowcount
    engine.dispose()


def test_a_store_that_nobody_changed_is_sound(full):
    with HistoryStore.open(full) as store:
        report = check_store(store)
    assert report.findings == ()
    assert report.chain.entries > 40
    assert len(report.chain.head or "") == 64


G = "serial = 'G3-05'"
OWN = f"gear_id = (SELECT id FROM gearqa_gear WHERE {G})"
FIGURE = f"{OWN} AND parameter = 'cumulative_pitch'"
OTHER = "SELECT figures FROM gearqa_figures WHERE gear_id = 31"

WITH_RESULT = {"row_changed", "figures_differ"}
CHANGES = (
    (f"UPDATE gearqa_figures SET figures = ({OTHER}) WHERE {OWN}", WITH_RESULT),
    (f"UPDATE gearqa_figures SET figures = substr(figures, 2) WHERE {OWN}", WITH_RESULT),
    (f"DELETE FROM gearqa_figures WHERE {OWN}", WITH_RESULT),
    ("UPDATE gearqa_figures SET gear_id = 99 WHERE gear_id = 2", {"row_added", "row_changed"}),
    (f"UPDATE gearqa_gear SET measurement = '2' WHERE {G}", WITH_RESULT),
    (f"UPDATE gearqa_gear SET conformity_state = 'not proven' WHERE {G}", WITH_RESULT),
    (f"UPDATE gearqa_gear SET conditions = '{{}}' WHERE {G}", WITH_RESULT),
    (f"UPDATE gearqa_gear SET class = 1 WHERE {G}", {"row_changed", "figures_differ"}),
    (f"UPDATE gearqa_gear SET measured_at = NULL WHERE {G}", {"row_changed"}),
    (f"UPDATE gearqa_gear SET state = 'removed' WHERE {G}", {"state_changed"}),
    ("UPDATE gearqa_gear SET state = 'current' WHERE state = 'removed'", {"state_changed"}),
    ("UPDATE gearqa_event SET grinder = 'GR-2' WHERE id = 1", {"row_changed"}),
    ("UPDATE gearqa_event SET state = 'current' WHERE id = 2", {"state_changed"}),
    ("DELETE FROM gearqa_event WHERE id = 1", {"row_deleted"}),
    ("DELETE FROM gearqa_event WHERE id = 3", {"row_deleted"}),
    ("DELETE FROM gearqa_audit WHERE id = 2", {"row_deleted"}),
    ("DELETE FROM gearqa_audit WHERE action = 'release'", {"row_deleted"}),
    ("UPDATE gearqa_audit SET detail = '{}' WHERE action = 'remove'", {"row_changed"}),
    ("UPDATE gearqa_reference SET remark = '' WHERE id = 2", {"row_changed"}),
    ("UPDATE gearqa_part SET content = replace(content, '20.0', '20.5')", {"row_changed"}),
    ("UPDATE gearqa_intake SET folder = '' WHERE id = 1", {"row_changed"}),
    (
        "INSERT INTO gearqa_event SELECT 9, 'd', at, at_utc, 'GR-9', event, wheel, parameter, flank, "
        "correction, unit, remark, folder, state, added_at FROM gearqa_event WHERE id = 1",
        {"row_added"},
    ),
    ("UPDATE gearqa_delivery SET content = replace(content, 'differs', 'agrees')", {"row_changed"}),
    ("UPDATE gearqa_delivery SET delivered_utc = '2024' WHERE id = 2", {"row_changed"}),
    ("UPDATE gearqa_delivery SET state = 'current' WHERE id = 2", {"state_changed"}),
    ("DELETE FROM gearqa_delivery WHERE id = 3", {"row_deleted"}),
    ("DELETE FROM gearqa_chain WHERE id = 7", {"broken_chain"}),
    ("UPDATE gearqa_chain SET link = 'x' || link WHERE id = 7", {"broken_chain"}),
    ("UPDATE gearqa_chain SET kind = 'x' WHERE id = 7", {"broken_chain"}),
    ("UPDATE gearqa_chain SET kind = 'reference' WHERE id = 7", {"broken_chain"}),
)


def test_every_kind_of_change_by_hand_has_its_code(full):
    engine = engine_of(full)
    with engine.connect() as connection:
        for line, codes in CHANGES:
            assert connection.execute(sa.text(line)).rowcount, line
            assert codes <= {one.code for one in store_findings(connection, ChainWalk())}, line
            connection.rollback()
    engine.dispose()


def test_hundreds_of_random_damages_are_all_found(full):
    chance = random.Random(20251126)
    damages = list(damages_by_hand(full, chance, DAMAGES))
    assert [(one.kind, one.table, one.column) for one, codes in damages if not codes] == []
    assert len({(one.kind, one.table) for one, _ in damages}) > 35


def test_random_bytes_of_a_file_are_found_or_harmless(tmp_path):
    original, file = tmp_path / "history.sqlite", tmp_path / "damaged.sqlite"
    filled(str(original), tmp_path / "folders")
    engine = engine_of(str(original))
    with engine.connect() as connection:
        whole = contents(connection)
    engine.dispose()
    chance = random.Random(20251127)
    harmed = 0
    for number in range(FLIPS):
        shutil.copy(original, file)
        flipped(file, chance)
        codes = found(str(file))
        assert codes or harmless(file, whole), number
        harmed += bool(codes)
    assert harmed > FLIPS // 2


@pytest.mark.filterwarnings("ignore:.*ServerCursor:ResourceWarning")  # gone with its connection
@pytest.mark.parametrize(
    "reading",
    [lambda connection: sealed_rows(connection, GEAR), lambda connection: entries_of(connection, "gear")],
    ids=["rows", "entries of the chain"],
)
def test_rows_left_half_read_over_damage_print_no_fault_of_a_library(full, caplog, reading):
    with HistoryStore.open(full) as store:
        with store.reading() as connection:
            rows = reading(connection)
            next(rows)
        rows.close()
    assert caplog.text == ""


def test_the_head_of_the_chain_shows_what_was_cut_off(full):
    """Rows and entries taken out together leave a sound chain; only its head, kept elsewhere, tells."""
    with HistoryStore.open(full) as store:
        head = check_store(store).chain.head
    say(
        full,
        "DELETE FROM gearqa_chain WHERE id = (SELECT max(id) FROM gearqa_chain)",
        "DELETE FROM gearqa_audit WHERE id = (SELECT max(id) FROM gearqa_audit)",
    )
    with HistoryStore.open(full) as store:
        assert check_store(store).findings == ()
        assert [one.code for one in check_store(store, head=head).findings] == ["head_not_found"]


def test_a_negative_zero_is_no_change(where):
    """SQLite gives it back without its sign, PostgreSQL with it."""
    change = {"parameter": "helix_slope", "flank": "left", "correction": -0.0}
    gearqa.record_event("correction", "GR-1", at="2025-06-01T08:00+02:00", store=where, **change)
    assert found(where) == set()


def test_an_entry_written_anew_with_its_own_link_breaks_the_one_after_it(full):
    with HistoryStore.open(full) as store, store.reading() as connection:
        rows = list(raw_rows(connection, CHAIN, "id"))
    before, own = rows[5:7]
    link = link_after(before["link"], 7, ChainEntry(own["kind"], own["row_id"], "x", own["state"]))
    say(full, f"UPDATE gearqa_chain SET content = 'x', link = '{link}' WHERE id = 7")
    with HistoryStore.open(full) as store:
        broken = [one.sentence for one in check_store(store).findings if one.code == "broken_chain"]
    assert [sentence.split(" of ")[0] for sentence in broken] == ["entry 8"]


def test_the_head_of_an_earlier_check_stays_good_while_the_store_grows(full, tmp_path):
    with HistoryStore.open(full) as store:
        head = check_store(store).chain.head
    filled_further(full, tmp_path)
    with HistoryStore.open(full) as store:
        report = check_store(store, head=head)
    assert report.findings == ()
    assert report.chain.head != head


def filled_further(where, tmp_path):
    from history_folders import made_folder

    from gearqa.history.intake import FolderToAdd, add_folders

    with HistoryStore.open(where, writing=True) as store:
        add_folders(store, [FolderToAdd(made_folder(tmp_path / "more", ["M"], day=9))])


def test_a_store_of_the_schema_before_gets_its_chain(full):
    downgraded(full)
    engine = engine_of(full)
    with engine.connect() as connection:
        assert "gearqa_chain" not in sa.inspect(connection).get_table_names()
    engine.dispose()
    with HistoryStore.open(full) as store:
        report = check_store(store)
    assert report.findings == ()
    assert (report.gears, report.superseded, report.removed) == (29, 2, 1)
    say(full, f"UPDATE gearqa_gear SET class = 1 WHERE {G}")
    assert "row_changed" in found(full)


def test_what_was_wrong_before_the_chain_shows_in_the_results(full):
    """The chain seals rows as they are; the result of a gear still tells what its figures were."""
    downgraded(full)
    say(full, f"UPDATE gearqa_figure SET value_um = value_um + 1 WHERE {FIGURE}")
    assert found(full) == {"figures_differ"}


OLD_CHANGES = (
    ("UPDATE gearqa_figure SET value_um = value_um + 1 WHERE parameter = 'runout' AND {row}", WITH_RESULT),
    ("UPDATE gearqa_figure SET expanded_u_um = 1 WHERE {row}", {"row_changed"}),
    ("DELETE FROM gearqa_figure WHERE parameter = 'runout' AND {row}", WITH_RESULT),
    ("DELETE FROM gearqa_figure WHERE {row}", WITH_RESULT),
    ("UPDATE gearqa_gear SET measured_at = NULL WHERE {gear}", {"row_changed"}),
    ("UPDATE gearqa_gear SET state = 'removed' WHERE {gear}", {"state_changed"}),
    ("UPDATE gearqa_gear SET result = substr(result, 1, 20) WHERE {gear}", {"row_changed", "damaged_result"}),
    ("UPDATE gearqa_chain SET content = 'x' WHERE kind = 'gear' AND {entry}", {"row_changed"}),
)


def test_packing_figures_changes_nothing_and_covers_nothing_that_was_changed_before(full):
    whole = exported(full)
    downgraded(full, "0004")
    assert exported(full) == whole
    assert found(full) == set()
    downgraded(full, "0004")
    wanted = {}
    for number, (line, codes) in enumerate(OLD_CHANGES):
        gear = f"serial = 'G3-{number:02d}'"
        which = f"(SELECT id FROM gearqa_gear WHERE {gear})"
        say(full, line.format(gear=gear, row=f"gear_id = {which}", entry=f"row_id = {which}"))
        wanted[f"G3-{number:02d}"] = codes
    with HistoryStore.open(full) as store:
        findings = check_store(store).findings
    named = {serial: {one.code for one in findings if serial in one.sentence} for serial in wanted}
    assert named == wanted
    assert {one.code for one in findings} - set().union(*wanted.values()) == {"broken_chain"}


FURTHER = (
    ("UPDATE gearqa_event SET grinder = 'GR-2' WHERE id = 1", "row_changed"),
    ("DELETE FROM gearqa_reference WHERE id = 2", "row_deleted"),
    ("UPDATE gearqa_part SET content = replace(content, '20.0', '20.5')", "row_changed"),
    ("DELETE FROM gearqa_audit WHERE id = 2", "row_deleted"),
    (f"DELETE FROM gearqa_gear WHERE {G}", "row_deleted"),
    ("DELETE FROM gearqa_chain WHERE id = 7", "broken_chain"),
)


@pytest.mark.parametrize("schema", ["0002", "0003", "0004"])
def test_damage_of_earlier_schemas_is_found_after_the_upgrade(tmp_path, schema):
    """A store of each schema with a chain, without what it had no tables for."""
    place = tmp_path / "old.sqlite"
    filled(str(place), tmp_path / "folders", deliveries=False)
    downgraded(str(place), schema)
    whole = shutil.copy(place, tmp_path / "whole.sqlite")
    assert found(str(whole)) == set()
    for line, code in (*FURTHER, (f"UPDATE gearqa_gear SET class = 1 WHERE {G}", "figures_differ")):
        damaged = str(shutil.copy(place, tmp_path / "damaged.sqlite"))
        say(damaged, line)
        assert code in found(damaged), line


def exported(where):
    """Key figures, and gears with all that is kept of them."""
    figures, gears = io.BytesIO(), io.BytesIO()
    with HistoryStore.open(where) as store:
        write_history_csv(figures, store, Selection(every_state=True))
        write_history_json(gears, store, "list", Selection(every_state=True))
    return figures.getvalue(), gears.getvalue()


@pytest.mark.parametrize(
    "line",
    [
        f"DELETE FROM {VERSION_TABLE}",
        f"INSERT INTO {VERSION_TABLE} VALUES ('0001')",
        f"UPDATE {VERSION_TABLE} SET version_num = '0001'",
        f"UPDATE {VERSION_TABLE} SET version_num = 'x'",
    ],
)
def test_a_damaged_schema_version_is_refused_with_words(full, line):
    say(full, line)
    assert found(full) == {REFUSED}
