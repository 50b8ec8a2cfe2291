"""Brings the schema of a store to the newest version, from code and inside the caller's transaction."""

from __future__ import annotations

import threading
from pathlib import Path

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext, MigrationStep
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection

from gearqa.errors import StoreError
from gearqa.history.sql_tables import HEAD, VERSION_TABLE

FOLDER = Path(__file__).parent
ONE_AT_A_TIME = threading.Lock()
"""Alembic keeps the migration that runs in a global place."""


def scripts() -> ScriptDirectory:
    """The migrations that this program has."""
    return ScriptDirectory(str(FOLDER))


def upgrade(connection: Connection, found: str | None, shown: str) -> None:
    """Apply what is missing after version `found` (None: nothing is there yet)."""
    here = scripts()
    if found is not None and found not in {script.revision for script in here.walk_revisions()}:
        raise newer_schema(found, shown)

    def steps(revision: str | tuple[str, ...], _: MigrationContext) -> list[MigrationStep]:
        return list(here._upgrade_revs(HEAD, revision))  # type: ignore[arg-type]  # as Alembic's upgrade does

    with ONE_AT_A_TIME, EnvironmentContext(Config(), here, fn=steps, destination_rev=HEAD) as environment:
        environment.configure(connection=connection, version_table=VERSION_TABLE)
        environment.run_migrations()


def newer_schema(found: str, shown: str) -> StoreError:
    """The error for a store that a newer program has made."""
    return StoreError(
        f"history store {shown} has schema version {found}, this gearqa knows versions up to {HEAD}: a newer "
        "gearqa has written it",
        hint="update gearqa on this computer; nothing was changed",
    )
