"""The commands of `gearqa`: one file each, imported only when it runs.

A command module holds `command`, a function that typer reads and that returns an `ExitStatus`
(or None for 0), or `app`, a Typer application with sub-commands.
"""

from __future__ import annotations

COMMANDS: dict[str, str] = {
    "grade": "Grade an inspection folder: classes, conformity, master quality.",
    "tolerances": "Print the tolerances of a gear, by class or in all systems side by side.",
    "size": "Compute the size of teeth: over or between balls, span, thickness, each from the other.",
    "new": "Start an inspection folder: part.toml and table templates.",
    "columns": "Look at a foreign table and draft the column map to read it.",
    "lot": "Recommend release, hold or reject of a lot from a measured sample.",
    "verify": "Check a record: files, record, chain, signature, and every value computed again.",
    "keys": "Make a pair of Ed25519 key files to sign lot records.",
    "history": "Keep graded gears for years: add, list, show, regrade, events, check.",
    "watch": "Grade, keep and chart gears as their folders or tables arrive.",
    "drift": "Show how a grinder drifts, when it leaves the limits, and how often to dress.",
    "diagnose": "Show what keeps gears from master quality, what causes it, and which correction gains most.",
    "incoming": "Check a supplier's report against our measurement, and explain the difference.",
    "gauge": "Study a gear measuring instrument: spread, bias, uncertainty.",
    "simulate": "Write an inspection folder from a physical model of the flank surfaces.",
    "schema": "Print the JSON Schema of an input or a result.",
    "explain": "Explain flanks, signs, classes, every parameter, verdict and code, files and exit status.",
}
"""Name and short help, in the order of `gearqa --help`."""
