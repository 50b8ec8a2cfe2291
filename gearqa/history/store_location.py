"""Where a history store lies: a file or a PostgreSQL server, named without its password."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gearqa.errors import StoreError

ENVIRONMENT_VARIABLE: Final = "GEARQA_STORE"
FILE_NAME: Final = "history.sqlite"
SQLITE_PREFIX: Final = "sqlite:///"
SECRETS: Final = ("password", "passfile", "sslpassword")
KINDS: Final = "a file name, sqlite:///FILE or postgresql://USER@HOST/DATABASE"


@dataclass(frozen=True, slots=True)
class Location:
    """A store's place: `path` of a file, or `url` of a server."""

    shown: str
    """For people: never holds a password."""
    path: Path | None = None
    url: str | None = None
    own: bool = False
    """The one file in the user's data folder, whose folder may be created."""


def locate(where: str | None = None, environ: Mapping[str, str] | None = None) -> Location:
    """Find the store: as named, else as $GEARQA_STORE names it, else one file in the user's data folder."""
    environ = os.environ if environ is None else environ
    named = where if where is not None else environ.get(ENVIRONMENT_VARIABLE)
    if named is None or not named.strip():
        if where is not None:
            raise StoreError("the store has an empty name", hint=f"a store is {KINDS}")
        path = _user_folder() / FILE_NAME
        return Location(str(path), path, own=True)
    named = named.strip()
    if named.startswith(SQLITE_PREFIX):
        named = named.removeprefix(SQLITE_PREFIX)
        if not named or named.startswith(":memory:"):
            raise StoreError("a history store in memory would be lost at once", hint=f"a store is {KINDS}")
    elif "://" in named:
        return _server(named)
    path = Path(named).expanduser()
    return Location(str(path), path)


def _user_folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("gearqa", appauthor=False)


def _server(named: str) -> Location:
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    scheme = named.split("://", 1)[0]
    if scheme.split("+")[0] not in {"postgresql", "postgres"}:
        raise StoreError(f"a history store cannot lie at {scheme}://...", hint=f"a store is {KINDS}")
    try:
        url = make_url(named)
    except (ArgumentError, ValueError):  # the message would repeat the text, password and all
        raise StoreError(
            f"the store's {scheme}:// address cannot be understood",
            hint=f"a store is {KINDS}; the signs @ : / # in a name or password are written %40 %3A %2F %23",
        ) from None
    url = url.set(drivername="postgresql+psycopg")
    hidden = url.update_query_dict({key: "***" for key in SECRETS if key in url.query})
    shown = hidden.set(drivername="postgresql").render_as_string(hide_password=True)
    return Location(shown, url=url.render_as_string(hide_password=False))
