"""Agreement in one number, and the share of pairs that agree well enough.

Sources: L. I.-K. Lin, Biometrics 1989;45:255 (with the correction of 2000;56:324) for the
concordance correlation and its variance; L. I.-K. Lin et al., J Am Stat Assoc 2002;97:257 for
coverage probability and total deviation index. From memory.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.agreement.estimate import Statistic, checked_probability, pairs
from annot.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Concordance:
    """Lin's concordance correlation and the two things it is made of.

    Attributes
    ----------
    coefficient : Statistic
        Of agreement with the line of identity; interval by Fisher's transform.
    precision : float
        Pearson's correlation.
    accuracy : float
        Bias correction, 1 without any shift in place or scale.
    """

    coefficient: Statistic
    precision: float
    accuracy: float


def concordance(first: ArrayLike, second: ArrayLike, *, probability: float = 0.95) -> Concordance:
    """Return the concordance correlation of paired readings (moments with divisor n).

    Raises
    ------
    InputError
        If one reader's values do not vary.
    """
    from scipy.special import ndtri

    one, other = pairs(first, second, at_least=4)
    sd_one, sd_other = float(np.std(one)), float(np.std(other))
    if sd_one == 0 or sd_other == 0:
        raise InputError("One reader gave every case the same value: no correlation exists.")
    product = float(np.mean((one - one.mean()) * (other - other.mean())))
    shift = float(one.mean() - other.mean())
    value = 2 * product / (sd_one**2 + sd_other**2 + shift**2)
    pearson = product / (sd_one * sd_other)
    u = math.sqrt(_variance(value, pearson, shift**2 / (sd_one * sd_other), len(one)))
    factor = float(ndtri((1 + checked_probability(probability)) / 2))
    if abs(value) >= 1:
        return Concordance(
            coefficient=Statistic(value=value, low=value, high=value, u=0.0),
            precision=pearson,
            accuracy=value / pearson,
        )
    middle, reach = math.atanh(value), factor * u / (1 - value**2)
    return Concordance(
        coefficient=Statistic(
            value=value, low=math.tanh(middle - reach), high=math.tanh(middle + reach), u=u
        ),
        precision=pearson,
        accuracy=value / pearson if pearson else math.nan,
    )


def _variance(value: float, pearson: float, shift: float, n: int) -> float:
    """Return the large-sample variance; `shift` is the squared shift over both spreads."""
    if pearson == 0:
        return math.inf
    spread = (1 - pearson**2) * value**2 * (1 - value**2) / pearson**2
    skew = 2 * value**3 * (1 - value) * shift / pearson
    tail = value**4 * shift**2 / (2 * pearson**2)
    return max(spread + skew - tail, 0.0) / (n - 2)


def coverage_probability(
    first: ArrayLike, second: ArrayLike, *, within: float, probability: float = 0.95
) -> Statistic:
    """Return the share of pairs no further apart than `within`, with its exact interval."""
    one, other = pairs(first, second)
    if not within > 0:
        raise InputError(f"A difference to allow must be positive, not {within:g}.")
    # a pair that is apart by exactly the limit, up to the last bit of the readings, agrees
    slack = 4 * np.finfo(float).eps * float(np.max(np.abs([one, other])))
    hits = int(np.sum(np.abs(one - other) <= within + slack))
    return share(hits, len(one), probability=probability)


def share(hits: int, of: int, *, probability: float = 0.95) -> Statistic:
    """Return a share with its exact binomial interval (Clopper and Pearson)."""
    from scipy.special import betaincinv

    if not 0 <= hits <= of or of < 1:
        raise InputError(f"{hits} of {of} is no share.")
    tail = (1 - checked_probability(probability)) / 2
    value = hits / of
    return Statistic(
        value=value,
        low=float(betaincinv(hits, of - hits + 1, tail)) if hits else 0.0,
        high=float(betaincinv(hits + 1, of - hits, 1 - tail)) if hits < of else 1.0,
        u=math.sqrt(value * (1 - value) / of),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TotalDeviation:
    """The difference that a stated share of pairs stays below.

    Attributes
    ----------
    index : float
        For normal differences of the bias and SD seen.
    upper : float
        One-sided upper confidence bound of the index (from logarithms, Lin 2002).
    empirical : float
        The same share's quantile of the differences seen.
    """

    index: float
    upper: float
    empirical: float
    share: float


def total_deviation_index(
    first: ArrayLike, second: ArrayLike, *, share: float = 0.9, probability: float = 0.95
) -> TotalDeviation:
    """Return the total deviation index of paired readings."""
    from scipy.special import ndtri

    one, other = pairs(first, second, at_least=4)
    checked_probability(share)
    apart = one - other
    mean, sd = float(np.mean(apart)), float(np.std(apart, ddof=1))
    index = _normal_reach(mean, sd, share)
    # its approximation by the mean square serves for the bound only
    square = float(np.mean(apart**2))
    if square == 0:
        return TotalDeviation(index=0.0, upper=0.0, empirical=0.0, share=share)
    relative = 2 * (1 - mean**4 / square**2) / (len(apart) - 2)
    grow = math.exp(float(ndtri(checked_probability(probability))) * math.sqrt(relative) / 2)
    return TotalDeviation(
        index=index,
        upper=index * grow,
        empirical=float(np.quantile(np.abs(apart), share)),
        share=share,
    )


def _normal_reach(mean: float, sd: float, share: float) -> float:
    """Return r with P(|X| ≤ r) = share for a normal X, by way of the noncentral chi-square."""
    from scipy.special import chndtrix

    if sd == 0:
        return abs(mean)
    return sd * math.sqrt(float(chndtrix(share, 1, (mean / sd) ** 2)))
