"""Limits of agreement where each reader (or method) reads every case more than once.

Sources: J. M. Bland and D. G. Altman, Stat Methods Med Res 1999;8:135, sections 5.1 to 5.3. The
interval of a limit is put together from those of the mean (Student's t, cases counted) and of the
variances (method of variance estimates recovery, G. Y. Zou, Stat Methods Med Res 2013;22:630, from
memory), as a normal interval holds its limit far too seldom with the few cases of a pilot study.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.agreement.bland_altman import MULTIPLIER, LimitsOfAgreement
from annot.agreement.estimate import (
    FloatArray,
    Statistic,
    checked_probability,
    groups_of,
    pairs,
)
from annot.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class _Within:
    """Pooled variance of repeats within cases, and how it enters that of a single reading."""

    variance: float
    dof: int
    weight: float

    @classmethod
    def of(cls, groups: Sequence[FloatArray]) -> "_Within":
        dof = sum(len(one) - 1 for one in groups)
        squares = sum(float(np.sum((one - np.mean(one)) ** 2)) for one in groups)
        weight = 1 - float(np.mean([1 / len(one) for one in groups]))
        return cls(variance=squares / dof if dof else 0.0, dof=dof, weight=weight)

    @property
    def added(self) -> float:
        """What a single reading scatters more than a case's mean does."""
        return self.weight * self.variance


def limits_with_replicates(
    first: Sequence[ArrayLike],
    second: Sequence[ArrayLike],
    *,
    multiplier: float = MULTIPLIER,
    probability: float = 0.95,
) -> LimitsOfAgreement:
    """Return limits for single readings of one unchanging true value per case.

    The variance of the differences of means is corrected by the within-case variance that
    averaging took away (sections 5.1 and 5.2).

    Parameters
    ----------
    first, second : sequence of array_like
        For each case its readings by the one and by the other; numbers of readings may differ.

    Raises
    ------
    InputError
        If the cases do not pair, or there are fewer than three.
    """
    checked_probability(probability)
    ones, others = groups_of(first, at_least=3), groups_of(second, at_least=3)
    if len(ones) != len(others):
        raise InputError(f"{len(ones)} cases against {len(others)}: they must pair up.")
    apart = np.array([np.mean(a) - np.mean(b) for a, b in zip(ones, others, strict=True)])
    within = [_Within.of(ones), _Within.of(others)]
    n, of_means = len(apart), float(np.var(apart, ddof=1))
    parts = [(of_means, n - 1.0), *((one.added, float(one.dof)) for one in within if one.dof)]
    u = math.sqrt(of_means / n)
    return _recovered(
        _mean_of_cases(float(np.mean(apart)), u, n, probability),
        parts,
        variance=sum(part for part, _ in parts),
        n=n,
        multiplier=multiplier,
        probability=probability,
    )


def _mean_of_cases(mean: float, u: float, n: int, probability: float) -> Statistic:
    from scipy.special import stdtrit

    reach = float(stdtrit(n - 1, (1 + probability) / 2)) * u
    return Statistic(value=mean, low=mean - reach, high=mean + reach, u=u)


def _recovered(
    bias: Statistic,
    parts: Sequence[tuple[float, float]],
    *,
    variance: float,
    n: int,
    multiplier: float,
    probability: float,
) -> LimitsOfAgreement:
    """Return the limits about a bias, where a difference's variance is the sum of parts.

    Parameters
    ----------
    parts
        Each an estimated variance and its degrees of freedom.
    variance
        Their sum, unless an analysis of variance keeps one of its components from being negative.
    """
    sd = math.sqrt(variance)
    low_sd, high_sd = _interval_of_sd(variance, parts, probability)
    down, up = bias.value - bias.low, bias.high - bias.value
    shrink, grow = multiplier * (sd - low_sd), multiplier * (high_sd - sd)
    lower, upper = bias.value - multiplier * sd, bias.value + multiplier * sd
    of_variance = sum(2 * part**2 / dof for part, dof in parts)
    of_sd = of_variance / (4 * sd**2) if sd > 0 else 0.0
    u = math.sqrt(bias.u**2 + multiplier**2 * of_sd)
    return LimitsOfAgreement(
        n=n,
        bias=bias,
        sd=sd,
        lower=Statistic(
            value=lower,
            low=lower - math.hypot(down, grow),
            high=lower + math.hypot(up, shrink),
            u=u,
        ),
        upper=Statistic(
            value=upper,
            low=upper - math.hypot(down, shrink),
            high=upper + math.hypot(up, grow),
            u=u,
        ),
        multiplier=multiplier,
    )


def _interval_of_sd(
    total: float, parts: Sequence[tuple[float, float]], probability: float
) -> tuple[float, float]:
    """Return bounds of the root of a sum of variances from the chi-square bounds of each."""
    from scipy.special import chdtri

    tail = (1 - probability) / 2
    # chdtri takes the upper tail: the small tail gives the large quantile
    shrink = sum((part * (1 - dof / chdtri(dof, tail))) ** 2 for part, dof in parts)
    grow = sum((part * (dof / chdtri(dof, 1 - tail) - 1)) ** 2 for part, dof in parts)
    return math.sqrt(max(total - math.sqrt(shrink), 0.0)), math.sqrt(total + math.sqrt(grow))


def limits_of_varying_pairs(
    cases: ArrayLike,
    first: ArrayLike,
    second: ArrayLike,
    *,
    multiplier: float = MULTIPLIER,
    probability: float = 0.95,
) -> LimitsOfAgreement:
    """Return limits for pairs of readings taken together while the true value moves (5.3).

    The differences' variance is that between cases plus that within them, from a one-way
    analysis of variance.

    Parameters
    ----------
    cases : array_like, shape (n,)
        Which case each pair belongs to.
    first, second : array_like, shape (n,)
        The pairs.
    """
    one, other = pairs(first, second, at_least=4)
    labels = np.asarray(cases)
    if labels.shape != one.shape:
        raise InputError("Each pair of readings needs its case.")
    table = _OneWay.of(labels, one - other)
    return _recovered(
        table.bias(checked_probability(probability)),
        table.parts,
        variance=table.between + table.within,
        n=len(table.sizes),
        multiplier=multiplier,
        probability=probability,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _OneWay:
    """One-way analysis of variance of differences, cases of unequal size."""

    sizes: FloatArray
    means: FloatArray
    mean: float
    between_square: float
    within_square: float
    divisor: float

    @classmethod
    def of(cls, labels: np.ndarray, values: FloatArray) -> "_OneWay":
        names, index = np.unique(labels, return_inverse=True)
        sizes = np.bincount(index).astype(float)
        if len(names) < 2 or len(values) == len(names):
            raise InputError("Pairs need at least two cases, one of them with more than one pair.")
        means = np.bincount(index, weights=values) / sizes
        mean, n = float(np.mean(values)), float(len(values))
        between = float(np.sum(sizes * (means - mean) ** 2)) / (len(names) - 1)
        within = float(np.sum((values - means[index]) ** 2)) / (n - len(names))
        divisor = (n**2 - float(np.sum(sizes**2))) / ((len(names) - 1) * n)
        return cls(
            sizes=sizes,
            means=means,
            mean=mean,
            between_square=between,
            within_square=within,
            divisor=divisor,
        )

    @property
    def within(self) -> float:
        return self.within_square

    @property
    def between(self) -> float:
        return max((self.between_square - self.within_square) / self.divisor, 0.0)

    def bias(self, probability: float) -> Statistic:
        """Return the mean difference; its error counts cases, not pairs."""
        weights = self.sizes / np.sum(self.sizes)
        variances = self.between + self.within / self.sizes
        u = math.sqrt(float(np.sum(weights**2 * variances)))
        return _mean_of_cases(self.mean, u, len(self.sizes), probability)

    @property
    def parts(self) -> tuple[tuple[float, float], ...]:
        """What between + within is put together from, each with its degrees of freedom."""
        return (
            (self.between_square / self.divisor, len(self.sizes) - 1.0),
            ((1 - 1 / self.divisor) * self.within, float(np.sum(self.sizes - 1))),
        )
