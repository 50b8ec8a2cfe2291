"""Pitch deviations from the index deviations of all teeth of one flank.

Index deviations F_1..F_z are positions of the teeth against their theoretical places, along the
arc, clockwise plus, in micrometres; any constant may be added. Arrays have the teeth last: shape
(..., z), tooth i at index i - 1. Every function closes the circle.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, IntArray
from gearqa.late_dataclass import dataclass

DECIMALS_COMPARED: Final = 9


def _first_largest(values: Array) -> IntArray:
    """Place of the largest value, the first one of equals: binary noise must not decide between them."""
    return np.asarray(np.argmax(np.round(values, DECIMALS_COMPARED), axis=-1), dtype=np.int64)


def single_pitches(index: Array) -> Array:
    """Individual single pitch deviations, tooth i against tooth i - 1.

    ISO 1328-1:2013, clause 3 (definition, from memory).

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]

    Returns
    -------
    ndarray, shape (..., z)
        f_i = F_i - F_(i-1), tooth 1 against tooth z. [um]

    Examples
    --------
    >>> single_pitches(np.array([3.0, 4.0, 8.0, 0.0])).tolist()
    [3.0, 1.0, 4.0, -8.0]
    """
    return index - np.roll(index, 1, axis=-1)


def index_from_single_pitches(single: Array) -> tuple[Array, float]:
    """Index deviations from the single pitch deviations of all teeth, and their closure error.

    ISO/TR 10064-1:1992 (from memory): the sum of all single pitches is zero on a closed circle; what
    is missing or left over is spread evenly over them, then they are summed from tooth 1.

    Parameters
    ----------
    single : ndarray, shape (z,)
        Measured single pitches, tooth i against tooth i - 1; NaN where there is none. [um]

    Returns
    -------
    index : ndarray, shape (z,)
        Index deviations; that of tooth z is 0. [um]
    closure : float
        Sum of the measured pitches. [um]

    Notes
    -----
    Where pitches are missing, the index is summed from both sides as far as it goes, nothing is
    spread, and the teeth it does not reach are NaN.

    Examples
    --------
    >>> index, closure = index_from_single_pitches(np.array([4.0, 2.0, 5.0, 1.0]))
    >>> index.tolist(), closure
    ([1.0, 0.0, 2.0, 0.0], 12.0)
    """
    missing = np.flatnonzero(np.isnan(single))
    if not len(missing):
        closure = math.fsum(single.tolist())
        return np.cumsum(single - closure / len(single)), closure
    first, last = missing[0], missing[-1]
    index = np.full(len(single), np.nan)
    index[:first] = np.cumsum(single[:first])
    if last + 1 < len(single):
        # backwards from tooth z, whose index is 0 on a closed circle
        tail = single[last + 1 :]
        index[last + 1 :] = np.append(-np.cumsum(tail[:0:-1])[::-1], 0.0)
    return index, 0.0


@dataclass(frozen=True, eq=False, slots=True)
class Worst:
    """A largest value and its place, each of shape (...); teeth are numbered from 1."""

    value: Array
    tooth: IntArray
    tooth_to: IntArray | None = None


def f_p(index: Array) -> Worst:
    """Single pitch deviation: the largest magnitude of the individual ones.

    ISO 1328-1:2013, clause 3 (definition, from memory).

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]

    Returns
    -------
    Worst
        Value and the tooth i of the pitch between i - 1 and i. [um]

    Examples
    --------
    >>> worst = f_p(np.array([3.0, 4.0, 8.0, 0.0]))
    >>> float(worst.value), int(worst.tooth)
    (8.0, 4)
    """
    return _worst(np.abs(single_pitches(index)))


def f_u(index: Array) -> Worst:
    """Adjacent pitch difference: the largest one between neighbouring single pitches.

    ISO 1328-1:2013, annex on adjacent pitch difference (from memory).

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]

    Returns
    -------
    Worst
        Value and the tooth i of the second of both pitches. [um]

    Examples
    --------
    >>> worst = f_u(np.array([3.0, 4.0, 8.0, 0.0]))
    >>> float(worst.value), int(worst.tooth)
    (12.0, 4)
    """
    return _worst(np.abs(single_pitches(single_pitches(index))))


def F_p(index: Array) -> Worst:
    """Total cumulative pitch deviation: the range of the index deviations.

    ISO 1328-1:2013, clause 3 (definition, from memory).

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]

    Returns
    -------
    Worst
        Value, the tooth of the maximum and the tooth of the minimum. [um]

    Examples
    --------
    >>> worst = F_p(np.array([3.0, 4.0, 8.0, 0.0]))
    >>> float(worst.value), int(worst.tooth), int(worst.tooth_to)
    (8.0, 3, 4)
    """
    return value_range(index)


def value_range(values: Array) -> Worst:
    """Range of values round the gear with the places of its maximum and minimum.

    Elementary definition of a range.

    Parameters
    ----------
    values : ndarray, shape (..., z)
        Values. [um]

    Returns
    -------
    Worst
        Maximum less minimum, place of the maximum, place of the minimum. [um]

    Examples
    --------
    >>> float(value_range(np.array([2.0, -1.5, 0.0])).value)
    3.5
    """
    return Worst(
        values.max(axis=-1) - values.min(axis=-1), _first_largest(values) + 1, _first_largest(-values) + 1
    )


def F_pk(index: Array, k: int) -> Worst:
    """Largest cumulative pitch deviation over exactly k pitches.

    ISO 1328-1:2013, annex on sector pitch (from memory).

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]
    k : int
        Number of pitches. [-]

    Returns
    -------
    Worst
        Value, the tooth of the larger and the tooth of the smaller index deviation. [um]

    Examples
    --------
    >>> worst = F_pk(np.array([3.0, 4.0, 8.0, 0.0]), k=2)
    >>> float(worst.value), int(worst.tooth), int(worst.tooth_to)
    (5.0, 3, 1)
    """
    z = index.shape[-1]
    rise = np.roll(index, -k, axis=-1) - index
    start = _first_largest(np.abs(rise))
    value = np.take_along_axis(rise, start[..., None], axis=-1)[..., 0]
    end = (start + k) % z
    rising = value > 0
    return Worst(np.abs(value), np.where(rising, end, start) + 1, np.where(rising, start, end) + 1)


def tooth_angles(z: int) -> Array:
    """Clockwise angles of the teeth, tooth 1 at 0.

    House rule: clockwise, looking onto the datum face (as ISO/TR 10064-1:1992 numbers teeth, from memory).

    Parameters
    ----------
    z : int
        Number of teeth. [-]

    Returns
    -------
    ndarray, shape (z,)
        Angles. [rad]

    Examples
    --------
    >>> np.degrees(tooth_angles(4)).tolist()
    [0.0, 90.0, 180.0, 270.0]
    """
    return 2 * np.pi * np.arange(z) / z


def first_harmonic(index: Array) -> tuple[Array, Array]:
    r"""Amplitude and clockwise crest angle of the first harmonic of the index deviations.

    Elementary: Fourier sum over equally spaced teeth,
    :math:`F_i \sim A\cos(\theta_i - \psi)`, :math:`A\ge 0`.

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]

    Returns
    -------
    amplitude : ndarray, shape (...)
        A. [um]
    angle : ndarray, shape (...)
        Crest angle, 0 to 2 pi. [rad]

    Examples
    --------
    >>> A, psi = first_harmonic(5 * np.cos(tooth_angles(20) - np.radians(40)))
    >>> round(float(A), 9), round(float(np.degrees(psi)), 9)
    (5.0, 40.0)
    """
    Z = _first_harmonic(index, tooth_angles(index.shape[-1]))
    return np.abs(Z), np.mod(-np.angle(Z), 2 * np.pi)


def without_first_harmonic(index: Array) -> Array:
    """Index deviations after taking out their first harmonic.

    Elementary: Fourier sum over equally spaced teeth, see `first_harmonic`.

    Parameters
    ----------
    index : ndarray, shape (..., z)
        Index deviations. [um]

    Returns
    -------
    ndarray, shape (..., z)
        What is left. [um]

    Examples
    --------
    >>> left = without_first_harmonic(2 + 5 * np.cos(tooth_angles(20) - 0.7))
    >>> bool(np.allclose(left, 2, rtol=0, atol=1e-12))
    True
    """
    theta = tooth_angles(index.shape[-1])
    Z = _first_harmonic(index, theta)
    return np.asarray(index - np.real(Z[..., None] * np.exp(1j * theta)))


def _first_harmonic(index: Array, theta: Array) -> NDArray[np.complex128]:
    """Complex amplitude A exp(-j psi)."""
    about_mean = index - index.mean(axis=-1, keepdims=True)
    return np.asarray(2 / index.shape[-1] * (about_mean @ np.exp(-1j * theta)))


def _worst(magnitudes: Array) -> Worst:
    place = _first_largest(magnitudes)
    return Worst(np.take_along_axis(magnitudes, place[..., None], axis=-1)[..., 0], place + 1)
