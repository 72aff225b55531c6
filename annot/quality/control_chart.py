"""Charts of a check over time: limits set once from a baseline, later points judged by them.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 (individuals and moving range,
mean and standard deviation of subgroups).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from annot.errors import InputError
from annot.quality.chart_constants import c4, d2, d3

FloatArray = NDArray[np.float64]
WIDTH = 3.0  # standard deviations from the centre to a limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A chart's limits, set in a first phase and then kept.

    Attributes
    ----------
    centre, sigma : float
        Expected value of a point, and standard deviation of a point.
    lower, upper : float
    baseline : int
        Number of values they were set from; 0 where they are stated.
    """

    centre: float
    sigma: float
    lower: float
    upper: float
    baseline: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A point at which a rule speaks: the point's index from 0 and the rule in words."""

    point: int
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Points, their limits and what stands out.

    Attributes
    ----------
    kind : str
    points : tuple of float
        What is charted (values, means, weighted means or sums).
    centre : float
    lower, upper : tuple of float
        One limit per point: those of weighted means widen at first.
    signals : tuple of Signal
    """

    kind: str
    points: tuple[float, ...]
    centre: float
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    signals: tuple[Signal, ...]

    @property
    def in_control(self) -> bool:
        """Whether no rule spoke."""
        return not self.signals


def finite(values: ArrayLike, *, name: str, at_least: int = 1) -> FloatArray:
    """Return a row of finite numbers; raise InputError for anything else."""
    row = np.asarray(values, dtype=float)
    if row.ndim != 1 or len(row) < at_least or not np.all(np.isfinite(row)):
        raise InputError(f"{name}: a list of at least {at_least} finite numbers is needed.")
    return row


def stated_limits(*, centre: float, sigma: float, width: float = WIDTH) -> Limits:
    """Return limits from a centre and standard deviation that are known beforehand."""
    if not (math.isfinite(centre) and math.isfinite(sigma) and sigma > 0 and width > 0):
        raise InputError("Limits need a finite centre, a positive sigma and a positive width.")
    return Limits(
        centre=centre, sigma=sigma, lower=centre - width * sigma, upper=centre + width * sigma
    )


def limits_of_individuals(baseline: ArrayLike, *, width: float = WIDTH) -> Limits:
    """Return limits of single values from the mean moving range of a baseline.

    Raises
    ------
    InputError
        If there are fewer than two values, or they never change.
    """
    values = finite(baseline, name="baseline", at_least=2)
    sigma = float(np.mean(np.abs(np.diff(values)))) / d2(2)
    if sigma == 0:
        raise InputError("The baseline never changes, so its spread cannot be told.")
    centre = float(np.mean(values))
    return Limits(
        centre=centre,
        sigma=sigma,
        lower=centre - width * sigma,
        upper=centre + width * sigma,
        baseline=len(values),
    )


def limits_of_moving_range(baseline: ArrayLike, *, width: float = WIDTH) -> Limits:
    """Return limits of the ranges of neighbouring values, whose mean is the centre."""
    values = finite(baseline, name="baseline", at_least=2)
    centre = float(np.mean(np.abs(np.diff(values))))
    sigma = centre * d3(2) / d2(2)
    return Limits(
        centre=centre,
        sigma=sigma,
        lower=max(centre - width * sigma, 0.0),
        upper=centre + width * sigma,
        baseline=len(values),
    )


def limits_of_subgroups(
    baseline: Sequence[ArrayLike], *, width: float = WIDTH
) -> tuple[Limits, Limits]:
    """Return limits of subgroups' means and of their standard deviations.

    Parameters
    ----------
    baseline : sequence of array_like, all of one length n ≥ 2

    Raises
    ------
    InputError
        If subgroups differ in size, there are fewer than two, or nothing ever changes.
    """
    table = subgroups(baseline, at_least=2)
    count, size = table.shape
    spread = float(np.mean(np.std(table, axis=1, ddof=1)))
    if spread == 0:
        raise InputError("The baseline's subgroups never change, so their spread is unknown.")
    sigma, centre = spread / c4(size), float(np.mean(table))
    of_mean, of_spread = sigma / math.sqrt(size), sigma * math.sqrt(1 - c4(size) ** 2)
    means = Limits(
        centre=centre,
        sigma=of_mean,
        lower=centre - width * of_mean,
        upper=centre + width * of_mean,
        baseline=count,
    )
    spreads = Limits(
        centre=spread,
        sigma=of_spread,
        lower=max(spread - width * of_spread, 0.0),
        upper=spread + width * of_spread,
        baseline=count,
    )
    return means, spreads


def subgroups(values: Sequence[ArrayLike], *, at_least: int = 1) -> FloatArray:
    """Return subgroups as a table; raise InputError unless all have one size of two or more."""
    rows = [finite(one, name=f"subgroup {index}") for index, one in enumerate(values)]
    if len(rows) < at_least or len({len(one) for one in rows}) != 1 or len(rows[0]) < 2:
        raise InputError("Subgroups need one common size, two values or more.")
    return np.array(rows)


def chart_of_points(
    kind: str, points: FloatArray, limits: Limits, *, rules: bool = True
) -> ControlChart:
    """Return the chart of points under limits, judged by the run rules or by the limits alone."""
    from annot.quality.run_rules import signals_of

    found = signals_of(points, limits)
    if not rules:
        found = tuple(one for one in found if one.rule == "beyond a limit")
    return ControlChart(
        kind=kind,
        points=tuple(points.tolist()),
        centre=limits.centre,
        lower=(limits.lower,) * len(points),
        upper=(limits.upper,) * len(points),
        signals=found,
    )


def individuals_chart(values: ArrayLike, limits: Limits, *, rules: bool = True) -> ControlChart:
    """Return the chart of single values."""
    return chart_of_points("individuals", finite(values, name="values"), limits, rules=rules)


def moving_range_chart(values: ArrayLike, limits: Limits) -> ControlChart:
    """Return the chart of ranges of neighbouring values; point k belongs to value k + 1."""
    ranges = np.abs(np.diff(finite(values, name="values", at_least=2)))
    return chart_of_points("moving range", ranges, limits, rules=False)


def subgroup_charts(
    values: Sequence[ArrayLike], limits: tuple[Limits, Limits]
) -> tuple[ControlChart, ControlChart]:
    """Return the charts of subgroups' means and standard deviations."""
    table = subgroups(values)
    means, spreads = np.mean(table, axis=1), np.std(table, axis=1, ddof=1)
    return (
        chart_of_points("mean", means, limits[0]),
        chart_of_points("standard deviation", spreads, limits[1], rules=False),
    )
