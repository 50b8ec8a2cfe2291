"""The known word that somebody most likely meant."""

from __future__ import annotations

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The known word that is most like another one; empty where none is alike.

    >>> nearest("profil", ["profile", "helix"]), nearest("colour", ["profile", "helix"])
    ('profile', '')
    """
    from difflib import get_close_matches

    return next(iter(get_close_matches(word, list(known), n=1, cutoff=cutoff)), "")


def did_you_mean(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The question whether a known word was meant; empty where none is alike.

    >>> did_you_mean("profil", ["profile", "helix"])
    "did you mean 'profile'?"
    """
    meant = nearest(word, known, cutoff)
    return f"did you mean '{meant}'?" if meant else ""
