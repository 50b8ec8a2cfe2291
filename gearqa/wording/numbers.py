"""Numbers as people read them: one place for digits, signs and units.

A printed value never seems to contradict its verdict: when rounding would carry it across a limit
it gets more digits.
"""

from __future__ import annotations

from collections.abc import Iterable

from gearqa.symbols import quantity_of

Limits = tuple[float, float]

DECIMALS = 2
"""Decimals of a deviation in micrometres: a tenth of what a gear measuring instrument can tell apart."""
MOST_DECIMALS = 9
"""Values are compared with limits after rounding to nine decimals, so more digits never matter."""
DASH = "–"


def value_text(value: float, *, signed: bool = False, limits: Iterable[Limits | None] = ()) -> str:
    """Deviation in micrometres, with as many digits as its place against `limits` needs.

    >>> value_text(9.4961), value_text(9.504, limits=[(0.0, 9.5)]), value_text(2.1, signed=True)
    ('9.50', '9.504', '+2.10')
    """
    known = [pair for pair in limits if pair is not None]
    exact = round(value, MOST_DECIMALS)
    for decimals in range(DECIMALS, MOST_DECIMALS + 1):
        shown = round(value, decimals)
        if all(_side(shown, pair) == _side(exact, pair) for pair in known):
            break
    if shown == 0:
        return f"{0:.{decimals}f}"
    return f"{shown:{'+' if signed else ''}.{decimals}f}"


def margin_text(margin_um: float) -> str:
    """Margin of a trace to its limit curves, which must not be below 0.

    >>> margin_text(1.204), margin_text(-0.0004)
    ('+1.20', '-0.0004')
    """
    return value_text(margin_um, signed=True, limits=[(0.0, float("inf"))])


def zone_value(value_um: float, tolerance_um: float) -> str:
    """A deviation within a zone, which must not exceed its tolerance.

    >>> zone_value(2.4, 3.0), zone_value(3.0004, 3.0)
    ('2.40', '3.0004')
    """
    return value_text(value_um, limits=[(0.0, tolerance_um)])


def _side(value: float, limits: Limits) -> int:
    return -1 if value < limits[0] else 1 if value > limits[1] else 0


def tolerance_text(tolerance: float) -> str:
    """Tolerance as the standard prints it: whole numbers from 10 on, else one decimal.

    >>> tolerance_text(12.0), tolerance_text(9.5), tolerance_text(4.2)
    ('12', '9.5', '4.2')
    """
    exact = number_text(tolerance)
    return f"{tolerance:.1f}" if tolerance < 10 and len(exact) <= len(f"{tolerance:.1f}") else exact


def number_text(value: float, *, signed: bool = False) -> str:
    """A number as it was written in a file, without padding.

    >>> number_text(4.0, signed=True), number_text(0.75), number_text(1e-7)
    ('+4', '0.75', '0.0000001')
    """
    text = f"{value:{'+' if signed and value else ''}.9f}".rstrip("0").rstrip(".")
    return text if text not in {"-0", ""} else "0"


def signed_text(value: float, decimals: int) -> str:
    """A number with its sign and so many decimals; zero has none.

    >>> signed_text(6.384, 1), signed_text(-42.8, 0), signed_text(-0.04, 1)
    ('+6.4', '-43', '0.0')
    """
    shown = round(value, decimals)
    return f"{shown:+.{decimals}f}" if shown else f"{0:.{decimals}f}"


def fixed_text(value: float, decimals: int = DECIMALS) -> str:
    """A number with so many decimals; zero has no sign.

    >>> fixed_text(0.155), fixed_text(-0.0004, 3), fixed_text(12.0, 0)
    ('0.15', '0.000', '12')
    """
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def range_text(low: float, high: float, decimals: int = DECIMALS) -> str:
    """From one number to another, with so many decimals.

    >>> range_text(1.6, 30.4), range_text(-0.5, 2.0, 1)
    ('1.60 to 30.40', '-0.5 to 2.0')
    """
    return f"{fixed_text(low, decimals)} to {fixed_text(high, decimals)}"


def short_text(value: float, digits: int = 6, *, signed: bool = False) -> str:
    """A number with so many digits that count, as short as it can be written; zero has no sign.

    >>> short_text(20.0), short_text(-0.0), short_text(1234.5678, 4), short_text(0.4, signed=True)
    ('20', '0', '1235', '+0.4')
    """
    return f"{value:{'+' if signed else ''}.{digits}g}" if value else "0"


def unit_text(unit: str) -> str:
    """A unit of an input as people write it.

    >>> unit_text("um"), unit_text("mm")
    ('µm', 'mm')
    """
    return "µm" if unit == "um" else unit


def um_text(value: float, decimals: int = DECIMALS, *, signed: bool = False) -> str:
    """A deviation with its unit.

    >>> um_text(0.25, 1), um_text(1.5, signed=True)
    ('0.2 µm', '+1.50 µm')
    """
    return f"{signed_text(value, decimals) if signed else fixed_text(value, decimals)} µm"


def interval_text(pair: tuple[float, float | None] | None, *, signed: bool = True) -> str:
    """An interval of deviations in micrometres; a dash where it has no end, or where there is none.

    >>> interval_text((-0.5, 1.2)), interval_text((0.44, None), signed=False), interval_text(None)
    ('-0.50 to +1.20', '0.44 to –', '–')
    """
    if pair is None:
        return DASH
    return " to ".join(DASH if end is None else value_text(end, signed=signed) for end in pair)


def share_text(share: float, digits: int = 3) -> str:
    """A share in percent.

    >>> share_text(0.0042653), share_text(0.1745958), share_text(0.05)
    ('0.427 %', '17.5 %', '5 %')
    """
    return f"{short_text(100 * share, digits)} %"


def chance_text(chance: float) -> str:
    """A chance in percent, of small ones only that it is small.

    >>> chance_text(0.0043), chance_text(2e-13)
    ('0.4 %', 'below 0.1 %')
    """
    return "below 0.1 %" if chance < 0.001 else share_text(chance, 2 if chance >= 0.01 else 1)


def cases_text(probability: float) -> str:
    """A probability as cases of a hundred, never a full hundred or none.

    >>> cases_text(0.886), cases_text(0.9999), cases_text(0.004), cases_text(1.0)
    ('89 of 100 cases', '99.99 of 100 cases', '0.40 of 100 cases', '100 of 100 cases')
    """
    hundred = 100 * probability
    if hundred in {0.0, 100.0} or 0.5 <= hundred <= 99.5:
        return f"{hundred:.0f} of 100 cases"
    if 0.005 <= hundred < 99.995:
        return f"{hundred:.2f} of 100 cases"
    return f"{'fewer than 0.01' if hundred < 50 else 'more than 99.99'} of 100 cases"


def large_text(value: float) -> str:
    """A large number to two digits, in groups of three.

    >>> large_text(50165.58), large_text(940.0)
    ('50 000', '940')
    """
    return f"{float(f'{value:.2g}'):,.0f}".replace(",", " ")


def size_mm_text(value: float) -> str:
    """A size of teeth in mm, to a tenth of a micrometre.

    >>> size_mm_text(155.81)
    '155.8100'
    """
    return fixed_text(value, 4)


def tolerance_limits(key: str, tolerance: float | None) -> Limits | None:
    """Limits that a tolerance means: slopes by magnitude, the rest from zero."""
    if tolerance is None:
        return None
    return (-tolerance, tolerance) if quantity_of(key).signed else (0.0, tolerance)


def allowed_text(key: str, tolerance: float | None, limits: Limits | None) -> str:
    """What is allowed: a tolerance, or the limits of the drawing.

    >>> allowed_text("helix_slope", 9.5, None), allowed_text("runout", 32.0, None)
    ('±9.5', '32')
    >>> allowed_text("profile_slope", None, (-6.0, 4.0)), allowed_text("runout", None, (0.0, 25.0))
    ('-6 to +4', '25')
    """
    if limits is None and tolerance is None:
        return DASH
    if limits is None:
        assert tolerance is not None
        return ("±" if quantity_of(key).signed else "") + tolerance_text(tolerance)
    low, high = limits
    if low == -high:
        return f"±{number_text(high)}"
    if low == 0 and not quantity_of(key).signed:
        return number_text(high)
    return f"{number_text(low, signed=True)} to {number_text(high, signed=True)}"


def class_text(grade: int | None, beyond: bool | None, *, complete: bool = True) -> str:
    """Flank tolerance class; a star says that something graded was not assessed.

    >>> class_text(5, False), class_text(None, True), class_text(None, None)
    ('5', 'beyond', '–')
    >>> class_text(5, False, complete=False)
    '5*'
    """
    text = "beyond" if beyond else DASH if grade is None else str(grade)
    return text if complete or text == DASH else f"{text}*"


def count_text(number: int, one: str, many: str = "") -> str:
    """A count with its noun.

    >>> count_text(1, "gear"), count_text(12, "gear")
    ('1 gear', '12 gears')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def use_of_tolerance(key: str, value: float, tolerance: float | None, limits: Limits | None) -> float | None:
    """Share of what is allowed that a value uses up; above 1 it is outside."""
    pair = limits if limits is not None else tolerance_limits(key, tolerance)
    if pair is None:
        return None
    low, high = pair
    if low == 0 and not quantity_of(key).signed:
        return value / high
    return abs(value - (low + high) / 2) / ((high - low) / 2)


def percent_text(share: float) -> str:
    """A share in percent: whole, but never 100 % for what is not exactly on or beyond the limit.

    >>> percent_text(0.633), percent_text(0.9996), percent_text(1.0001), percent_text(1.2)
    ('63 %', '99.96 %', '100.01 %', '120 %')
    """
    for decimals in range(7):
        shown = round(share * 100, decimals)
        if (shown > 100) == (share > 1) and (shown < 100) == (share < 1):
            return f"{shown:.{decimals}f} %"
    return "100 %"


def largest_text(largest: float) -> str:
    """The range of a number of either sign.

    >>> largest_text(1e6)
    '-1 000 000 to 1 000 000'
    """
    text = f"{largest:,.0f}".replace(",", " ")
    return f"-{text} to {text}"
