"""A document: `schema` and `software` first, then what is declared of a result."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, is_dataclass
from typing import Any, BinaryIO

import orjson

from gearqa.results.codec import Table, writer
from gearqa.version import __version__

OPTIONS = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_PASSTHROUGH_DATACLASS


def software() -> dict[str, str]:
    """Which software made a result."""
    return {"name": "gearqa", "version": __version__}


@dataclass(frozen=True, slots=True)
class ResultDocument:
    """One kind of result as JSON.

    `views` says what is written of a model where that is not just its fields (`entries_of`), of the
    document's own model first; `definitions` names models that are described once in the schema.
    """

    schema: str
    title: str
    model: type
    views: Mapping[type, tuple[str, ...]] = field(default_factory=dict)
    definitions: Mapping[type, str] = field(default_factory=dict)
    _writers: dict[type, Callable[[Any], Table]] = field(default_factory=dict, init=False, repr=False)

    def table(self, thing: Any) -> Table:
        """The document of a result; objects inside it are not yet written."""
        return {"schema": self.schema, "software": software(), **self._table(thing)}

    def document(self, thing: Any) -> Any:
        """The document of a result in dicts and lists."""
        return self.plain(self.table(thing))

    def plain(self, thing: Any) -> Any:
        """A thing as in its JSON, in dicts and lists."""
        return orjson.loads(self.dumps(thing))

    def dumps(self, thing: Any, options: int = 0) -> bytes:
        """JSON text of a thing or a table of things: times in ISO 8601, NaN as null."""
        try:
            return orjson.dumps(thing, default=self._table, option=OPTIONS | options)
        except orjson.JSONEncodeError as error:
            raise (error.__cause__ or error) from None

    def json(self, thing: Any, *, pretty: bool = False) -> bytes:
        """The document of a result as its file holds it."""
        layout = orjson.OPT_INDENT_2 if pretty else 0
        return self.dumps(self.table(thing), layout | orjson.OPT_APPEND_NEWLINE)

    def stream(self, stream: BinaryIO, thing: Any) -> None:
        """Write the document of a result; lists that are iterators row by row, in bounded memory."""
        before = b"{"
        for key, value in self.table(thing).items():
            stream.write(before + self.dumps(key) + b":")
            before = b",\n"
            if isinstance(value, Iterator):
                separator = b"[\n"
                for row in value:
                    stream.write(separator + self.dumps(row))
                    separator = b",\n"
                stream.write(b"]" if separator == b",\n" else b"[]")
            else:
                stream.write(self.dumps(value))
        stream.write(b"}\n")

    def _table(self, thing: Any) -> Any:
        model = type(thing)
        write = self._writers.get(model)
        if write is not None:
            return write(thing)
        if is_dataclass(model):
            write = self._writers[model] = writer(model, self.views.get(model))
            return write(thing)
        if isinstance(thing, Mapping):
            return dict(thing)
        raise TypeError(f"no JSON for {model}")

    def json_schema(self, **replaced: Table) -> Table:
        """JSON Schema of the document; `replaced` gives properties by key."""
        from gearqa.results.json_schema import Schemas, described

        schemas = Schemas(self.views, self.definitions)
        body = schemas.of(self.model, None, **replaced)
        return described(self.schema, self.title, body, schemas.named())
