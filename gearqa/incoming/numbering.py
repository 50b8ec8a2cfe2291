"""Flanks and teeth by their names and numbers, turned into ours."""

from __future__ import annotations

from dataclasses import dataclass

from gearqa.symbols import FLANKS, Flank


@dataclass(frozen=True, slots=True)
class Numbering:
    """How their names of flanks and their tooth numbers become ours."""

    swapped: bool = False
    """Left and right change places."""
    reversed: bool = False
    """Teeth are counted the other way round; tooth 1 stays."""
    shift: int = 0
    """Added to a tooth number (after reversing) to get ours."""

    def our_flank(self, flank: Flank) -> Flank:
        """Our name of a flank of theirs; the other way round it is the same.

        >>> Numbering(swapped=True).our_flank("left"), Numbering(shift=3).our_flank("left")
        ('right', 'left')
        """
        return FLANKS[FLANKS.index(flank) ^ self.swapped]

    def our_tooth(self, tooth: int, z: int) -> int:
        """Our number of a tooth of theirs, on a gear of z teeth.

        >>> Numbering(shift=22).our_tooth(1, 87), Numbering(reversed=True).our_tooth(2, 87)
        (23, 87)
        """
        number = 2 - tooth if self.reversed else tooth
        return (number + self.shift - 1) % z + 1
