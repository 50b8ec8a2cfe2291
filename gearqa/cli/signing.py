"""Passwords of key files: asked for on a terminal, or taken from the environment; never an argument."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from gearqa.errors import RecordError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

PASSWORD_VARIABLE = "GEARQA_KEY_PASSWORD"


def ask_password(what: str, *, twice: bool = False) -> bytes:
    """The password of a key file: from the environment, else asked for.

    Raises
    ------
    RecordError
        If there is neither the variable nor a terminal, or the password is empty.
    """
    password = os.environ.get(PASSWORD_VARIABLE)
    if password is None:
        if not sys.stdin.isatty():
            raise RecordError(
                f"{what} needs a password",
                hint=f"on a terminal it is asked for; else set {PASSWORD_VARIABLE}",
            )
        password = str(
            typer.prompt(f"Password of {what}", hide_input=True, confirmation_prompt=twice, err=True)
        )
    if not password:
        raise RecordError("the password is empty", hint="leave out --password for a key without one")
    return password.encode("utf-8")


def private_key(path: Path) -> Ed25519PrivateKey:
    """Read a private key, with its password where it has one."""
    from gearqa.signoff.key_files import has_password, load_private_key

    return load_private_key(path, password=ask_password(str(path)) if has_password(path) else None)
