"""Public functions of the numeric layers: source line, a unit for every argument, an example that runs."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re

import pytest

import gearqa.core
import gearqa.standards
import gearqa.statistics

PACKAGES = (gearqa.core, gearqa.standards, gearqa.statistics)

SOURCE = re.compile(
    r"\b(ISO(/TS|/TR|/IEC|\s+GUIDE)?\s?\d|JCGM|NIST|ANSI|DIN|AIAG|clause|Eq\.|chapter|\(\d{4}\)|\d{4}\b|"
    r"house rule|common practice|from memory|computed|derived|definition|elementary|by hand)",
    re.IGNORECASE,
)


def public_functions() -> list[object]:
    """Functions that a package of the numeric layers defines for others."""
    found = {}
    for package in PACKAGES:
        for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            module = importlib.import_module(info.name)
            for name, thing in vars(module).items():
                if name.startswith("_") or not inspect.isfunction(thing):
                    continue
                if thing.__module__ == module.__name__:
                    found[f"{module.__name__}.{name}"] = thing
    return [pytest.param(f, id=name.removeprefix("gearqa.")) for name, f in sorted(found.items())]


def entries(section: str) -> list[tuple[str, str]]:
    """Head line and body of each entry of a numpydoc section."""
    found: list[tuple[str, list[str]]] = []
    for line in section.splitlines():
        if line and not line.startswith(" "):
            found.append((line, []))
        elif line.strip() and found:
            found[-1][1].append(line.strip())
    return [(head, " ".join(body)) for head, body in found]


def sections(doc: str) -> dict[str, str]:
    """Sections of a numpydoc docstring by their titles; the text before the first is under ''."""
    parts = re.split(r"^([A-Z][A-Za-z ]+)\n-{3,}\n", doc, flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def test_there_are_functions_to_check():
    assert len(public_functions()) > 40


@pytest.mark.parametrize("function", public_functions())
def test_docstring(function):
    doc = inspect.getdoc(function) or ""
    found = sections(doc)
    assert doc.strip(), "no docstring"
    whole = found[""] + found.get("Notes", "") + found.get("References", "")
    below_summary = whole.split("\n", 1)[-1]
    words = re.sub(r"\.\. math::.*(\n\s+.*)*", "", below_summary).split()
    textbook = function.__module__.startswith("gearqa.statistics") and len(words) >= 3  # a named method
    assert textbook or SOURCE.search(below_summary), "no source line after the summary"

    names = [n for n, p in inspect.signature(function).parameters.items() if n not in {"self", "cls"}]
    described = entries(found.get("Parameters", ""))
    told = [name.strip("* ") for head, _ in described for name in head.split(":")[0].split(",")]
    assert told == names, "the Parameters section and the signature differ"
    for head, body in [*described, *entries(found.get("Returns", ""))]:
        assert re.search(r"\[[^\]]+\]\.?$", f"{head} {body}".strip()), f"'{head}' does not end in [unit]"
    if inspect.signature(function).return_annotation not in (None, "None"):
        assert "Returns" in found or "Yields" in found, "no Returns section"
    assert ">>>" in found.get("Examples", ""), "no example"
