"""The known key that an unknown one most likely stands for."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Final

from gearqa.wording.nearest import nearest

_SHARED: Final = 0.6
"""Share of the words of a key that must be found in the other one."""
_ALIKE: Final = 0.75
"""Similarity from which two words count as the same."""
_SHORTEST_WORD: Final = 3
_UNIT_WORDS: Final = frozenset({"deg", "mm", "um"})


def nearest_key(key: str, known: Sequence[str]) -> str:
    """The known key that an unknown one most likely stands for; empty where none is near.

    >>> known = ["teeth", "normal_module_mm", "face_width_mm", "helix_angle_deg", "tip_diameter_mm"]
    >>> [nearest_key(key, known) for key in ("face_with_mm", "modul", "Tip-Dia", "number_of_teeth", "colour")]
    ['face_width_mm', 'normal_module_mm', 'tip_diameter_mm', 'teeth', '']
    """
    folded = {k.lower().replace("-", "_"): k for k in known}
    meant = key.lower().replace("-", "_")
    alike = nearest(meant, folded, 0.55)
    if alike:
        return folded[alike]
    shares = {name: _shared_words(meant, name) for name in folded}
    best = max(shares, key=lambda name: shares[name], default="")
    return folded[best] if best and max(shares[best]) >= _SHARED else ""


def _shared_words(one: str, other: str) -> tuple[float, float]:
    """Shares of the words of each key that the other one has too, the larger first; no units."""
    mine, theirs = (
        [word for word in name.split("_") if len(word) >= _SHORTEST_WORD and word not in _UNIT_WORDS]
        for name in (one, other)
    )
    if not mine or not theirs:
        return 0.0, 0.0
    shares = (
        sum(any(_same_word(word, its) for its in words) for word in own) / len(own)
        for own, words in ((mine, theirs), (theirs, mine))
    )
    large, small = sorted(shares, reverse=True)
    return large, small


def _same_word(one: str, other: str) -> bool:
    return (
        one.startswith(other)
        or other.startswith(one)
        or difflib.SequenceMatcher(None, one, other).ratio() >= _ALIKE
    )
