"""A document: `schema` and `software` first, then what is declared of a result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, is_dataclass
from typing import Any

import orjson

from gearqa.results.codec import Table, writer
from gearqa.results.json_schema import DIALECT, Schema, Schemas, table
from gearqa.version import __version__

OPTIONS = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_PASSTHROUGH_DATACLASS
SOFTWARE: Schema = table({"name": {"type": "string"}, "version": {"type": "string"}})


def software() -> dict[str, str]:
    """Which software made a result."""
    return {"name": "gearqa", "version": __version__}


@dataclass(frozen=True, slots=True)
class Document:
    """One kind of result as JSON.

    `views` says what is written of a model where that is not just its fields (`entries_of`), of the
    document's own model first; `definitions` names models that are described once in the schema.
    """

    schema: str
    title: str
    model: type
    views: Mapping[type, tuple[str, ...]] = field(default_factory=dict)
    definitions: Mapping[type, str] = field(default_factory=dict)

    def table(self, thing: Any) -> Table:
        """The whole document of a result; what lies within is still to be written."""
        return {"schema": self.schema, "software": software(), **self._table(thing)}

    def plain(self, thing: Any) -> Any:
        """A thing as its JSON says it, in dicts and lists."""
        return orjson.loads(self.dumps(thing))

    def dumps(self, thing: Any, options: int = 0) -> bytes:
        """JSON text of a thing or a table of things: times in ISO 8601, what is no number as null."""
        try:
            return orjson.dumps(thing, default=self._table, option=OPTIONS | options)
        except orjson.JSONEncodeError as error:
            raise (error.__cause__ or error) from None

    def json(self, thing: Any) -> bytes:
        """The document of a result as its file holds it."""
        return self.dumps(self.table(thing), orjson.OPT_APPEND_NEWLINE)

    def _table(self, thing: Any) -> Any:
        model = type(thing)
        if is_dataclass(model):
            return writer(model, self.views.get(model))(thing)
        if isinstance(thing, Mapping):
            return dict(thing)
        raise TypeError(f"no JSON for {model}")

    def json_schema(self) -> Schema:
        """JSON Schema of the document."""
        schemas = Schemas(self.views, self.definitions)
        return described(
            self.schema, self.title, schemas.of(self.model)["properties"],
            {name: schemas.of(model) for model, name in self.definitions.items()},
        )  # fmt: skip


def described(schema_id: str, title: str, properties: Schema, definitions: Schema | None = None) -> Schema:
    """A whole schema: dialect, title, `schema` and `software`, then the properties of a document."""
    whole = {
        "$schema": DIALECT,
        "title": title,
        **table({"schema": {"const": schema_id}, "software": SOFTWARE, **properties}),
    }
    return {**whole, "$defs": definitions} if definitions else whole
