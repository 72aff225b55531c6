"""Charts that gather small shifts: weighted means and cumulative sums.

Source: NIST/SEMATECH e-Handbook, 6.3.2.3 (cumulative sums) and 6.3.2.4 (exponentially weighted
moving averages).
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from annot.errors import InputError
from annot.quality.control_chart import ControlChart, Limits, Signal, finite
from annot.quality.run_rules import BEYOND


def weighted_means_chart(
    values: ArrayLike,
    limits: Limits,
    *,
    weight: float = 0.2,
    width: float = 3.0,
    settled: bool = False,
) -> ControlChart:
    """Return the chart of exponentially weighted moving averages.

    Parameters
    ----------
    weight : float
        Of the newest value, over 0 and at most 1.
    width : float
        Standard deviations of the weighted mean from the centre to a limit.
    settled : bool
        Use the limits of a long series from the start instead of the exact, narrower ones.

    Raises
    ------
    InputError
        If the weight is out of range or a value is not finite.
    """
    row = finite(values, name="values")
    if not (0 < weight <= 1 and width > 0):
        raise InputError("A weight lies over 0 and at most at 1, and a width is positive.")
    means, now = np.empty(len(row)), limits.centre
    for index, value in enumerate(row):
        now = weight * value + (1 - weight) * now
        means[index] = now
    age = np.full(len(row), np.inf) if settled else np.arange(1, len(row) + 1)
    spread = limits.sigma * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * age)))
    lower, upper = limits.centre - width * spread, limits.centre + width * spread
    beyond = np.flatnonzero((means < lower) | (means > upper))
    return ControlChart(
        kind="weighted means",
        points=tuple(means.tolist()),
        centre=limits.centre,
        lower=tuple(lower.tolist()),
        upper=tuple(upper.tolist()),
        signals=tuple(Signal(point=int(index), rule=BEYOND) for index in beyond),
    )


def cumulative_sums_chart(
    values: ArrayLike, *, target: float, allowance: float, decision: float
) -> tuple[ControlChart, ControlChart]:
    """Return the charts of the upper and lower one-sided cumulative sums.

    Parameters
    ----------
    allowance, decision : float
        k and h in the values' own unit: usually half the shift to be found, and 4 to 5 sigma.

    Raises
    ------
    InputError
        If a number is not finite, the allowance negative or the decision not positive.
    """
    row = finite(values, name="values")
    if not (math.isfinite(target) and allowance >= 0 and decision > 0):
        raise InputError("Sums need a finite target, an allowance ≥ 0 and a positive decision.")
    return (
        _one_sided("upper sums", row - target - allowance, decision),
        _one_sided("lower sums", target - row - allowance, decision),
    )


def _one_sided(kind: str, steps: np.ndarray, decision: float) -> ControlChart:
    sums, now = np.empty(len(steps)), 0.0
    for index, step in enumerate(steps):
        now = max(0.0, now + float(step))
        sums[index] = now
    return ControlChart(
        kind=kind,
        points=tuple(sums.tolist()),
        centre=0.0,
        lower=(0.0,) * len(sums),
        upper=(decision,) * len(sums),
        signals=tuple(
            Signal(point=int(index), rule=BEYOND) for index in np.flatnonzero(sums > decision)
        ),
    )
