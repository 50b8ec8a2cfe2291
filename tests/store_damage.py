"""Damages a history store at random, as hands and disks do, and tells what the check of it finds."""

from __future__ import annotations

import random
import re
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from history_folders import made_folder

from gearqa.errors import StoreError
from gearqa.history.chain_checks import ChainWalk
from gearqa.history.checking import check_store, store_findings
from gearqa.history.deliveries import add_delivery, drop_delivery
from gearqa.history.events import drop_event
from gearqa.history.gear_rows import remove_gears
from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.migrations.run import scripts
from gearqa.history.queries import Selection
from gearqa.history.references import freeze_period, release_period
from gearqa.history.sql_tables import HEAD, METADATA, VERSION_TABLE
from gearqa.history.store import HistoryStore
from gearqa.model.deliveries import DeliveryCheck, SeriesDifference

REFUSED = "refused"
"""The store could not be opened or read, and it was said so."""


def filled(where: str, place: Path, gears: int = 30, *, deliveries: bool = True) -> None:
    """A store in which all was done that can be done to one."""
    with HistoryStore.open(where, writing=True) as store:
        for day in (1, 2, 3):
            serials = {f"G{day}-{n:02d}": 1.0 + 0.01 * n for n in range(gears // 3)}
            dress = f"2025-06-{day:02d}T05:30:00+02:00,GR-1,dress,W-1"
            folder = made_folder(place / f"day{day}", serials, day=day, events=[dress])
            add_folders(store, [FolderToAdd(folder)])
        again = made_folder(place / "again", {"G1-00": 1.5, "G1-01": 1.6}, day=1)
        add_folders(store, [FolderToAdd(again)], replace=True)
        remove_gears(store, Selection(serials=("G2-03",)), remark="dropped")
        drop_event(store, 2)
        days = [datetime(2025, 6, day, tzinfo=UTC) for day in (1, 2, 3)]
        freeze_period(store, "T-8", "GR-1", days[0], days[1])
        freeze_period(store, "T-8", "GR-1", days[1], days[2], remark="after the repair")
        release_period(store, "T-8", "GR-1")
        if not deliveries:
            return
        for day in (1, 2):
            add_delivery(store, "Quince Works", ("T-8", "A"), f"{day}" * 64, delivery_found(), **came(day))
        other = delivery_found(verdict="differs")
        add_delivery(store, "Quince Works", ("T-8", "A"), "1" * 64, other, **came(1), replace=True)
        drop_delivery(store, 2, remark="of another part")


def came(day: int) -> dict[str, Any]:
    """When a delivery came."""
    return {"delivered": datetime(2025, 6, day, tzinfo=UTC), "simulated": False}


def delivery_found(**changes: Any) -> DeliveryCheck:
    """What checking a report may have found; agrees, unless changed."""
    found = DeliveryCheck(
        report="report.csv", standard="ISO 1328-1:2013", gears_reported=12, gears_measured=12,
        verdict="agrees", verdict_reason="within_uncertainty", values_judged=204, values_beyond=3,
        values_beyond_allowed=14, claims={"confirmed": 200, "not confirmed": 0, "not proven": 4, "none": 0},
        claims_contradicted=0, same_gears=None, decision="release", explained_by=(), questions=(),
        impossible=0, differences=(SeriesDifference("helix_slope", "left", 12, 0.1, (-0.1, 0.3)),),
    )  # fmt: skip
    return replace(found, **changes)


def downgraded(where: str, schema: str = "0001") -> None:
    """The store as an earlier version of the program left it; 0.2.0: schema 0001, 0.4.0: 0004."""
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext

    with HistoryStore.open(where, writing=True) as store, store.writing() as connection:
        with Operations.context(MigrationContext.configure(connection)):
            for script in scripts().iterate_revisions(HEAD, schema):
                script.module.downgrade()
        connection.exec_driver_sql(f"UPDATE {VERSION_TABLE} SET version_num = '{schema}'")


def engine_of(where: str) -> sa.Engine:
    """The database below, without its rules for rows that belong together."""
    if "://" not in where:
        return sa.create_engine(f"sqlite:///{where}")
    engine = sa.create_engine(where.replace("postgresql://", "postgresql+psycopg://"), poolclass=sa.NullPool)

    def free(connection: Any, _: Any) -> None:
        connection.execute("SET session_replication_role = replica")
        connection.commit()

    sa.event.listen(engine, "connect", free)
    return engine


def contents(connection: sa.Connection) -> dict[str, list[str]]:
    """Every value of every table, as the database holds it."""
    names = [*METADATA.tables, VERSION_TABLE]
    return {name: sorted(map(repr, connection.exec_driver_sql(f"SELECT * FROM {name}"))) for name in names}


class Damage:
    """One damage by a hand: `kind` and `table` say what it was."""

    KINDS = (
        "a value changed", "a value emptied", "a row deleted", "the last rows deleted", "a row copied",
        "values of two rows exchanged", "numbers of two rows exchanged",
    )  # fmt: skip

    def __init__(self, connection: sa.Connection, chance: random.Random) -> None:
        self._connection, self._chance = connection, chance
        self.kind = chance.choice(self.KINDS)
        self.table = chance.choice(sorted(METADATA.tables))
        self.column = ""
        self._columns = METADATA.tables[self.table].columns
        rows = connection.exec_driver_sql(f"SELECT * FROM {self.table}").mappings().all()
        keys = [column.name for column in METADATA.tables[self.table].primary_key]
        self._rows = sorted(map(dict, rows), key=lambda row: [str(row[key]).zfill(9) for key in keys])
        self._keys = keys
        if len(self._rows) > 1:
            getattr(self, f"_{self.kind.split()[0]}_{self.kind.split()[-1]}")()

    def _one(self) -> dict[str, Any]:
        return self._chance.choice(self._rows)

    def _say(self, words: str, **values: Any) -> None:
        self._connection.execute(sa.text(words), values)

    def _where(self, row: dict[str, Any], prefix: str = "k") -> tuple[str, dict[str, Any]]:
        words = " AND ".join(f'"{key}" = :{prefix}{n}' for n, key in enumerate(self._keys))
        return words, {f"{prefix}{n}": row[key] for n, key in enumerate(self._keys)}

    def _set(self, row: dict[str, Any], column: str, value: Any) -> None:
        self.column = column
        words, values = self._where(row)
        self._say(f'UPDATE {self.table} SET "{column}" = :value WHERE {words}', value=value, **values)

    def _a_changed(self) -> None:
        row, column = self._one(), self._chance.choice([column.name for column in self._columns])
        self._set(row, column, self._other(row[column], self._columns, column))

    def _other(self, value: Any, columns: Any, name: str) -> Any:
        kind = next(column.type for column in columns if column.name == name)
        if isinstance(kind, sa.Boolean):
            return not value
        if isinstance(kind, sa.Integer | sa.BigInteger):
            return (value or 0) + self._chance.choice([-1, 1, 1000])
        if isinstance(kind, sa.Double):
            return (value or 0.0) + self._chance.choice([1e-9, -1e-6, 0.1, 5.0])
        if isinstance(kind, sa.LargeBinary):
            at = self._chance.randrange(len(value))
            return value[:at] + bytes([value[at] ^ 1]) + value[at + 1 :]
        text = value or ""
        at = self._chance.randrange(len(text) + 1)
        return f"{text[:at]}{self._chance.choice('x1 ')}{text[at + self._chance.randrange(2) :]}"

    def _a_emptied(self) -> None:
        row = self._one()
        filled = [c.name for c in self._columns if c.nullable and row[c.name] is not None]
        if filled:
            self._set(row, self._chance.choice(filled), None)

    def _a_deleted(self) -> None:
        words, values = self._where(self._one())
        self._say(f"DELETE FROM {self.table} WHERE {words}", **values)

    def _the_deleted(self) -> None:
        for row in self._rows[-self._chance.randrange(1, 4) :]:
            words, values = self._where(row)
            self._say(f"DELETE FROM {self.table} WHERE {words}", **values)

    def _a_copied(self) -> None:
        row = dict(self._one())
        number = self._keys[0]
        row[number] = max(one[number] for one in self._rows) + 1
        for name in ("digest",):
            if name in row:
                row[name] = row[name][::-1]
        if row.get("state") == "current":
            row["state"] = "removed"
        names = list(row)
        listed = ", ".join(f'"{name}"' for name in names)
        marks = ", ".join(f":v{n}" for n in range(len(names)))
        self._say(
            f"INSERT INTO {self.table} ({listed}) VALUES ({marks})",
            **{f"v{n}": row[name] for n, name in enumerate(names)},
        )

    def _values_exchanged(self) -> None:
        one, other = self._chance.sample(self._rows, 2)
        names = [c.name for c in self._columns if c.name not in self._keys and one[c.name] != other[c.name]]
        if names:
            name = self._chance.choice(names)
            self._set(one, name, other[name])
            self._set(other, name, one[name])

    def _numbers_exchanged(self) -> None:
        one, other = self._chance.sample(self._rows, 2)
        key = self._keys[0]
        if one[key] == other[key]:
            return
        words, values = self._where(one)
        other_words, other_values = self._where(other, "o")
        self._say(f'UPDATE {self.table} SET "{key}" = -1 WHERE {words}', **values)
        self._say(f'UPDATE {self.table} SET "{key}" = :v WHERE {other_words}', v=one[key], **other_values)
        rest = re.sub(rf'"{key}" = :k0', f'"{key}" = -1', words)
        values.pop("k0")
        self._say(f'UPDATE {self.table} SET "{key}" = :v WHERE {rest}', v=other[key], **values)


def damages_by_hand(where: str, chance: random.Random, number: int) -> Iterator[tuple[Damage, set[str]]]:
    """Damages that change something and that the database lets pass, each taken back after its check.

    Yields each with the codes that the check finds.
    """
    engine = engine_of(where)
    with engine.connect() as connection:
        before = contents(connection)
        done = 0
        while done < number:
            try:
                damage = Damage(connection, chance)
                if contents(connection) != before:
                    done += 1
                    yield damage, {one.code for one in store_findings(connection, ChainWalk())}
            except sa.exc.DBAPIError:
                pass  # refused by the database: unique, not empty
            connection.rollback()
    engine.dispose()


def flipped(file: Path, chance: random.Random, most: int = 3) -> None:
    """Change a few bytes of a file anywhere, or write zeros over a piece of it."""
    content = bytearray(file.read_bytes())
    if chance.random() < 0.15:
        start, size = chance.randrange(len(content)), chance.choice([1, 16, 512, 4096])
        content[start : start + size] = bytes(min(size, len(content) - start))
    for _ in range(chance.randrange(1, most + 1)):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    file.write_bytes(content)


def found(where: str) -> set[str]:
    """Codes of what the check finds, or that the store was refused with words."""
    try:
        with HistoryStore.open(where) as store:
            return {one.code for one in check_store(store).findings}
    except StoreError:
        return {REFUSED}


def harmless(file: Path, original: dict[str, list[str]]) -> bool:
    """Whether a file is sound to SQLite and holds exactly what it held."""
    engine = engine_of(str(file))
    try:
        with engine.connect() as connection:
            sound = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
            return sound and contents(connection) == original
    except (sa.exc.SQLAlchemyError, sqlite3.Error):
        return False
    finally:
        engine.dispose()
