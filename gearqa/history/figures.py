"""Key figures of a gear as they are stored: JSON, a list a figure in the order of parameter and flank, zlib.

Ten components a gear and more would be rows by the million; here a figure takes thirty bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from gearqa.evaluation.criteria import all_of
from gearqa.evaluation.observations import key_figures
from gearqa.evaluation.sizes import size_counted
from gearqa.history.stored_texts import unpacked
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.symbols import QUANTITIES

LEFT_OUT: Final = (None,) * 8
"""What is left out of a list that has no mean, by its length."""


class KeptFigure(NamedTuple):
    """A key figure, in the order of its list; `flank` is empty text where there is none.

    Mean and extremes are left out of a list where they are the value, and then what is None before them.
    """

    parameter: str
    flank: str
    value_um: float
    limit_low_um: float | None
    limit_high_um: float | None
    class_: int | None
    conforms: bool | None
    expanded_u_um: float | None
    mean_um: float
    min_um: float
    max_um: float


def figures_of(gear: GearResult, part: Part) -> list[list[Any]]:
    """Key figures per parameter and flank: what drift analysis needs, and the verdict."""
    found: list[list[Any]] = [
        [one.key, one.flank or "", one.value_um, *(() if one.u_um is None else (*LEFT_OUT[3:7], one.u_um))]
        for one in gear.components
    ]
    for key, flank, mean, low, high, (lower, upper), expanded, result in key_figures(gear, part, QUANTITIES):
        if result is not None:
            value, class_, conforms = result.value_um, result.class_, result.conforms
        else:  # the size
            sizes = size_counted(gear, part.tolerance.size)
            value, class_, conforms = mean, None, all_of([size.conforms for size in sizes])
        found.append(
            figure_list(key, flank or "", value, lower, upper, class_, conforms, expanded, mean, low, high)
        )
    found.sort()
    return found


def figure_list(
    parameter: str, flank: str, value: float, lower: float | None, upper: float | None, class_: int | None,
    conforms: bool | None, expanded: float | None, mean: float, low: float, high: float,
) -> list[Any]:  # fmt: skip
    """The list of a figure."""
    found: list[Any] = [parameter, flank, value, lower, upper, class_, conforms, expanded]
    if not mean == low == high == value:
        return [*found, mean, low, high]
    while found[-1] is None:
        found.pop()
    return found


def read_figures(data: bytes | None) -> Iterator[KeptFigure]:
    """The figures that were stored."""
    return map(KeptFigure._make, whole_lists(unpacked(data)) if data else ())


def whole_lists(figures: list[list[Any]]) -> list[list[Any]]:
    """Lists of figures with all that was left out of them."""
    for one in figures:
        if len(one) <= len(LEFT_OUT):
            value = one[2]
            one.extend((*LEFT_OUT[len(one) :], value, value, value))
    return figures
