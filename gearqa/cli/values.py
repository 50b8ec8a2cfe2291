"""Option values as Python values, without loading a validation library for a word or a number."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import typer
from typer.core import TyperCommand, TyperGroup

from gearqa.errors import ArgumentError

SHOWN_CHARACTERS = 40
"""Of a word that is no number so much is repeated."""
WHOLE = 1000
"""More characters than any first sentence has."""
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_WHOLE_NUMBER = r"[+-]?[0-9]{1,18}"


def _number(word: str) -> float:
    value = float(word) if re.fullmatch(_NUMBER, word) else math.inf
    if not math.isfinite(value):
        comma = "; decimal point, not comma" if "," in word else ""
        raise typer.BadParameter(f"found {_shown(word)}, expected a number{comma}")
    return value


def _whole_number(word: str) -> int:
    if not re.fullmatch(_WHOLE_NUMBER, word):
        digits = " of at most 18 digits" if len(word) > SHOWN_CHARACTERS // 2 else ""
        raise typer.BadParameter(f"found {_shown(word)}, expected a whole number{digits}")
    return int(word)


def _shown(word: str) -> str:
    return f"'{word}'" if len(word) <= SHOWN_CHARACTERS else f"'{word[:SHOWN_CHARACTERS]}...'"


def _one_of(words: tuple[str, ...]) -> Callable[[str], str]:
    def choose(word: str) -> str:
        if word not in words:
            raise typer.BadParameter(f"found '{word}', expected one of {', '.join(words)}")
        return word

    return choose


_CONVERTERS: dict[Any, Callable[[str], Any]] = {
    str: str, float: _number, int: _whole_number, Path: Path, bool: bool,
}  # fmt: skip


class _Plain:
    """Converts the words of one option; put where typer looks for its own converter."""

    def __init__(self, convert: Callable[[str], Any]) -> None:
        self._convert = convert

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        if value is None:
            return () if param.multiple else None
        try:
            if param.multiple or param.nargs == -1:
                return [self._one(word) for word in value]
            return self._one(value)
        except typer.BadParameter as error:
            raise typer.BadParameter(error.message, ctx=ctx, param=param) from None

    def _one(self, word: Any) -> Any:
        return self._convert(word) if isinstance(word, str) else word


def with_plain_values(params: list[Any]) -> list[Any]:
    """Give typer's parameters of simple types the converters of this module; others keep typer's own."""
    for param in params:
        if param.param_type_name == "argument":
            param.display_type_rich = _no_type  # FOLDER says what it is; <list[Path]> is for programmers
        descriptor = getattr(param, "type_descriptor", None)
        if descriptor is None or getattr(param, "_runtime_param", "absent") is not None:
            continue
        annotation = descriptor.annotation
        if get_origin(annotation) is list:
            (annotation,) = get_args(annotation)
        choices = get_origin(annotation) is Literal
        convert = _one_of(get_args(annotation)) if choices else _CONVERTERS.get(annotation)
        if convert is not None:
            param._runtime_param = _Plain(convert)
    return params


def _no_type(**_: Any) -> str:
    return ""


class Group(TyperGroup):
    """Commands of one name; words and numbers of its own options are read by this module.

    Its help holds the whole first sentence of each command, broken into lines and not cut.
    """

    def get_params(self, ctx: Any) -> list[Any]:
        return with_plain_values(super().get_params(ctx))

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, one.get_short_help_str(limit=WHOLE)) for name, one in self.commands.items()]
            )


class Command(TyperCommand):
    """A command whose words and numbers are read by this module.

    An argument that the job behind it cannot take is an error of usage.
    """

    def get_params(self, ctx: Any) -> list[Any]:
        return with_plain_values(super().get_params(ctx))

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except ArgumentError as error:
            raise typer.BadParameter(str(error), ctx=ctx, param_hint=self._written(error.argument)) from error

    def _written(self, argument: str) -> str:
        """An argument of a job as the command line writes it."""
        for param in self.params:
            metavar = param.metavar or str(param.name).upper()
            if param.param_type_name == "argument" and argument.upper() in (str(param.name).upper(), metavar):
                return metavar
            if f"[{argument.upper()}]" in metavar:
                return argument.upper()
        return f"--{argument.replace('_', '-')}"
