"""`gearqa keys`: key files for signed records."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus


def command(
    name: Annotated[
        Path,
        typer.Argument(
            metavar="NAME", help="Writes NAME.key (private) and NAME.pub (public).", show_default=False
        ),
    ],
    password: Annotated[
        bool, typer.Option("--password", help="Encrypt NAME.key: asked for, or from GEARQA_KEY_PASSWORD.")
    ] = False,
) -> int:
    """Make a pair of Ed25519 key files to sign lot records.

    NAME.key signs (gearqa lot --sign NAME.key): keep it to yourself. NAME.pub checks (gearqa verify --key
    NAME.pub): give it to whoever verifies, by a way that cannot be tampered with. Nothing is overwritten.
    """
    from gearqa.cli.console import say, tell
    from gearqa.cli.signing import ask_password
    from gearqa.signoff.key_files import make_keys

    if not name.name:
        raise typer.BadParameter("needs a name for the two files", param_hint="NAME")
    private, public = name.with_name(f"{name.name}.key"), name.with_name(f"{name.name}.pub")
    secret = ask_password(str(private), twice=True) if password else None
    fingerprint = make_keys(private, public, password=secret)
    tell(f"written: {private} (private: keep it to yourself{'' if secret else '; it has no password'})")
    tell(f"written: {public} (public: give it to whoever verifies)")
    say(f"fingerprint {fingerprint}")
    return ExitStatus.CONFORMS
