"""Results made of results: means, ratios, differences, ovality; covariance by shared inputs.

A scale that two lengths share cancels out of their ratio by itself and stays in their mean and,
in proportion, in their difference: nothing here says so, the shared keys do.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.uncertainty import MeasurementResult, Quantity, propagate

FloatArray = NDArray[np.float64]


def mean_of(results: Sequence[Quantity]) -> MeasurementResult:
    """Return the plain mean, for instance of one width over several beats."""
    unit = _one_unit(results, least=1)
    return propagate(_mean, results, unit=unit)


def ratio_of(numerator: Quantity, denominator: Quantity) -> MeasurementResult:
    """Return numerator over denominator, without unit."""
    _one_unit((numerator, denominator))
    _refuse_zero(denominator)
    return propagate(_ratio, [numerator, denominator], unit="1")


def ovality_of(largest: Quantity, smallest: Quantity) -> MeasurementResult:
    """Return 1 − smallest/largest: 0 for a circle."""
    _one_unit((largest, smallest))
    _refuse_zero(largest)
    return propagate(_ovality, [largest, smallest], unit="1")


def difference_of(later: Quantity, earlier: Quantity) -> MeasurementResult:
    """Return later minus earlier, for instance after filling minus before."""
    unit = _one_unit((later, earlier))
    return propagate(_difference, [later, earlier], unit=unit)


def change_percent(later: Quantity, earlier: Quantity) -> MeasurementResult:
    """Return the change relative to the earlier value, in percent."""
    _one_unit((later, earlier))
    _refuse_zero(earlier)
    return propagate(_percent, [later, earlier], unit="%")


def isoperimetric_ratio(area: Quantity, perimeter: Quantity) -> MeasurementResult:
    """Return 4πA/P²: 1 for a circle, less for any other closed curve, never more."""
    _refuse_zero(perimeter)
    return propagate(_isoperimetric, [area, perimeter], unit="1")


def _mean(*values: FloatArray) -> FloatArray:
    return np.asarray(sum(values) / len(values))


def _ratio(first: FloatArray, second: FloatArray) -> FloatArray:
    return first / second


def _ovality(largest: FloatArray, smallest: FloatArray) -> FloatArray:
    return 1.0 - smallest / largest


def _difference(later: FloatArray, earlier: FloatArray) -> FloatArray:
    return later - earlier


def _percent(later: FloatArray, earlier: FloatArray) -> FloatArray:
    return 100.0 * (later - earlier) / earlier


def _isoperimetric(area: FloatArray, perimeter: FloatArray) -> FloatArray:
    return 4.0 * np.pi * area / perimeter**2


def _one_unit(results: Sequence[Quantity], *, least: int = 2) -> str:
    units = {one.unit for one in results}
    if len(results) < least or len(units) != 1:
        raise InputError(
            f"Only results of one unit can be combined, got {', '.join(sorted(units)) or 'none'}: "
            "measure them under scales of one kind."
        )
    return units.pop()


def _refuse_zero(result: Quantity) -> None:
    if result.value == 0:
        raise InputError("A ratio to zero says nothing: check the points of that caliper.")
