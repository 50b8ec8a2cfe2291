"""`gearqa schema`: the contract for machines."""

from __future__ import annotations

from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus


def command(name: Annotated[str | None, typer.Argument(metavar="NAME", help="Which schema.")] = None) -> int:
    """Print the JSON Schema of an input or a result.

    Without NAME the names are listed. TOML inputs are described as the JSON they are equal to.
    """
    from gearqa.jobs.json_schemas import SCHEMAS, json_schema

    if name is None:
        for known, (_, about) in SCHEMAS.items():
            print(f"{known:12}{about}")
        return ExitStatus.CONFORMS
    import orjson

    from gearqa.results.outputs import write_whole

    layout = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE
    write_whole("-", orjson.dumps(json_schema(name), option=layout), "JSON result")
    return ExitStatus.CONFORMS
