"""Limits of agreement between two readings of the same cases.

Sources: J. M. Bland and D. G. Altman, Lancet 1986;i:307 and Stat Methods Med Res 1999;8:135
(sections 2, 3.1 and 3.2). The exact interval of a limit follows from the noncentral t
distribution, as for any quantile of a normal population.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from annot.agreement.estimate import FloatArray, Statistic, checked_probability, numbers, pairs
from annot.errors import InputError

MULTIPLIER = 1.96  # the 1999 paper's; the 1986 one rounds to 2


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsOfAgreement:
    """Where 95 % of the differences, first minus second reading, are expected.

    Attributes
    ----------
    n : int
        Pairs of readings (cases where readings are replicated).
    bias : Statistic
        Mean difference.
    sd : float
        Standard deviation of a difference between two single readings.
    lower, upper : Statistic
        Bias − and + `multiplier` · `sd`, each with its own confidence interval.
    multiplier : float
    unit : {"difference", "ratio"}
        A ratio's limits are those of first over second reading.
    """

    n: int
    bias: Statistic
    sd: float
    lower: Statistic
    upper: Statistic
    multiplier: float
    unit: str = "difference"


def limits_of_agreement(
    first: ArrayLike,
    second: ArrayLike,
    *,
    multiplier: float = MULTIPLIER,
    probability: float = 0.95,
) -> LimitsOfAgreement:
    """Return bias and limits of agreement of single readings, with exact intervals.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Readings of the same cases in the same order and unit, n ≥ 3.

    Raises
    ------
    InputError
        If the readings do not pair or are not finite.
    """
    one, other = pairs(first, second)
    return limits_of_differences(one - other, multiplier=multiplier, probability=probability)


def limits_of_differences(
    differences: ArrayLike, *, multiplier: float = MULTIPLIER, probability: float = 0.95
) -> LimitsOfAgreement:
    """Return bias and limits of differences that are already taken."""
    from scipy.special import stdtrit

    apart = numbers(differences, name="differences", at_least=3)
    checked_probability(probability)
    n, mean, sd = len(apart), float(np.mean(apart)), float(np.std(apart, ddof=1))
    u = sd / math.sqrt(n)
    reach = float(stdtrit(n - 1, (1 + probability) / 2)) * u
    return LimitsOfAgreement(
        n=n,
        bias=Statistic(value=mean, low=mean - reach, high=mean + reach, u=u),
        sd=sd,
        lower=_limit(mean, sd, n, -multiplier, probability),
        upper=_limit(mean, sd, n, multiplier, probability),
        multiplier=multiplier,
    )


def _limit(mean: float, sd: float, n: int, multiplier: float, probability: float) -> Statistic:
    """Return one limit: √n·(mean − limit)/sd is a noncentral t with parameter −k·√n."""
    from scipy.special import nctdtrit

    u = sd * math.sqrt(1 / n + multiplier**2 / (2 * (n - 1)))
    # the quantile function loses digits for negative parameters: use the mirror image there
    shift = abs(multiplier) * math.sqrt(n)
    tails = [(1 - probability) / 2, (1 + probability) / 2]
    near, far = (float(nctdtrit(n - 1, shift, tail)) * sd / math.sqrt(n) for tail in tails)
    low, high = (mean + near, mean + far) if multiplier > 0 else (mean - far, mean - near)
    return Statistic(value=mean + multiplier * sd, low=low, high=high, u=u)


def ratio_limits(
    first: ArrayLike,
    second: ArrayLike,
    *,
    multiplier: float = MULTIPLIER,
    probability: float = 0.95,
) -> LimitsOfAgreement:
    """Return limits of the ratio first / second, from the differences of logarithms.

    For readings whose disagreement grows with their size (section 3.1). `sd` is that of the
    logarithm's differences.

    Raises
    ------
    InputError
        If a reading is not positive.
    """
    one, other = pairs(first, second)
    if np.any(one <= 0) or np.any(other <= 0):
        raise InputError("A ratio needs positive readings; use the limits of the differences.")
    logs = limits_of_agreement(
        np.log(one), np.log(other), multiplier=multiplier, probability=probability
    )
    return replace(
        logs,
        bias=_exponential(logs.bias),
        lower=_exponential(logs.lower),
        upper=_exponential(logs.upper),
        unit="ratio",
    )


def _exponential(log: Statistic) -> Statistic:
    value = math.exp(log.value)
    return Statistic(value=value, low=math.exp(log.low), high=math.exp(log.high), u=value * log.u)


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopingLimits:
    """Limits that change with the size of what is measured (section 3.2).

    Attributes
    ----------
    intercept, slope : Statistic
        Of the differences on the means of both readings.
    residual_sd : float
        About that line.
    spread_intercept, spread_slope : Statistic
        Of the absolute residuals on the means: a slope whose interval leaves zero says that the
        spread changes too.
    spread_changes : bool
        Whether the limits follow the spread's line; otherwise they are parallel to the bias.
    """

    intercept: Statistic
    slope: Statistic
    residual_sd: float
    spread_intercept: Statistic
    spread_slope: Statistic
    spread_changes: bool
    multiplier: float

    def at(self, mean: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return bias, lower and upper limit at given means of two readings."""
        size = np.asarray(mean, dtype=float)
        bias = self.intercept.value + self.slope.value * size
        sd = np.full_like(size, self.residual_sd)
        if self.spread_changes:
            # the mean absolute value of a normal deviate is sd·√(2/π)
            absolute = self.spread_intercept.value + self.spread_slope.value * size
            sd = math.sqrt(math.pi / 2) * np.maximum(absolute, 0.0)
        return bias, bias - self.multiplier * sd, bias + self.multiplier * sd


def sloping_limits(
    first: ArrayLike,
    second: ArrayLike,
    *,
    multiplier: float = MULTIPLIER,
    probability: float = 0.95,
) -> SlopingLimits:
    """Regress the differences, then their absolute residuals, on the means of both readings."""
    one, other = pairs(first, second, at_least=4)
    mean, apart = (one + other) / 2, one - other
    intercept, slope, sd = straight_line(mean, apart, probability=probability)
    residual = np.abs(apart - intercept.value - slope.value * mean)
    spread_intercept, spread_slope, _ = straight_line(mean, residual, probability=probability)
    return SlopingLimits(
        intercept=intercept,
        slope=slope,
        residual_sd=sd,
        spread_intercept=spread_intercept,
        spread_slope=spread_slope,
        spread_changes=spread_slope.low > 0 or spread_slope.high < 0,
        multiplier=multiplier,
    )


def straight_line(
    x: FloatArray, y: FloatArray, *, probability: float = 0.95
) -> tuple[Statistic, Statistic, float]:
    """Return intercept, slope and residual SD of an ordinary least-squares line."""
    from scipy.special import stdtrit

    n, centre = len(x), float(np.mean(x))
    square = float(np.sum((x - centre) ** 2))
    if square == 0:
        raise InputError("All cases have one size: a slope cannot be found.")
    slope = float(np.sum((x - centre) * y)) / square
    intercept = float(np.mean(y)) - slope * centre
    sd = math.sqrt(float(np.sum((y - intercept - slope * x) ** 2)) / (n - 2))
    factor = float(stdtrit(n - 2, (1 + checked_probability(probability)) / 2))
    u_slope = sd / math.sqrt(square)
    u_intercept = sd * math.sqrt(1 / n + centre**2 / square)
    return (
        _with_reach(intercept, u_intercept, factor),
        _with_reach(slope, u_slope, factor),
        sd,
    )


def _with_reach(value: float, u: float, factor: float) -> Statistic:
    return Statistic(value=value, low=value - factor * u, high=value + factor * u, u=u)
