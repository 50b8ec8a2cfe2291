"""Who may import whom: the layers of DEVELOPERS.md, checked on the source and on a running process."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "gearqa"

LEVELS = {
    "arrays": 0, "late_dataclass": 0, "symbols": 0, "version": 0, "wording": 0, "errors": 0,
    "core": 1, "statistics": 1, "standards": 1, "model": 1,
    "stopping": 2, "evaluation": 2, "diagnosis": 2, "results": 2, "reading": 2,
    "frames": 3, "simulate": 3, "signoff": 3, "history": 3, "drift": 3, "gauge": 3, "incoming": 3,
    "jobs": 4,
    "report": 5,
    "cli": 6,
}  # fmt: skip
"""Level of each module or sub-package of gearqa. A lower one may not import a higher one."""

MAY_IMPORT = {
    "late_dataclass": set(),
    "symbols": set(),
    "version": set(),
    "arrays": set(),
    "wording": {"symbols"},
    "errors": {"symbols", "wording"},
    "core": {"arrays", "errors", "symbols", "wording"},
    "statistics": {"arrays", "errors", "symbols", "wording"},
    "standards": {"arrays", "errors", "symbols", "wording"},
    "model": {"arrays", "errors", "symbols", "wording"},
    "evaluation": {"arrays", "errors", "symbols", "wording", "core", "standards", "statistics", "model"},
    "diagnosis": {"arrays", "errors", "symbols", "wording", "core", "statistics", "model", "evaluation"},
    "results": {"arrays", "errors", "symbols", "wording", "version", "standards", "model", "stopping"},
    "report": {"arrays", "errors", "symbols", "wording", "version", "model"},
}
"""Stricter than the level: all that these may import of gearqa, besides themselves and `late_dataclass`."""

HEAVY = {
    "typer": {"cli"},
    "rich": {"report.render.text_layout"},
    "pydantic": {"model", "reading", "results", "simulate", "signoff", "drift", "incoming"},
    "pandas": {"frames"},
    "polars": {"reading", "results.parquet_files"},
    "typst": {"report.render.pdf"},
    "sqlalchemy": {"history"},
    "alembic": {"history"},
    "isal": {"history"},
    "watchfiles": {"history", "drift", "cli"},
    "cryptography": {"signoff", "cli"},
    "re2": {"reading"},
}
"""Third-party library -> the only places that may import it."""


def modules() -> list[tuple[str, Path]]:
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        parts = parts[:-1] if parts[-1] == "__init__" else parts
        found.append((".".join(parts), path))
    return found


def imports_of(path: Path) -> list[tuple[int, str]]:
    """Modules that a file imports at run time: not what stands under TYPE_CHECKING."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            node.body = []
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            found.append((node.lineno, node.module or ""))
            if node.module == "gearqa":
                found += [(node.lineno, f"gearqa.{alias.name}") for alias in node.names]
    return found


def own_imports(path: Path) -> list[tuple[int, str]]:
    return [
        (line, name.removeprefix("gearqa.")) for line, name in imports_of(path) if name.startswith("gearqa.")
    ]


def test_every_module_has_a_level():
    heads = {name.split(".")[0] for name, _ in modules() if name not in {"", "__main__"}}
    assert heads == set(LEVELS)


def test_the_places_of_libraries_exist():
    names = {name for name, _ in modules()}
    assert {place for places in HEAVY.values() for place in places} <= names


def test_what_is_pure_reaches_for_nothing_outside():
    """Below level 2 no file, clock, randomness, environment or process."""
    wrong = []
    for name, path in modules():
        if LEVELS.get(name.split(".")[0], 2) > 1:
            continue
        wrong += [
            f"{path.name}:{line} imports {target}"
            for line, target in imports_of(path)
            if target.split(".")[0] in OUTSIDE or target.startswith("numpy.random")
        ]
        wrong += [
            f"{path.name}:{node.lineno} calls {found}"
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call)
            and (found := ast.unparse(node.func)).startswith(("np.random.", "datetime.now", "open", "print"))
        ]
    assert not wrong, "\n".join(wrong)


def test_nobody_imports_upwards():
    wrong = []
    for name, path in modules():
        head = name.split(".")[0]
        if head in {"", "__main__"}:
            continue
        for line, target in own_imports(path):
            above = target.split(".")[0]
            if above.startswith("_"):
                continue
            if LEVELS[above] > LEVELS[head]:
                wrong.append(f"{path.name}:{line}: {head} imports {target}")
            if head in MAY_IMPORT and above not in {head, "late_dataclass", *MAY_IMPORT[head]}:
                wrong.append(f"{path.name}:{line}: {head} imports {target}")
    assert not wrong, "\n".join(wrong)


def test_siblings_of_level_3_do_not_import_each_other():
    wrong = []
    for name, path in modules():
        head = name.split(".")[0]
        if LEVELS.get(head) != 3:
            continue
        wrong += [
            f"{path.name}:{line}: {head} imports {target}"
            for line, target in own_imports(path)
            if LEVELS.get(target.split(".")[0]) == 3 and target.split(".")[0] != head
        ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("library", HEAVY)
def test_heavy_libraries_stay_in_their_places(library):
    wrong = []
    for name, path in modules():
        if any(name == place or name.startswith(f"{place}.") for place in HEAVY[library]):
            continue
        wrong += [
            f"{path.name}:{line} imports {target}"
            for line, target in imports_of(path)
            if target.split(".")[0] == library
        ]
    assert not wrong, "\n".join(wrong)


OUTSIDE = {
    "io", "os", "pathlib", "shutil", "tempfile", "time", "random", "secrets", "subprocess", "socket",
    "locale", "logging", "sys", "threading", "multiprocessing", "urllib",
}  # fmt: skip

LIGHT = {
    "gearqa": {"numpy", "pandas", "polars", "scipy", "typer", "pydantic", "rich"},
    "gearqa.core.geometry": {"pandas", "typer", "pydantic", "rich", "scipy", "matplotlib"},
    "gearqa.core.traces": {"pandas", "typer", "pydantic", "rich"},
    "gearqa.standards.iso1328_1_2013": {"pandas", "typer", "pydantic", "rich", "scipy"},
    "gearqa.evaluation.evaluate": {"pandas", "polars", "typer", "pydantic", "rich", "scipy.stats"},
    "gearqa.cli.app": {"numpy", "pandas", "polars", "scipy", "pydantic", "rich"},
}
"""Module -> libraries that importing it must not load."""


@pytest.mark.parametrize("module", LIGHT)
def test_importing_loads_nothing_heavy(module):
    code = f"import sys, {module}; print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert not loaded & LIGHT[module]
