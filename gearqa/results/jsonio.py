"""Parts that documents share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson

from gearqa.model.measurement import InputFile
from gearqa.results.codec import writer

OPTIONS = orjson.OPT_SERIALIZE_NUMPY


def input_table(file: InputFile) -> dict[str, Any]:
    """One input: with its digest, or left out with the reason."""
    return writer(InputFile)(file)


def dumps(value: Mapping[str, Any], *, pretty: bool = False) -> bytes:
    """JSON text of a document, ended by a line feed."""
    layout = orjson.OPT_INDENT_2 if pretty else 0
    return orjson.dumps(value, option=OPTIONS | layout | orjson.OPT_APPEND_NEWLINE)
