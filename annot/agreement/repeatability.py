"""How well a reader repeats a reading: within-subject spread and what follows from it.

Sources: J. M. Bland and D. G. Altman, Stat Methods Med Res 1999;8:135, sections 2 and 4; the
two coefficients of variation are the ones that J. M. Bland compares (root mean square and from
logarithms), seen as figures only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.agreement.bland_altman import MULTIPLIER
from annot.agreement.estimate import FloatArray, Statistic, checked_probability, groups_of
from annot.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """Spread of repeats about each case's own mean.

    Attributes
    ----------
    cases, dof : int
        Cases with repeats, and their repeats less one each.
    within_sd : Statistic
        Within-subject standard deviation s_w, chi-square interval.
    coefficient : Statistic
        Repeatability coefficient, `multiplier`·√2·s_w: two readings of one case differ by less
        in 95 % of cases.
    variation : float or None
        Within-subject coefficient of variation (root mean square of sd over mean); None where a
        case's mean is not positive.
    log_variation : float or None
        The same from the readings' logarithms.
    u_end_share : float
        s_w/√2: what one of a length's two ends is off by, were both alike.
    """

    cases: int
    dof: int
    within_sd: Statistic
    coefficient: Statistic
    variation: float | None
    log_variation: float | None
    multiplier: float

    @property
    def u_end_share(self) -> float:
        """Standard uncertainty of placing one end, in the readings' unit."""
        return self.within_sd.value / math.sqrt(2)


def repeatability(
    cases: Sequence[ArrayLike], *, multiplier: float = MULTIPLIER, probability: float = 0.95
) -> Repeatability:
    """Return the repeatability of one reader from repeated readings.

    Parameters
    ----------
    cases : sequence of array_like
        The readings of each case; a case read once says nothing and is left out.

    Raises
    ------
    InputError
        If no case was read twice.
    """
    groups = [one for one in groups_of(cases, at_least=1) if len(one) > 1]
    if not groups:
        raise InputError("No case was read twice, so nothing is known of repeatability.")
    dof = sum(len(one) - 1 for one in groups)
    within = spread_of(math.sqrt(_pooled(groups)), dof, probability=probability)
    positive = all(np.all(one > 0) for one in groups)
    return Repeatability(
        cases=len(groups),
        dof=dof,
        within_sd=within,
        coefficient=within.scaled(multiplier * math.sqrt(2)),
        variation=_variation(groups) if all(np.mean(one) > 0 for one in groups) else None,
        log_variation=(
            math.expm1(math.sqrt(_pooled([np.log(one) for one in groups]))) if positive else None
        ),
        multiplier=multiplier,
    )


def spread_of(sd: float, dof: float, *, probability: float = 0.95) -> Statistic:
    """Return a standard deviation with its chi-square interval."""
    from scipy.special import chdtri

    tail = (1 - checked_probability(probability)) / 2
    return Statistic(
        value=sd,
        low=sd * math.sqrt(dof / chdtri(dof, tail)),
        high=sd * math.sqrt(dof / chdtri(dof, 1 - tail)),
        u=sd / math.sqrt(2 * dof),
    )


def _pooled(groups: Sequence[FloatArray]) -> float:
    squares = sum(float(np.sum((one - np.mean(one)) ** 2)) for one in groups)
    return squares / sum(len(one) - 1 for one in groups)


def _variation(groups: Sequence[FloatArray]) -> float:
    """Return √ of the mean of (sd/mean)², cases weighted by their degrees of freedom."""
    weights = np.array([len(one) - 1 for one in groups], dtype=float)
    ratios = np.array([np.var(one, ddof=1) / np.mean(one) ** 2 for one in groups])
    return math.sqrt(float(np.sum(weights * ratios) / np.sum(weights)))
