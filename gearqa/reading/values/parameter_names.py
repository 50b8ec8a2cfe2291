"""How people write the names of parameters, turned into keys: symbols and words of the trade.

Spellings are common practice (no source). Case counts where it must: fp is the single pitch, Fp the
total cumulative pitch deviation.
"""

from __future__ import annotations

import difflib
import re
from functools import cache
from typing import Final

from gearqa.errors import Reason
from gearqa.reading.values.value_sheets import ValueSheet
from gearqa.symbols import PARAMETERS

_GREEK: Final = {"α": "a", "ɑ": "a", "𝛼": "a", "β": "b", "ß": "b", "𝛽": "b"}
_SIGNS: Final = re.compile(r"[\s_\-.,()\[\]{}'/]+")

_SYMBOLS: Final[dict[str, str]] = {
    "fp": "single_pitch", "fpt": "single_pitch",
    "Fp": "cumulative_pitch",
    "Fpz8": "sector_pitch",
    "fu": "adjacent_pitch",
    "Fr": "runout", "Rs": "tooth_thickness_variation",
    "Fa": "profile_total", "ffa": "profile_form", "fHa": "profile_slope", "Ca": "profile_crowning",
    "f2a": "profile_parabola_form", "f2b": "helix_parabola_form",
    "faf": "profile_form", "faH": "profile_slope",
    "Fb": "helix_total", "ffb": "helix_form", "fHb": "helix_slope", "Cb": "helix_crowning",
    "fbf": "helix_form", "fbH": "helix_slope",
}  # fmt: skip
"""Symbols with alpha and beta written as a and b, without signs between; case kept."""

_WORDS: Final[tuple[tuple[str, str], ...]] = (
    ("tooth_thickness_variation", r"thickness (variation|fluctuation)|zahndickenschwankung"),
    ("runout", r"^(total )?(radial )?run ?out( dev(iation)?| error)?$|rundlauf"),
    ("adjacent_pitch", r"adjacent( single)? pitch|pitch (difference|jump)|teilungssprung"),
    ("sector_pitch", r"sector pitch|pitch sector|pitch over (z/?8|an eighth)"),
    (
        "cumulative_pitch",
        r"(total |cumulative |accumulated |total cumulative )pitch|pitch (total|cumulative|sum)"
        r"|teilungsgesamt|teilungssumm",
    ),
    ("single_pitch", r"(single|individual) pitch|pitch single|teilungseinzel|einzelteilung"),
    ("profile_parabola_form", r"profile (form|shape).* parabola"),
    ("helix_parabola_form", r"(helix|lead) (form|shape).* parabola"),
    ("profile_crowning", r"profile crown|profilballigkeit|h(ö|oe)henballigkeit"),
    ("profile_slope", r"profile (slope|angle)|profilwinkel"),
    ("profile_form", r"profile (form|shape)|profilform"),
    ("profile_total", r"total profile|profile total|profile dev(iation)?$|profilgesamt"),
    ("helix_crowning", r"(helix|lead) crown|breitenballigkeit"),
    ("helix_slope", r"(helix|lead) (slope|angle)|flankenlinienwinkel"),
    ("helix_form", r"(helix|lead) (form|shape)|flankenlinienform"),
    ("helix_total", r"total (helix|lead)|(helix|lead) total|(helix|lead) dev(iation)?$|flankenliniengesamt"),
)
_PATTERNS: Final = tuple((key, re.compile(pattern)) for key, pattern in _WORDS)


def plain_symbol(text: str) -> str:
    """A symbol without signs, Greek letters as a and b.

    >>> plain_symbol("f_Hα"), plain_symbol("F-beta"), plain_symbol("Fpz/8")
    ('fHa', 'Fb', 'Fpz8')
    """
    bare = _SIGNS.sub("", text.strip())
    for letter, spelled in _GREEK.items():
        bare = bare.replace(letter, spelled)
    return re.sub(r"beta$", "b", re.sub(r"alpha$", "a", bare, flags=re.IGNORECASE), flags=re.IGNORECASE)


@cache
def parameter_key(text: str) -> str | tuple[str, ...]:
    """Key of a parameter as people write it; several keys where it is ambiguous, none where unknown.

    >>> parameter_key("fp"), parameter_key("Fp"), parameter_key("F_alpha"), parameter_key("FHA")
    ('single_pitch', 'cumulative_pitch', 'profile_total', 'profile_slope')
    >>> parameter_key("Lead slope deviation"), parameter_key("FP"), parameter_key("width")
    ('helix_slope', ('single_pitch', 'cumulative_pitch'), ())
    """
    bare = text.strip()
    folded = re.sub(r"[\s_\-]+", "_", bare.casefold())
    if folded in PARAMETERS:
        return folded
    symbol = plain_symbol(bare)
    if symbol in _SYMBOLS:
        return _SYMBOLS[symbol]
    alike = dict.fromkeys(key for known, key in _SYMBOLS.items() if known.casefold() == symbol.casefold())
    if not alike:
        words = re.sub(r"[\s_\-.,:;()\[\]]+", " ", bare.casefold()).strip()
        alike = dict.fromkeys([key for key, pattern in _PATTERNS if pattern.search(words)][:1])
    return next(iter(alike)) if len(alike) == 1 else tuple(alike)


def nearest_parameter(text: str) -> str:
    """What may have been meant, as a hint; empty where nothing is near."""
    names = {**{key: key for key in PARAMETERS}, **{p.name: key for key, p in PARAMETERS.items()}}
    near = difflib.get_close_matches(text.strip().casefold(), names, n=1, cutoff=0.6)
    return f"did you mean '{names[near[0]]}'?" if near else ""


def parameters_of(sheet: ValueSheet) -> list[str | None]:
    """Keys of the parameter column; a word that is none is a fault of the sheet."""
    keys: list[str | None] = []
    named: set[str] = set()
    for row, word in enumerate(sheet.texts("parameter")):
        if word is None:
            sheet.cells.fault(row, Reason.EMPTY_CELL, "parameter", "a parameter")
            keys.append(None)
            continue
        key = parameter_key(word)
        if isinstance(key, str):
            keys.append(key)
            continue
        if key:
            expected = " or ".join(f"'{one}' ({PARAMETERS[one].symbol})" for one in key)
            hint = "the case of the symbol tells them apart"
        else:
            expected, hint = f"one of {', '.join(PARAMETERS)}, or a symbol", nearest_parameter(word)
        keys.append(None)
        if word in named and sheet.cells.source.wide is not None:  # one header, not every cell below it
            sheet.cells.bad[row] = True
            continue
        named.add(word)
        sheet.cells.fault(row, Reason.UNKNOWN_WORD, "parameter", expected, hint)
    return keys
