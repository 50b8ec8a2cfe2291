"""Gears whose figures are too much alike: equal, equal but for a digit, or alike in their last digits."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Final

import numpy as np
import numpy.typing as npt

from gearqa.arrays import Array
from gearqa.incoming.plausibility.figures import Figures
from gearqa.model.plausibility import Check
from gearqa.statistics.figure_patterns import coincidence, tail_of_matches

Mask = npt.NDArray[np.bool_]
COPY_LEVEL: Final = 1e-4
"""Stricter than other checks: gears of one process are alike in several places at once."""
REPEATS_UM: Final = 0.1
"""Not even one gear measured again repeats better (common practice, no source)."""
FEWEST_PLACES: Final = 4
OFFSETS: Final = (0, 1, -1)
"""Steps by which a copied gear may have been moved."""
KINDS: Final = ("profile", "helix")
"""What may have been copied by itself."""
FEW_PAIRS: Final = 40
"""Fewer pairs do not show how often figures are equal: then what measurements repeat limits it."""
MOST_GEARS: Final = 400
"""Gears that are compared each with each."""
FOLLOWS: Final = ("profile_total", "helix_total")
"""Where form and slope are equal these follow: they count only without them."""


@dataclass(frozen=True, slots=True)
class Alike:
    """Two gears, or two flanks, with figures too much alike."""

    check: Check
    first: int
    second: int
    columns: tuple[int, ...]
    """Places of the first that match."""
    compared: int
    probability: float
    """Over all pairs that were compared."""
    offset: int
    """Steps between them."""


def copied_gears(figures: Figures) -> Iterator[Alike]:
    """Pairs of gears with more equal figures than chance gives."""
    every = _independent(figures)
    kinds = [[n for n in every if figures.places[n].parameter.startswith(kind)] for kind in KINDS]
    for columns in (every, *(some for some in kinds if len(some) < len(every))):
        if len(columns) < FEWEST_PLACES:
            continue
        counts, floor = figures.counts[:MOST_GEARS, columns], _floor(figures, columns)
        for offset in OFFSETS:
            share = 0.5 if columns is every and not offset else 0.1
            yield from _pairs("copied_gears", counts, counts, floor, columns, offset, share)
        if columns is every:
            yield from _pairs("digits_alike", counts, counts, np.maximum(floor, 0.1), columns, None, 1.0)


def copied_flanks(figures: Figures) -> Iterator[Alike]:
    """Left flanks whose figures are those of a right flank, of the same gear or another."""
    place = {one: number for number, one in enumerate(figures.places)}
    columns = [n for n in _independent(figures) if figures.places[n].flank == "left"]
    columns = [n for n in columns if figures.places[n]._replace(flank="right") in place]
    if len(columns) < FEWEST_PLACES:
        return
    twins = [place[figures.places[n]._replace(flank="right")] for n in columns]
    left, right = figures.counts[:MOST_GEARS, columns], figures.counts[:MOST_GEARS, twins]
    yield from _pairs("copied_flanks", left, right, _floor(figures, columns), columns, 0, 1.0)


def _independent(figures: Figures) -> list[int]:
    """Places that do not follow from others."""
    have = {(p.parameter, p.flank, p.tooth, p.basis) for p in figures.places}

    def follows(number: int) -> bool:
        place = figures.places[number]
        kind = place.parameter.partition("_")[0]
        rest = (place.flank, place.tooth, place.basis)
        return place.parameter in FOLLOWS and all((f"{kind}_{x}", *rest) in have for x in ("form", "slope"))

    return [number for number in range(len(figures.places)) if not follows(number)]


def _floor(figures: Figures, columns: Sequence[int]) -> Array:
    """What the chance of equal figures cannot exceed, however alike the gears are."""
    return np.array([coincidence(step, REPEATS_UM) for step in figures.steps[columns]])


def _pairs(
    check: Check,
    first: Array,
    second: Array,
    most: Array,
    columns: Sequence[int],
    offset: int | None,
    share: float,
) -> Iterator[Alike]:
    """Pairs of rows with too many matches; `offset` None compares last digits."""
    same = first is second
    rows = range(len(first))
    pairs = np.array(list(combinations(rows, 2) if same else product(rows, repeat=2)), dtype=np.int64)
    pairs = pairs.reshape(-1, 2)
    a, b = first[pairs[:, 0]], second[pairs[:, 1]]
    known = np.isfinite(a) & np.isfinite(b)
    apart = np.where(known, a - b, np.nan)
    match: Mask = (np.mod(apart, 10) == 0) if offset is None else (apart == offset)
    seen, of = match.sum(axis=0), known.sum(axis=0)
    compared, matches = known.sum(axis=1), match.sum(axis=1)
    # The cheap bound leaves few pairs to look at closely.
    for pair in np.flatnonzero((compared >= FEWEST_PLACES) & (matches > 0.5 * compared)).tolist():
        here = known[pair]
        # The pair itself does not count as evidence that it is usual.
        chance = (1 + seen - match[pair])[here] / of[here]
        if len(pairs) < FEW_PAIRS:
            chance = np.minimum(chance, most[here])
        i, j = pairs[pair].tolist()
        # Flanks of one gear are fewer than those of two gears, and the likelier copy.
        rivals = len(pairs) if same else 2 * len(first) if i == j else 2 * len(pairs)
        p = tail_of_matches(np.minimum(chance, 1.0), int(matches[pair])) * rivals / share
        if p <= COPY_LEVEL:
            equal = tuple(np.asarray(columns)[match[pair]].tolist())
            yield Alike(check, i, j, equal, int(compared[pair]), p, offset or 0)


def grouped(found: Sequence[Alike]) -> list[list[Alike]]:
    """Pairs that hang together: a gear that was copied twice is one question."""
    groups: dict[int, list[Alike]] = defaultdict(list)
    owner: dict[int, int] = {}
    for one in found:
        root = min(owner.get(one.first, one.first), owner.get(one.second, one.second))
        owner[one.first] = owner[one.second] = root
        groups[root].append(one)
    return list(groups.values())
