"""The line between two readers or methods when both are in error.

Sources: W. E. Deming's line with a known ratio of error variances and jackknife standard errors
(K. Linnet, Clin Chem 1990;36:2136, from memory); H. Passing and W. Bablok, J Clin Chem Clin
Biochem 1983;21:709, from memory.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.agreement.estimate import FloatArray, Statistic, checked_probability, pairs
from annot.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonLine:
    """second = intercept + slope · first, with intervals."""

    intercept: Statistic
    slope: Statistic


def deming(
    first: ArrayLike, second: ArrayLike, *, variance_ratio: float = 1.0, probability: float = 0.95
) -> ComparisonLine:
    """Return Deming's line.

    Parameters
    ----------
    variance_ratio : float
        Error variance of the second readings over that of the first; 1 for two readers alike.

    Raises
    ------
    InputError
        If the readings do not vary together.
    """
    from scipy.special import stdtrit

    one, other = pairs(first, second, at_least=4)
    if not (math.isfinite(variance_ratio) and variance_ratio > 0):
        raise InputError(f"A ratio of variances is positive, not {variance_ratio:g}.")
    intercept, slope = _deming(one, other, variance_ratio)
    n = len(one)
    kept = ~np.eye(n, dtype=bool)
    left_out = np.array([_deming(one[row], other[row], variance_ratio) for row in kept])
    # pseudo-values: n times the whole less n − 1 times the rest
    pseudo = n * np.array([intercept, slope]) - (n - 1) * left_out
    errors = np.std(pseudo, axis=0, ddof=1) / math.sqrt(n)
    factor = float(stdtrit(n - 2, (1 + checked_probability(probability)) / 2))
    return ComparisonLine(
        intercept=_reaching(intercept, float(errors[0]), factor),
        slope=_reaching(slope, float(errors[1]), factor),
    )


def _deming(one: FloatArray, other: FloatArray, ratio: float) -> tuple[float, float]:
    x, y = one - one.mean(), other - other.mean()
    xx, yy, xy = float(x @ x), float(y @ y), float(x @ y)
    if xy == 0:
        raise InputError("The two readings do not vary together: no line joins them.")
    lean = yy - ratio * xx
    slope = (lean + math.sqrt(lean**2 + 4 * ratio * xy**2)) / (2 * xy)
    return float(other.mean() - slope * one.mean()), slope


def _reaching(value: float, u: float, factor: float) -> Statistic:
    return Statistic(value=value, low=value - factor * u, high=value + factor * u, u=u)


def passing_bablok(
    first: ArrayLike, second: ArrayLike, *, probability: float = 0.95
) -> ComparisonLine:
    """Return the line through the shifted median of all pairwise slopes.

    Assumes a rising relation and error variances in the ratio of the slope squared. Pairs with
    both readings equal have no slope and are left out; slopes of −1 are left out too and those
    below shift the median, as the authors have it.

    Raises
    ------
    InputError
        If there are too few slopes for the probability asked for.
    """
    from scipy.special import ndtri

    one, other = pairs(first, second, at_least=4)
    slopes, shift = _slopes(one, other)
    count, n = len(slopes), len(one)
    middle = shift + (count - 1) / 2
    if count == 0 or math.ceil(middle) >= count:
        raise InputError("The second readings fall where the first rise: no rising line exists.")
    slope = float(np.mean(slopes[[math.floor(middle), math.ceil(middle)]]))
    spread = math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    reach = float(ndtri((1 + checked_probability(probability)) / 2)) * spread
    lowest = round((count - reach) / 2)
    low, high = lowest + shift - 1, count - lowest + shift
    if not 0 <= low <= high < count:
        raise InputError(f"{n} pairs are too few for an interval of this probability.")
    return ComparisonLine(
        intercept=_crossing(one, other, (slope, float(slopes[low]), float(slopes[high]))),
        slope=Statistic(value=slope, low=float(slopes[low]), high=float(slopes[high])),
    )


def _slopes(one: FloatArray, other: FloatArray) -> tuple[FloatArray, int]:
    """Return the sorted pairwise slopes, and how many lie below −1."""
    first, second = np.triu_indices(len(one), k=1)
    dx, dy = one[second] - one[first], other[second] - other[first]
    some = (dx != 0) | (dy != 0)
    dx, dy = dx[some], dy[some]
    with np.errstate(divide="ignore"):
        slopes = np.where(dx == 0, np.copysign(np.inf, dy), dy / np.where(dx == 0, 1.0, dx))
    # −1 to the last bit: published test values come out with this reading of the rule only
    slopes = np.sort(slopes[slopes != -1])
    return slopes, int(np.sum(slopes < -1))


def _crossing(one: FloatArray, other: FloatArray, slopes: tuple[float, float, float]) -> Statistic:
    """Return the intercept as a median, its bounds from the slope's bounds the other way round."""
    value, high, low = (float(np.median(other - slope * one)) for slope in slopes)
    return Statistic(value=value, low=low, high=high)
