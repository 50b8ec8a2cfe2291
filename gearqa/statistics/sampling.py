"""Acceptance sampling: plans by attributes and variables, and their operating characteristic."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from gearqa.errors import OutOfScopeError
from gearqa.statistics import binomial, noncentral_t
from gearqa.statistics.counting import smallest_count
from gearqa.wording.numbers import short_text

LARGEST_INT = 2**31 - 1
"""Sample that the binomial distribution of the library takes; of a larger one it says nan."""
CODE_LETTERS = "ABCDEFGHJKLMNPQR"
SAMPLE_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
AQL_PERCENT = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
ACCEPTANCE_NUMBERS = (1, 2, 3, 5, 7, 10, 14, 21)
EDITION = "ISO 2859-1:1999, single sampling, normal inspection (master table as in MIL-STD-105E)"

Level = Literal["S-1", "S-2", "S-3", "S-4", "I", "II", "III"]
LEVELS: tuple[Level, ...] = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
# largest lot size of a row, and its letters for the levels above: ISO 2859-1:1999, table 1
_CODE_LETTER_ROWS: tuple[tuple[int | None, str], ...] = (
    (8, "AAAAAAB"),
    (15, "AAAAABC"),
    (25, "AABBBCD"),
    (50, "ABBCCDE"),
    (90, "BBCCCEF"),
    (150, "BBCDDFG"),
    (280, "BCDEEGH"),
    (500, "BCDEFHJ"),
    (1200, "CCEFGJK"),
    (3200, "CDEGHKL"),
    (10000, "CDFGJLM"),
    (35000, "CDFHKMN"),
    (150000, "DEGJLNP"),
    (500000, "DEGJMPQ"),
    (None, "DEHKNQR"),
)


@dataclass(frozen=True, slots=True)
class AttributesPlan:
    """A single sampling plan by attributes: accept if at most `ac` of `n` are nonconforming."""

    n: int
    """Sample size. [-]"""
    ac: int
    """Acceptance number. [-]"""
    letter: str | None = None
    """Code letter of the plan used. [-]"""
    start_letter: str | None = None
    """Code letter that lot size and level gave, before arrows were followed. [-]"""

    @property
    def re(self) -> int:
        """Rejection number. [-]"""
        return self.ac + 1


def code_letter(lot_size: int, level: Level = "II") -> str:
    """Code letter of the sample size.

    ISO 2859-1:1999, table 1 (from memory).

    Parameters
    ----------
    lot_size : int
        Items in the lot, at least 2. [-]
    level : str
        Inspection level: S-1 to S-4, I, II, III. [-]

    Returns
    -------
    str
        Letter A to R, without I and O. [-]

    Raises
    ------
    OutOfScopeError
        For a lot of fewer than 2.

    Examples
    --------
    >>> code_letter(400), code_letter(400, "III"), code_letter(400, "S-3")
    ('H', 'J', 'D')
    """
    if lot_size < 2:
        raise OutOfScopeError("lot size", lot_size, 2, math.inf, "ISO 2859-1, table 1")
    column = LEVELS.index(level)
    for largest, letters in _CODE_LETTER_ROWS:
        if largest is None or lot_size <= largest:
            return letters[column]
    raise AssertionError("the last row has no end")


def normal_single_plan(letter: str, aql_percent: float) -> AttributesPlan:
    """Single sampling plan for normal inspection, arrows followed.

    ISO 2859-1:1999, table 2-A (from memory): acceptance numbers are constant on the diagonals of the table
    (sample size code plus AQL step), so one rule gives every cell.

    Parameters
    ----------
    letter : str
        Code letter. [-]
    aql_percent : float
        Acceptance quality limit, a preferred value from 0.010 to 10. [%]

    Returns
    -------
    AttributesPlan
        Sample size, acceptance number, letter of the plan really used. [-]

    Raises
    ------
    OutOfScopeError
        If the AQL is no preferred value, or an arrow leads beyond letter R.

    Notes
    -----
    The edition of 2026 was not at hand; whether cells changed in it is not known.

    Examples
    --------
    >>> plan = normal_single_plan("H", 1.0)
    >>> plan.n, plan.ac, plan.letter
    (50, 1, 'H')
    >>> plan = normal_single_plan("J", 0.40)
    >>> plan.n, plan.ac, plan.letter, plan.start_letter
    (125, 1, 'K', 'J')
    """
    step = next((i for i, a in enumerate(AQL_PERCENT) if math.isclose(a, aql_percent, rel_tol=1e-9)), None)
    if step is None:
        raise OutOfScopeError(
            "AQL (%)", aql_percent, AQL_PERCENT[0], AQL_PERCENT[-1], "ISO 2859-1",
            "is none of the preferred values " + ", ".join(short_text(a) for a in AQL_PERCENT),
        )  # fmt: skip
    index = CODE_LETTERS.index(letter)
    if letter == "A" and step == 15:
        index += 1  # there is no zero-acceptance plan above this cell: its arrow points down
    while True:
        if not 0 <= index < len(CODE_LETTERS):
            raise OutOfScopeError(
                "AQL (%)", aql_percent, AQL_PERCENT[0], AQL_PERCENT[-1], "ISO 2859-1, table 2-A",
                f"has no plan: the arrow from letter {letter} leads out of the table",
            )  # fmt: skip
        diagonal = index + step
        if diagonal == 14:
            ac = 0
        elif 17 <= diagonal <= 24:
            ac = ACCEPTANCE_NUMBERS[diagonal - 17]
        else:
            index += 1 if diagonal < 14 or diagonal == 16 else -1
            continue
        return AttributesPlan(SAMPLE_SIZES[index], ac, CODE_LETTERS[index], letter)


def isolated_lot_plan(lot_size: int | None, limiting_quality: float = 0.05, consumer_risk: float = 0.10,
                      ac: int = 0) -> AttributesPlan:  # fmt: skip
    """Smallest sample that accepts a lot of limiting quality with at most the consumer's risk.

    Own computed plan, not a table of a standard; exact hypergeometric probability for the lot
    (binomial if its size is not known), as ISO 2859-2 does in principle (from memory).

    Parameters
    ----------
    lot_size : int or None
        Items in the lot; None if not known. [-]
    limiting_quality : float
        Share of nonconforming items that should rarely be accepted. [-]
    consumer_risk : float
        Probability of acceptance allowed at that share. [-]
    ac : int
        Acceptance number. [-]

    Returns
    -------
    AttributesPlan
        Sample size and acceptance number; the whole lot where no sample is enough. [-]

    Examples
    --------
    >>> isolated_lot_plan(100).n, isolated_lot_plan(400).n, isolated_lot_plan(None).n
    (37, 43, 45)
    """
    bad = 0 if lot_size is None else math.ceil(round(limiting_quality * lot_size, 9))

    def met(n: int) -> bool:
        risk = passes(n, ac, limiting_quality) if lot_size is None else passes_lot(n, ac, lot_size, bad)
        return risk <= consumer_risk + 1e-12  # a risk met exactly is met

    last = ac + 1 if lot_size is None else lot_size
    while lot_size is None and not met(last):
        last *= 2
    return AttributesPlan(smallest_count(met, ac, last), ac)


def passes(n: int, ac: int, fraction: float) -> float:
    """Probability that a plan accepts: the operating characteristic for a process.

    NIST/SEMATECH e-Handbook 6.2.3.1 (from memory), binomial (type B).

    Parameters
    ----------
    n, ac : int
        Sample size and acceptance number. [-]
    fraction : float
        Fraction nonconforming of the process. [-]

    Returns
    -------
    float
        Probability of acceptance. [-]

    Examples
    --------
    >>> round(passes(45, 0, 0.01), 2)
    0.64
    """
    if ac >= n:
        return 1.0
    if n <= LARGEST_INT:
        return float(special.bdtr(ac, n, fraction))
    return float(special.betaincc(ac + 1, n - ac, fraction))


def passes_lot(n: int, ac: int, lot_size: int, bad: int) -> float:
    """Probability that a plan accepts a given lot.

    Hypergeometric operating characteristic (type A), ISO 2859-2 (from memory).

    Parameters
    ----------
    n, ac, lot_size, bad : int
        Sample size, acceptance number, items and nonconforming items in the lot. [-]

    Returns
    -------
    float
        Probability of acceptance. [-]

    Examples
    --------
    >>> round(passes_lot(43, 0, 400, 20), 4)
    0.0969
    """
    return binomial.hypergeometric_cdf(ac, lot_size, bad, n)


def passes_lot_as_measured(n: int, ac: int, lot_size: int, bad: int, refused: tuple[float, float]) -> float:
    """Probability that a plan accepts a given lot where measuring may be wrong about a gear.

    Hypergeometric number of bad items in the sample, each item refused by chance: Hald, Statistical Theory
    of Sampling Inspection by Attributes (1981), inspection errors (from memory).

    Parameters
    ----------
    n, ac, lot_size, bad : int
        Sample size, acceptance number, items and nonconforming items in the lot. [-]
    refused : tuple of float
        How often a nonconforming item is refused, and how often a conforming one. [-]

    Returns
    -------
    float
        Probability of acceptance. [-]

    Examples
    --------
    >>> round(passes_lot_as_measured(43, 0, 400, 20, (1.0, 0.0)), 4)
    0.0969
    >>> round(passes_lot_as_measured(43, 0, 400, 20, (0.5, 0.0)), 4)
    0.327
    """
    low, high = max(0, n - (lot_size - bad)), min(n, bad)
    below = [binomial.hypergeometric_cdf(k, lot_size, bad, n) for k in range(low - 1, high + 1)]
    total = 0.0
    for k, share in zip(range(low, high + 1), np.diff(below), strict=True):
        counts = range(min(ac, k) + 1)
        ways = (_binomial(i, k, refused[0]) * passes(n - k, ac - i, refused[1]) for i in counts)
        total += float(share) * sum(ways)
    return min(1.0, max(0.0, total))


def _binomial(count: int, n: int, p: float) -> float:
    return math.comb(n, count) * p**count * (1 - p) ** (n - count)


def quality_at(n: int, ac: int, acceptance: float) -> float:
    """Fraction nonconforming that a plan accepts with a given probability.

    NIST/SEMATECH e-Handbook 6.2.3.1 (from memory): the operating characteristic turned round.

    Parameters
    ----------
    n, ac : int
        Sample size and acceptance number. [-]
    acceptance : float
        Probability of acceptance: 0.95 producer's point, 0.10 consumer's point. [-]

    Returns
    -------
    float
        Fraction nonconforming; 1 if the plan accepts everything. [-]

    Examples
    --------
    >>> round(100 * quality_at(80, 2, 0.95), 4), round(100 * quality_at(80, 2, 0.10), 4)
    (1.0298, 6.5160)
    """
    return 1.0 if ac >= n else binomial.upper_bound(ac, n, 1 - acceptance)


def variables_passes(n: int, k: float, fraction: float) -> float:
    """Probability of acceptance of a plan by variables, one limit, standard deviation unknown.

    ISO 3951-1:2013, s-method (from memory), exact by the noncentral t distribution.

    Parameters
    ----------
    n : int
        Sample size. [-]
    k : float
        Acceptability constant: accept if (U - mean)/sd >= k. [-]
    fraction : float
        Fraction nonconforming of a normal process. [-]

    Returns
    -------
    float
        Probability of acceptance. [-]

    Examples
    --------
    >>> round(variables_passes(20, 1.6, 0.02), 6)
    0.916163
    """
    root = math.sqrt(n)
    return float(1 - special.nctdtr(n - 1, -root * float(special.ndtri(fraction)), root * k))


def variables_quality_at(n: int, k: float, acceptance: float) -> float:
    """Fraction nonconforming that a plan by variables accepts with a given probability.

    ISO 3951-1:2013, s-method (from memory): `variables_passes` turned round.

    Parameters
    ----------
    n : int
        Sample size. [-]
    k, acceptance : float
        Acceptability constant and probability of acceptance. [-]

    Returns
    -------
    float
        Fraction nonconforming of a normal process. [-]

    Examples
    --------
    >>> round(variables_quality_at(20, 1.6, 0.916163), 6)
    0.02
    """
    root = math.sqrt(n)
    return float(special.ndtr(-noncentral_t.noncentrality(1 - acceptance, n - 1, root * k) / root))
