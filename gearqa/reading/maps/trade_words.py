"""Words that inspection rooms write over their columns, English, German and Japanese.

Common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from gearqa.reading.folder.sources import TableKind

LEFT_WORDS: Final = frozenset(
    {"l", "left", "links", "li", "lf", "lh", "left flank", "linke flanke", "linke", "左", "左歯面"}
)
RIGHT_WORDS: Final = frozenset(
    {"r", "right", "rechts", "re", "rf", "rh", "right flank", "rechte flanke", "rechte", "右", "右歯面"}
)

# order matters: the first quantity whose pattern is found in a header has it
_QUANTITIES: Final[tuple[tuple[str, str], ...]] = (
    ("roll_angle", r"roll\w*.?angle|w(ä|ae)lzwinkel|angle of roll|転がり角"),
    ("roll_length", r"roll|w(ä|ae)lz|転がり"),
    ("index", r"index|cumul|accum|summen|gesamtteil|total pitch|累積"),
    (
        "pitch",
        r"single.?pitch|einzelteil|pitch (dev|err)|teilungs(abw|fehl|einzel)|^pitch$|^teilung$|単一ピッチ",
    ),
    ("radial", r"radial|run.?out|rundlauf|ball (pos|reading)|kugel|半径|振れ"),
    ("deviation", r"dev|abw|err|fehler|delta|^f_?(alpha|beta|α|β)|messwert|^reading$|istwert|偏差|誤差"),
    ("flank", r"flank|^side$|seite|^lr$|^l/r$|歯面|左右"),
    ("space", r"space|^gap|l(ü|ue)cke|歯溝"),
    ("tooth", r"tooth|teeth|zahn(?!breite|rad|h)|^z(n|nr|no)?$|^t(n|nr|no)?$|歯番|歯 ?no"),
    (
        "face_position",
        r"face|zahnbreite|breite|width|axial|lead pos|height|h(ö|oe)he|^z.?(pos|achse|axis)|helix pos|歯幅",
    ),
    ("diameter", r"diam|durchm|^dia$|ø|⌀|直径"),
    (
        "serial",
        r"serial|serien|part.?(id|no|num|nr)|teil(e|nr|.?nummer|$)|werkst|ident|pr(ü|ue)fling|specimen"
        r"|gear.?(id|no|nr)|^sn$|^s/n$|^id$|^part$|^gear$|barcode|component|製造番号|品番|ワーク",
    ),
    ("position", r"^pos|position|weg|travel|station|^x$|^s$|l(ä|ae)nge|length"),
    ("grinder", r"grind|schleif|machine|maschine"),
    ("operator", r"operator|bediener|pr(ü|ue)fer|werker|inspector"),
    ("date", r"date|datum|timestamp|zeitstempel"),
    ("time", r"^time|zeit"),
)  # fmt: skip
STRONG_SERIAL: Final = re.compile(r"serial|serien|^sn\b|^s/n|製造番号")
"""Headers that speak of the serial, not perhaps of the part number."""
_SYMBOLS: Final = {"fp": "pitch", "f_p": "pitch", "fpt": "pitch", "Fp": "index", "F_p": "index"}
"""Symbols keep their case: fp is the single pitch, Fp the cumulative one."""
_PATTERNS: Final = tuple((name, re.compile(pattern)) for name, pattern in _QUANTITIES)

_UNIT_WORDS: Final = {
    "mm": "mm", "millimeter": "mm", "um": "um", "µm": "um", "μm": "um", "mikrometer": "um", "micron": "um",
    "microns": "um", "mu": "um", "deg": "deg", "°": "deg", "grad": "deg", "degree": "deg", "degrees": "deg",
    "in": "in", "inch": "in", "zoll": "in", "rad": "rad", "-": "", "": "",
}  # fmt: skip
_BRACKETED: Final = re.compile(r"[\[(<]\s*([^\])>]*?)\s*[\])>]")
_TRAILING: Final = re.compile(r"[\s_/]+(?:in\s+)?(mm|um|µm|μm|deg|°|inch)\s*$", re.IGNORECASE)

KIND_WORDS: Final[tuple[tuple[TableKind, str], ...]] = (
    ("profile", r"prof|evolv|involute|歯形"),
    ("helix", r"helix|lead|flankenlin|schr(ä|ae)gung|歯すじ|歯筋"),
    ("pitch", r"pitch|teilung|index|ピッチ"),
    ("runout", r"run.?out|rundlauf|振れ"),
)


@dataclass(frozen=True, slots=True)
class HeaderWord:
    """What a foreign header seems to mean."""

    quantity: str | None
    unit: str | None
    """`mm`, `um`, `deg`, `in`, `rad`; empty for a plain number, None where not stated."""


def unit_of(text: str) -> str | None:
    """The unit that a text is, without brackets; None where it is none.

    >>> unit_of("[µm]"), unit_of("mm"), unit_of("Side")
    ('um', 'mm', None)
    """
    return _UNIT_WORDS.get(text.strip().strip("[]()<>").strip().casefold())


def read_header(header: str) -> HeaderWord:
    """Quantity and unit of a header in words of the trade.

    >>> read_header("Wälzweg [mm]"), read_header("Abw. (µm)"), read_header("Tooth no.")
    (HeaderWord(quantity='roll_length', unit='mm'), HeaderWord(quantity='deviation', unit='um'),
     HeaderWord(quantity='tooth', unit=None))
    """
    unit: str | None = None
    text = header.strip()
    bracket = _BRACKETED.search(text)
    if bracket is not None and unit_of(bracket.group(1)) is not None:
        unit = unit_of(bracket.group(1))
        text = text[: bracket.start()] + text[bracket.end() :]
    else:
        trailing = _TRAILING.search(text)
        if trailing is not None:
            unit = unit_of(trailing.group(1))
            text = text[: trailing.start()]
    plain = re.sub(r"[\s_.:#]+", " ", text).strip().casefold()
    quantity = _SYMBOLS.get(text.strip()) or next((n for n, found in _PATTERNS if found.search(plain)), None)
    return HeaderWord(quantity, unit)


def flank_of(word: str) -> str | None:
    """Left or right, where a word says so beyond doubt."""
    plain = word.strip().strip(".").casefold()
    return "left" if plain in LEFT_WORDS else "right" if plain in RIGHT_WORDS else None


_PAIRS: Final = (
    ("左", "右"),
    ("左歯面", "右歯面"),
    ("l", "r"),
    ("left", "right"),
    ("links", "rechts"),
    ("li", "re"),
    ("lf", "rf"),
    ("lh", "rh"),
)


def other_flank_word(word: str) -> str | None:
    """The word for the other flank in the same spelling.

    >>> other_flank_word("L"), other_flank_word("Rechts"), other_flank_word("A")
    ('R', 'Links', None)
    """
    plain = word.casefold()
    for pair in _PAIRS:
        if plain in pair:
            other = pair[1 - pair.index(plain)]
            return other.upper() if word.isupper() else other.title() if word[:1].isupper() else other
    return None


def kind_of_words(text: str) -> TableKind | None:
    """Kind of table that a file name or title speaks of, where it is only one."""
    kinds = [kind for kind, pattern in KIND_WORDS if re.search(pattern, text.casefold())]
    return kinds[0] if len(kinds) == 1 else None
