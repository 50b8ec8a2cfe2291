"""One tolerance over the classes of a system: the interface that all systems share."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping
from typing import Final

from gearqa.late_dataclass import dataclass

DECIMALS_COMPARED: Final = 9
"""Values are compared with limits after rounding, so that binary noise decides no class."""


@dataclass(frozen=True, slots=True)
class ToleranceRow:
    """Tolerances of one parameter of one gear, the finest class first. [um]"""

    first_class: int
    tolerances: tuple[float, ...]
    """As the system rounds them; a slope's is its magnitude."""
    exact: Callable[[float], float | None]
    """Real-valued class of a value, not clamped; None for a value of 0."""

    def tolerance(self, class_: int) -> float | None:
        """Tolerance of a class; None where the system has none.

        House definition.

        Parameters
        ----------
        class_ : int
            Class. [-]

        Returns
        -------
        float or None
            Rounded tolerance. [um]

        Examples
        --------
        >>> row = tabled_row(5, (6.0, 8.0, 11.0))
        >>> row.tolerance(6), row.tolerance(8)
        (8.0, None)
        """
        place = class_ - self.first_class
        return self.tolerances[place] if 0 <= place < len(self.tolerances) else None

    def class_of(self, value: float) -> int | None:
        """Smallest class whose rounded tolerance the magnitude of a value does not exceed.

        House rule, as ISO 1328-1:2013, clause 5 (from memory).

        Parameters
        ----------
        value : float
            Measured value; slopes count by magnitude. [um]

        Returns
        -------
        int or None
            Class; None beyond the last and for NaN. [-]

        Examples
        --------
        >>> row = tabled_row(5, (6.0, 8.0, 11.0))
        >>> row.class_of(-6.0), row.class_of(6.1), row.class_of(12.0)
        (5, 6, None)
        """
        return self.class_at(round(abs(value), DECIMALS_COMPARED))

    def class_at(self, magnitude: float) -> int | None:
        """The same of a magnitude that is rounded already.

        House rule, as ISO 1328-1:2013, clause 5 (from memory).

        Parameters
        ----------
        magnitude : float
            Magnitude of a measured value, rounded to nine decimals. [um]

        Returns
        -------
        int or None
            Class; None beyond the last and for NaN. [-]

        Examples
        --------
        >>> tabled_row(5, (6.0, 8.0, 11.0)).class_at(6.0)
        5
        """
        place = bisect_left(self.tolerances, magnitude)
        met = place < len(self.tolerances) and not math.isnan(magnitude)
        return place + self.first_class if met else None

    def nearest(self, tolerance: float) -> int | None:
        """Class whose tolerance comes nearest by ratio; a comparison of sizes, never a class of a value.

        House definition; half a step beyond the first or last class there is none.

        Parameters
        ----------
        tolerance : float
            Tolerance of another system, more than 0. [um]

        Returns
        -------
        int or None
            Class; None where no class is near. [-]

        Examples
        --------
        >>> row = tabled_row(5, (6.0, 8.0, 11.0))
        >>> row.nearest(8.4), row.nearest(12.0), row.nearest(16.0)
        (6, 7, None)
        """
        logs = [math.log(one) for one in self.tolerances]
        wanted = math.log(tolerance)
        below, above = (logs[1] - logs[0]) / 2, (logs[-1] - logs[-2]) / 2
        if not logs[0] - below <= wanted <= logs[-1] + above:
            return None
        place = min(range(len(logs)), key=lambda number: abs(logs[number] - wanted))
        return place + self.first_class


def tabled_row(first_class: int, tolerances: tuple[float, ...]) -> ToleranceRow:
    """A row without a formula for classes: the real-valued class lies between tabled ones by ratio.

    House definition: between two classes the logarithm of the tolerance is taken as straight.

    Parameters
    ----------
    first_class : int
        Class of the first tolerance. [-]
    tolerances : tuple of float
        Rising. [um]

    Returns
    -------
    ToleranceRow
        The row. [-]

    Examples
    --------
    >>> row = tabled_row(5, (6.0, 12.0))
    >>> row.exact(12.0), row.exact(24.0), row.exact(0.0)
    (6.0, 7.0, None)
    """

    def exact(value: float) -> float | None:
        if not round(value, DECIMALS_COMPARED):
            return None
        place = min(max(bisect_left(tolerances, abs(value)), 1), len(tolerances) - 1)
        low, high = tolerances[place - 1], tolerances[place]
        return first_class + place - 1 + math.log(abs(value) / low) / math.log(high / low)

    return ToleranceRow(first_class, tolerances, exact)


def geometric_row(first_class: int, tolerances: tuple[float, ...], T_5: float) -> ToleranceRow:
    r"""A row of classes in steps of the root of two, from the unrounded tolerance of class 5.

    ISO 1328-1:2013, clause 5 (from memory), solved for the class:
    :math:`A = 5 + 2\log_2(|v| / T_5)`.

    Parameters
    ----------
    first_class : int
        Class of the first tolerance. [-]
    tolerances : tuple of float
        Rounded tolerances. [um]
    T_5 : float
        Tolerance of class 5 before rounding. [um]

    Returns
    -------
    ToleranceRow
        The row. [-]

    Examples
    --------
    >>> row = geometric_row(5, (5.9, 8.5), 5.9)
    >>> row.exact(-11.8), row.exact(2.95), row.exact(0.0)
    (7.0, 3.0, None)
    """

    def exact(value: float) -> float | None:
        size = abs(value)
        return 5 + 2 * math.log2(size / T_5) if size > 1e-9 or round(size, DECIMALS_COMPARED) else None

    return ToleranceRow(first_class, tolerances, exact)


def table_of(rows: Mapping[str, ToleranceRow], classes: Iterable[int]) -> dict[int, dict[str, float]]:
    """Rounded tolerances by class, then by parameter.

    House definition.

    Parameters
    ----------
    rows : mapping of str to ToleranceRow
        By parameter key. [um]
    classes : iterable of int
        Classes. [-]

    Returns
    -------
    dict of int to dict of str to float
        Class -> parameter key -> tolerance, as far as there is one. [um]

    Examples
    --------
    >>> table_of({"runout": tabled_row(5, (6.0, 8.0))}, (5, 6, 7))
    {5: {'runout': 6.0}, 6: {'runout': 8.0}, 7: {}}
    """
    return {
        grade: {key: T for key, row in rows.items() if (T := row.tolerance(grade)) is not None}
        for grade in classes
    }
